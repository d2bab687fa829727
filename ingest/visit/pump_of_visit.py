"""Which pump a visit belongs to: the one in its place that day, one to be added, or one that went in anew."""

from __future__ import annotations

from typing import Any

import duckdb

from ingest.durable import utc_now
from ingest.errors import EntryRefused, Question
from ingest.ledger.changes import change_cells, row_of
from ingest.ledger.rows import insert_row
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.visit.entry import VisitEntry
from ingest.visit.pump_lives import NewPump, Removal, change_pump, in_service
from ingest.wording import questions as words

UNKNOWN_TYPE = "unknown"


def position_meant(connection: duckdb.DuckDBPyConnection, unit: str, position: str | None) -> str:
    """Return the position meant; without one, the unit's only position, else "main"."""
    if position and position.strip():
        return position.strip()
    positions = [p for (p,) in connection.execute(statement("visit/positions"), [unit]).fetchall()]
    if len(positions) > 1 and "main" not in positions:
        raise EntryRefused(
            "position-missing", f"Unit {unit} has pumps in {', '.join(positions)}; say which with --position."
        )
    return positions[0] if len(positions) == 1 else "main"


def pump_in_place(connection: duckdb.DuckDBPyConnection, entry: VisitEntry) -> int | None:
    """Return the pump_id of the pump that the visit belongs to, None where the ledger knows of none."""
    rows = connection.execute(
        statement("visit/pump_in_place"),
        {
            "unit": entry.unit,
            "position": entry.position,
            "serial": entry.serial,
            "same_pump": entry.same_pump,
            "visited_on": entry.visited_on,
            "reason": entry.reason,
        },
    ).fetchall()
    return rows[0][0] if rows else None


def find_pump(
    connection: duckdb.DuckDBPyConnection, entry: VisitEntry
) -> tuple[int | None, tuple[Question, ...]]:
    """Return the pump the visit belongs to, or None and the question that must be settled to add one."""
    pump_id = pump_in_place(connection, entry)
    if pump_id is not None:
        return pump_id, ()
    known, units = connection.execute(statement("visit/unit_counts"), [entry.unit]).fetchall()[0]
    if not units:
        return None, ()  # the first unit of an empty ledger can't be a slip for another
    if not known:
        return None, (words.new_unit(entry.unit, entry.pump_type),)
    place = [entry.unit, entry.position]
    [(lives,)] = connection.execute(statement("visit/lives_in_position"), place).fetchall()
    if not lives:
        return None, (words.new_position(entry.unit, entry.position, entry.pump_type),)
    day = str(entry.visited_on)
    if old := before_this(connection, entry):
        assert entry.serial is not None
        return None, (words.changed_pump(entry.unit, entry.position, entry.serial, day, old["serial"]),)
    return None, (words.new_pump(entry.unit, entry.position, entry.serial, day, entry.pump_type),)


def change_or_add_pump(connection: duckdb.DuckDBPyConnection, entry: VisitEntry, stamp: Stamp) -> int:
    """Take the pump in service off as of this visit where another serial was told, else add what is missing;
    return the pump's id. Why it came off and what was found is asked of it from then on."""
    if (old := before_this(connection, entry)) is None:
        return _add_pump(connection, entry)
    assert entry.visited_on is not None
    new = NewPump(entry.pump_type, entry.serial)
    return change_pump(
        connection, old, Removal("other"), new, entry.visited_on, entry.odometer_km, entry.hours, stamp
    )


def before_this(connection: duckdb.DuckDBPyConnection, entry: VisitEntry) -> dict[str, Any] | None:
    """Return the pump in service in the visit's place where another serial was told, None without one."""
    if not entry.serial or not connection.execute(statement("visit/unit_known"), [entry.unit]).fetchall():
        return None
    old = in_service(connection, entry.unit, entry.position or "main")
    if old is None or old["serial"] == entry.serial or entry.visited_on is None:
        return None
    return None if old["fitted_on"] and old["fitted_on"] > entry.visited_on else old


def _add_pump(connection: duckdb.DuckDBPyConnection, entry: VisitEntry) -> int:
    """Add what is missing of vehicle, pump type and pump; return the pump's id."""
    now = utc_now()
    pump_type = entry.pump_type or UNKNOWN_TYPE
    connection.execute(statement("visit/add_vehicle"), [entry.unit, now])
    connection.execute(statement("visit/add_pump_type"), [pump_type, now])
    row = {"unit": entry.unit, "position": entry.position, "pump_type": pump_type, "serial": entry.serial}
    return insert_row(connection, "pump", row | {"recorded_at": now})


def keep_serial(
    connection: duckdb.DuckDBPyConnection, pump_id: int, serial: str | None, stamp: Stamp
) -> None:
    """Keep with a pump the serial that was told at its visit, where it has none."""
    pump = row_of(connection, "pump", pump_id)
    if serial and pump is not None and pump["serial"] is None:
        change_cells(connection, "pump", pump_id, {"serial": serial}, stamp, reason="told at a visit")
