"""What a strip-down found decides whether a change was needed: worn, seized and electrical all say it was."""

import json
from datetime import date

from analytics.cost_review.spend import realised
from ingest.ledger.connection import open_ledger
from ingest.vocabulary import FOUND
from tests.ledger_fixture import LAST_VISIT, build_ledger


def test_each_fault_found_counts_as_a_failure_avoided(tmp_path):
    ledger = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    with open_ledger(ledger, read_only=False) as con:
        pumps = con.execute("SELECT pump_id FROM pump WHERE removed_on IS NULL ORDER BY pump_id").fetchall()
        lines = []
        for (pump_id,), found in zip(pumps, FOUND, strict=False):
            con.execute(
                "UPDATE pump SET removed_on = ?, removal = 'on_condition', found = ? WHERE pump_id = ?",
                [LAST_VISIT, found, pump_id],
            )
            lines.append({"pump_id": pump_id, "risk": 0.2, "planned": 600.0, "failure": 2400.0})
        con.execute(
            "INSERT INTO plan_list (list_id, made_at, as_of, expected_saving, lines)"
            " VALUES (1, now(), ?, 1, ?)",
            [date(2025, 6, 1), json.dumps(lines)],
        )
        [row] = realised(con, LAST_VISIT).to_dict("records")
    assert len(lines) == len(FOUND) == 5
    assert (row["changed"], row["found_bad"], row["tested_good"]) == (5, 3, 1)
    # three faults avoided, one sound pump thrown away, and of the last nobody knows
    assert (row["realised_low"], row["realised_high"]) == (3 * 1800 - 600, 4 * 1800 - 600)
