"""The ranking reads few visits of each pump, and judges its last one as all of them would."""

import inspect
import re
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.judging import facts, judged
from analytics.judging.judge import judge
from analytics.past.frames import as_frame, fetch_visits
from analytics.past.history import read_history
from analytics.statements import statement
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import write_folder


def judge_all(connection):
    """Return all parts of what the ranking judges."""
    history = read_history(connection)
    services = connection.execute(statement("services_until"), [history.as_of]).df()
    made = judged.judged_visits(connection, history, settings_at(connection, history.as_of), services)
    return pd.concat(made, ignore_index=True)


SAME = ["rule", "baseline_count", "baseline_kind"]


def test_few_visits_or_few_pumps_at_once_give_the_verdicts_of_all(tmp_path, monkeypatch):
    rng = np.random.default_rng(8)
    visits = ["unit,visited_on,odometer,state,mean_a,rpm,supply_v"]
    for unit in range(40):
        for k in range(rng.integers(1, 10)):
            # A third of the readings lie far off, so that many are no part of a baseline.
            off, fast = rng.choice([1.0, 0.8, 1.2], size=2, p=[0.7, 0.15, 0.15])
            day = date(2024, 1, 1) + timedelta(days=60 * k)
            state = rng.choice(["idle", "prime"], p=[0.8, 0.2])
            visits.append(f"U{unit},{day},{1000 + 5000 * k},{state},{5 * off:.2f},{6000 * fast:.0f},13.4")
    tables = {
        "vehicles": "unit\n" + "\n".join(f"U{unit}" for unit in range(40)),
        "pump_types": "pump_type,current_low_a,current_high_a\nT1,3,8",
        "pumps": "unit,pump_type\n" + "\n".join(f"U{unit},T1" for unit in range(40)),
        "visits": "\n".join(visits),
    }
    ledger = tmp_path / "fleet.duckdb"
    load_folder(ledger, write_folder(tmp_path / "f", **tables), today=date(2026, 1, 1), author=ANYBODY)
    with open_ledger(ledger) as connection:
        at_once = judge_all(connection)
        monkeypatch.setattr(judged, "FEW_VISITS", 0)
        few = judge_all(connection)
        monkeypatch.setattr(judged, "PUMPS_AT_ONCE", 7)
        parts = judge_all(connection)
        all_of_them = judge(connection.sql("SELECT * FROM visit_detail").df(), settings_at(connection))
        whole = as_frame(fetch_visits(connection, "history_visits", [None]))
        asked = [3, 1, 7]
        looked_up = as_frame(fetch_visits(connection, "history_visits", [None], asked))
    wanted = pd.concat([whole[whole["pump_id"] == pump_id] for pump_id in asked], ignore_index=True)
    assert len(wanted) >= len(asked)
    pd.testing.assert_frame_equal(looked_up, wanted)
    few_alike, alike = (
        made.drop(columns=["compares_with", "measured_with"]).astype(object) for made in (few, parts)
    )
    pd.testing.assert_frame_equal(few_alike, alike)  # numbers of one judging
    last = [
        frame.sort_values(["pump_id", "visited_on", "visit_id"])
        .groupby("pump_id")
        .tail(1)
        .set_index("pump_id")
        for frame in (few, all_of_them, at_once)
    ]
    assert len(at_once) == len(all_of_them) > len(few)
    assert len(last[0]) == 40
    assert last[0]["rule"].nunique() > 3
    assert (all_of_them["baseline_count"] == 3).any()
    for other in last[1:]:
        for name in SAME:
            assert (last[0][name] == other[name]).all(), name
        for name in ("current_change_pct", "speed_change_pct"):
            np.testing.assert_allclose(last[0][name], other[name], rtol=1e-9, atol=1e-9)


def test_each_column_that_a_rule_asks_for_is_brought_over(tmp_path):
    folder = write_folder(
        tmp_path / "f",
        vehicles="unit\n1",
        pump_types="pump_type,current_low_a,current_high_a\nT1,3,8",
        pumps="unit,pump_type\n1,T1",
        visits="unit,visited_on,odometer,mean_a\n1,2025-03-01,1000,5.1",
    )
    load_folder(tmp_path / "fleet.duckdb", folder, today=date(2026, 1, 1), author=ANYBODY)
    with open_ledger(tmp_path / "fleet.duckdb") as connection:
        there = set(judge_all(connection).columns)  # brought over, or worked out from what was
    there |= {"type_a", "type_pumps"}  # worked out where a type has pumps enough
    sources = "".join(path.read_text(encoding="utf-8") for path in Path(judged.__file__).parent.glob("*.py"))
    asked = set(re.findall(r'\b(?:number|text)\(\s*\w+, "(\w+)"', sources))
    assert len(asked) > 50
    assert asked - there == set(), "add them to analytics/sql/judged_visits.sql"


def test_each_note_that_a_rule_asks_for_is_brought_over():
    source = inspect.getsource(facts)
    codes = {*re.findall(r'_noted\(visits, "(.+?)"', source), *re.findall(r'"code": "([a-z-]+)"', source)}
    assert len(codes) == 8
    brought = statement("judged_visits")
    for part in (
        *(f'"code": "{code}"' for code in codes),
        *(f'"variant": "{variant}"' for variant in (*facts.REJECTED, "far")),
    ):
        assert f"'{part}'" in brought, part
