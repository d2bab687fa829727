"""Pumps not marked removed though another was fitted in their place: they came off then at the latest."""

from __future__ import annotations

import duckdb

from ingest.ledger.changes import change_cells
from ingest.ledger.rows import as_dicts
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.typed import tidy
from ingest.visit.choices import Choice

_WHY = {
    "off": ("why, nobody knows", None),
    "off-failed": ("it had failed", "failed"),
    "off-early": ("before it failed, on its readings or signs", "on_condition"),
}


def came_off(connection: duckdb.DuckDBPyConnection, pump_id: int) -> list[Choice]:
    """Return the answers to what became of the pumps before this one, the one that says least first."""
    before = _before(connection, pump_id)
    if not before:
        return []
    days = ", ".join(str(each["off_on"]) for each in before)
    which = "The one before came off on" if len(before) == 1 else "Those before came off on"
    return [
        Choice(key, f"{which} {days}; {said}", {"removed_on": before[-1]["off_on"], "removal": removal})
        for key, (said, removal) in _WHY.items()
    ]


def take_off(
    connection: duckdb.DuckDBPyConnection, pump_id: int, choice: Choice, stamp: Stamp, answer: str
) -> None:
    """Mark the pumps before this one removed, each when the next was fitted, in the caller's transaction.

    Visits after that go to the pump that was there then; the same question about the others is settled.
    """
    for each in _before(connection, pump_id):
        values = {"removed_on": each["off_on"], "removed_odometer_km": each["off_km"]}
        if choice.values["removal"]:
            values["removal"] = choice.values["removal"]
        change_cells(connection, "pump", each["pump_id"], values, stamp, reason=answer)
        moved = connection.execute(
            statement("visit/of_a_later_pump"), {"pump_id": each["pump_id"]}
        ).fetchall()
        for visit_id, right in moved:
            change_cells(connection, "visit", visit_id, {"pump_id": right}, stamp, reason=answer)
    said = {"pump_id": pump_id, "answer": tidy(answer, "answer"), "by": stamp.by, "at": stamp.at}
    connection.execute(statement("visit/settle_taken_off"), said)


def _before(connection: duckdb.DuckDBPyConnection, pump_id: int) -> list[dict[str, object]]:
    return as_dicts(connection.execute(statement("visit/not_removed_before"), [pump_id]))
