"""Visits and units given to the unit, or the pump, that was meant; each changed cell is logged."""

from __future__ import annotations

import duckdb

from ingest.errors import EntryRefused
from ingest.ledger.changes import change_cells, row_of
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.visit.invented import drop_invented, remove_unit


def move_visit(
    connection: duckdb.DuckDBPyConnection, visit_id: int, unit: str, stamp: Stamp, reason: str
) -> None:
    """Give a visit, with the work done at it, to another unit, in the caller's transaction.

    What was invented for it in the wrong unit goes. What was asked of its mileage and unit is settled.
    Raises EntryRefused where that unit has no pump for it.
    """
    visit = row_of(connection, "visit", visit_id)
    assert visit is not None
    positions = [p for (p,) in connection.execute(statement("visit/positions"), [unit]).fetchall()]
    position = visit["position"] if visit["position"] in positions or len(positions) != 1 else positions[0]
    asked = {"unit": unit, "position": position, "serial": None, "same_pump": False}
    asked |= {"visited_on": visit["visited_on"], "reason": visit["reason"]}
    found = connection.execute(statement("visit/pump_in_place"), asked).fetchall()
    if not found:
        raise EntryRefused(
            "no-pump", f"Unit {unit} has no pump on {visit['visited_on']}; record the fitting of one first."
        )
    values = {"unit": unit, "position": position, "pump_id": found[0][0]}
    change_cells(connection, "visit", visit_id, values, stamp, reason=reason)
    for (service_id,) in connection.execute(statement("visit/services_of_visit"), [visit_id]).fetchall():
        change_cells(connection, "service", service_id, {"unit": unit}, stamp, reason=reason)
    settled = {"row_key": str(visit_id), "by": stamp.by, "at": stamp.at, "answer": reason, "unit": unit}
    connection.execute(statement("visit/settle_moved"), settled)
    drop_invented(connection, visit["pump_id"], stamp, reason)


def give_to_pump(
    connection: duckdb.DuckDBPyConnection, implied_id: int, pump_id: int, stamp: Stamp, reason: str
) -> None:
    """Give an implied pump's visits to the recorded one it was, in the caller's transaction."""
    visits = connection.execute(statement("visit/visits_on_pump"), [implied_id]).fetchall()
    for (visit_id,) in visits:
        change_cells(connection, "visit", visit_id, {"pump_id": pump_id}, stamp, reason=reason)
    drop_invented(connection, implied_id, stamp, reason)


def merge_unit(
    connection: duckdb.DuckDBPyConnection, unit: str, into: str, stamp: Stamp, reason: str
) -> None:
    """Give all that was entered under a name to the unit that was meant, and remove the name.

    In the caller's transaction. Raises EntryRefused where both have a recorded pump in service in one place:
    then they are two, or one of the pumps is wrong.
    """
    clash = connection.execute(statement("visit/pumps_clash"), {"unit": unit, "into": into}).fetchall()
    if clash:
        raise EntryRefused(
            "two-pumps",
            f"Units {unit} and {into} both have a pump in service in position {clash[0][0]} on record;"
            " record which came off first.",
        )
    pumps = connection.execute(statement("visit/pumps_of_unit"), [unit]).fetchall()
    for pump_id, recorded in pumps:
        if recorded:
            change_cells(connection, "pump", pump_id, {"unit": into}, stamp, reason=reason)
    for visit_id, withdrawn in connection.execute(statement("visit/visits_of_unit"), [unit]).fetchall():
        if withdrawn:
            change_cells(connection, "visit", visit_id, {"unit": into}, stamp, reason=reason)
        else:
            move_visit(connection, visit_id, into, stamp, reason)
    for table in ("service", "breakdown"):
        rows = connection.execute(statement(f"visit/{table}s_of_unit"), [unit]).fetchall()
        for (row_id,) in rows:
            change_cells(connection, table, row_id, {"unit": into}, stamp, reason=reason)
    for table in ("odometer", "due_work"):
        connection.execute(statement(f"visit/rename_in_{table}"), {"unit": unit, "into": into})
    for pump_id, recorded in pumps:
        if not recorded:
            drop_invented(connection, pump_id, stamp, reason)
    remove_unit(connection, unit, stamp, reason, f"unit {into}")
