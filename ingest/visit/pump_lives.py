"""Events in the life of a pump: fitted, replaced, moved; services and breakdowns of its unit.

Each is one transaction with its lines in the change log. A new pump is a new life: nothing of the old one's
trend goes on in it. A pump change renews the filter unless it is said that the old one stayed. Odometers are
what the unit has driven in all (ingest.visit.instrument_cluster.driven_km).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import duckdb

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.changes import add_row, change_cells
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import as_dicts
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp, transaction
from ingest.vocabulary import CONFIRMED, FOUND, REMOVALS, WORK


@dataclass(frozen=True)
class NewPump:
    """The pump that is fitted. `run_share`: share of the unit's distance it runs (two pumps: 0.5 each)."""

    pump_type: str | None = None  # None: the type of the one before, else "unknown"
    serial: str | None = None
    lot: str | None = None
    run_share: float | None = None
    prior_distance_km: float = 0.0


@dataclass(frozen=True)
class Removal:
    """Why a pump came off, and what was found: mode, mechanism and cause apart, as in ISO 14224."""

    removal: str  # failed | on_condition | opportunity | other
    found: str | None = None
    failure_mode: str | None = None
    failure_mechanism: str | None = None
    cause: str | None = None
    cost: float | None = None
    claim: str | None = None


def fit_pump(
    ledger: Path | str,
    unit: str,
    pump: NewPump,
    *,
    position: str = "main",
    on: date | None = None,
    odometer_km: float | None = None,
    hours: float | None = None,
    author: Author,
) -> int:
    """Fit a pump in an empty position (on=None: at an unknown date); returns its pump_id.

    Raises EntryRefused where another pump is in service there, or was until a later day.
    """
    with open_ledger(ledger, read_only=False) as connection:
        occupant = in_service(connection, unit, position)
        if occupant is not None:
            raise EntryRefused(
                "position-taken",
                f"Unit {unit} has a pump in position {position} since {_day(occupant['fitted_on'])};"
                " record its replacement instead.",
            )
        _not_before_last_removal(connection, unit, position, on)
        with transaction(connection, author, "work", command="add-pump") as stamp:
            return _fit(connection, unit, position, pump, on, odometer_km, hours, stamp)


def replace_pump(
    ledger: Path | str,
    unit: str,
    removal: Removal,
    pump: NewPump | None = None,
    *,
    position: str = "main",
    on: date,
    odometer_km: float | None = None,
    hours: float | None = None,
    filter_kept: bool = False,
    author: Author,
) -> tuple[int, int]:
    """Close the life of the pump in service and begin a new one; returns (old, new) pump_id.

    Visits after that day, and the one that day after the repair, go to the new pump. Raises EntryRefused
    when there is no pump to replace, or the day lies before its fitting or before its last replacement.
    """
    _check_removal(removal)
    with open_ledger(ledger, read_only=False) as connection:
        old = to_take_off(connection, unit, position, on)
        with transaction(connection, author, "work", command="replace-pump") as stamp:
            new_id = change_pump(connection, old, removal, pump or NewPump(), on, odometer_km, hours, stamp)
            if filter_kept:
                _add_service(connection, unit, "filter_kept", on, odometer_km, "with a pump change", stamp)
    return old["pump_id"], new_id


def change_pump(
    connection: duckdb.DuckDBPyConnection,
    old: dict[str, Any],
    removal: Removal,
    pump: NewPump,
    on: date,
    odometer_km: float | None,
    hours: float | None,
    stamp: Stamp,
) -> int:
    """Do what `replace_pump` does in the caller's transaction; old: from `to_take_off`. Returns the new
    pump_id."""
    new = NewPump(
        pump.pump_type or old["pump_type"],
        pump.serial,
        pump.lot,
        old["run_share"] if pump.run_share is None else pump.run_share,
        pump.prior_distance_km,
    )
    _close(connection, old["pump_id"], removal, on, odometer_km, hours, stamp)
    new_id = _fit(connection, old["unit"], old["position"], new, on, odometer_km, hours, stamp)
    _hand_over_visits(connection, old["pump_id"], new_id, on, stamp)
    return new_id


def move_pump(
    ledger: Path | str,
    unit: str,
    to_unit: str,
    *,
    position: str = "main",
    to_position: str = "main",
    on: date,
    odometer_from_km: float | None = None,
    odometer_to_km: float | None = None,
    author: Author,
) -> int:
    """Take a pump off and fit it in another place; returns the pump_id of the life that goes on there.

    The distance run so far is carried over, so age is not lost; the trend begins anew (other wiring, other
    clamp point). Raises EntryRefused where there is no pump to move, the new place is taken, or the day or
    the odometer lies before its fitting.
    """
    with open_ledger(ledger, read_only=False) as connection:
        old = to_take_off(connection, unit, position, on)
        if in_service(connection, to_unit, to_position) is not None:
            raise EntryRefused(
                "position-taken", f"Unit {to_unit} has a pump in position {to_position}; take that off first."
            )
        _not_before_last_removal(connection, to_unit, to_position, on)
        pump_id = old["pump_id"]
        run_km = old["prior_distance_km"] or 0.0
        if odometer_from_km is not None and old["fitted_odometer_km"] is not None:
            driven = odometer_from_km - old["fitted_odometer_km"]
            if driven < 0:
                raise EntryRefused(
                    "below-fitting",
                    f"Unit {unit} had driven more when this pump was fitted on {_day(old['fitted_on'])};"
                    " check the odometer it came off at.",
                )
            run_km += driven * (old["run_share"] or 1.0)
        why = Removal("other", "not_examined", cause=f"moved to unit {to_unit}")
        moved = NewPump(old["pump_type"], old["serial"], old["lot"], old["run_share"], run_km)
        with transaction(connection, author, "work", command="move-pump") as stamp:
            _close(connection, pump_id, why, on, odometer_from_km, None, stamp)
            new_id = _fit(connection, to_unit, to_position, moved, on, odometer_to_km, None, stamp)
            change_cells(connection, "pump", new_id, {"continues_pump_id": pump_id}, stamp, reason=why.cause)
    return new_id


def record_service(
    ledger: Path | str,
    unit: str,
    work: str,
    *,
    on: date,
    odometer_km: float | None = None,
    note: str | None = None,
    author: Author,
) -> int:
    """Record work done (one of vocabulary.WORK); returns its service_id.

    A filter change resets what the filter adds to the current, nothing else.
    """
    _one_of("work", work, WORK)
    with open_ledger(ledger, read_only=False) as connection:
        _known_unit(connection, unit)
        with transaction(connection, author, "work", command="add-service") as stamp:
            return _add_service(connection, unit, work, on, odometer_km, note, stamp)


def record_breakdown(
    ledger: Path | str,
    unit: str,
    *,
    on: date,
    pump_confirmed: str = "unknown",
    position: str | None = None,
    odometer_km: float | None = None,
    cost: float | None = None,
    note: str | None = None,
    author: Author,
) -> int:
    """Record a breakdown; returns its breakdown_id. Only a confirmed one trains pump failure."""
    _one_of("pump_confirmed", pump_confirmed, CONFIRMED)
    row = {
        "unit": unit,
        "position": position,
        "happened_on": on,
        "odometer_km": odometer_km,
        "pump_confirmed": pump_confirmed,
        "cost": cost,
        "note": note,
    }
    with open_ledger(ledger, read_only=False) as connection:
        _known_unit(connection, unit)
        with transaction(connection, author, "work", command="add-breakdown") as stamp:
            return add_row(connection, "breakdown", row, stamp)


def _check_removal(removal: Removal) -> None:
    _one_of("removal", removal.removal, REMOVALS)
    if removal.found is not None:
        _one_of("found", removal.found, FOUND)


def _one_of(field: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise EntryRefused(f"unknown-{field}", f"{field}: '{value}' is not one of {', '.join(allowed)}.")


def _known_unit(connection: duckdb.DuckDBPyConnection, unit: str) -> None:
    if not connection.execute(statement("visit/unit_known"), [unit]).fetchall():
        raise EntryRefused("unknown-unit", f"Unit {unit} is not in the ledger; check its number.")


def in_service(connection: duckdb.DuckDBPyConnection, unit: str, position: str) -> dict[str, Any] | None:
    """Return the row of the pump in service there, None without one; EntryRefused for an unknown unit."""
    _known_unit(connection, unit)
    rows = as_dicts(connection.execute(statement("visit/pump_in_service"), [unit, position]))
    return rows[0] if rows else None


def to_take_off(connection: duckdb.DuckDBPyConnection, unit: str, position: str, on: date) -> dict[str, Any]:
    """Return the row of the pump in service there; EntryRefused without one, or if fitted after that day."""
    old = in_service(connection, unit, position)
    if old is None:
        raise EntryRefused("no-pump", f"Unit {unit} has no pump in service in position {position}.")
    if old["fitted_on"] and on < old["fitted_on"]:
        raise EntryRefused(
            "before-fitting", f"The pump was fitted on {old['fitted_on']}; it can't come off on {on}."
        )
    return old


def _not_before_last_removal(
    connection: duckdb.DuckDBPyConnection, unit: str, position: str, on: date | None
) -> None:
    [(removed_on,)] = connection.execute(statement("visit/last_removal"), [unit, position]).fetchall()
    if on and removed_on and on < removed_on:
        raise EntryRefused(
            "before-removal",
            f"The pump before it came off unit {unit} on {removed_on}; another can't go in on {on}.",
        )


def _day(day: date | None) -> str:
    return "an unknown date" if day is None else day.isoformat()


def _fit(
    connection: duckdb.DuckDBPyConnection,
    unit: str,
    position: str,
    pump: NewPump,
    on: date | None,
    odometer_km: float | None,
    hours: float | None,
    stamp: Stamp,
) -> int:
    pump_type = pump.pump_type or "unknown"
    connection.execute(statement("visit/add_pump_type"), [pump_type, stamp.at])
    row = {
        "unit": unit,
        "position": position,
        "pump_type": pump_type,
        "serial": pump.serial,
        "lot": pump.lot,
        "run_share": 1.0 if pump.run_share is None else pump.run_share,
        "fitted_on": on,
        "fitted_odometer_km": odometer_km,
        "fitted_hours": hours,
        "prior_distance_km": pump.prior_distance_km,
    }
    return add_row(connection, "pump", row, stamp)


def _close(
    connection: duckdb.DuckDBPyConnection,
    pump_id: int,
    removal: Removal,
    on: date,
    odometer_km: float | None,
    hours: float | None,
    stamp: Stamp,
) -> None:
    values = {
        "removed_on": on,
        "removed_odometer_km": odometer_km,
        "removed_hours": hours,
        "removal": removal.removal,
        "found": removal.found or "not_examined",
        "failure_mode": removal.failure_mode,
        "failure_mechanism": removal.failure_mechanism,
        "cause": removal.cause,
        "cost": removal.cost,
        "claim": removal.claim,
    }
    known = {name: value for name, value in values.items() if value is not None}
    change_cells(connection, "pump", pump_id, known, stamp, reason=None)


def _hand_over_visits(
    connection: duckdb.DuckDBPyConnection, old_id: int, new_id: int, on: date, stamp: Stamp
) -> None:
    moved = connection.execute(
        statement("visit/visits_after_removal"), {"pump_id": old_id, "removed_on": on}
    ).fetchall()
    for (visit_id,) in moved:
        change_cells(connection, "visit", visit_id, {"pump_id": new_id}, stamp, reason="pump replaced before")


def _add_service(
    connection: duckdb.DuckDBPyConnection,
    unit: str,
    work: str,
    on: date,
    odometer_km: float | None,
    note: str | None,
    stamp: Stamp,
) -> int:
    row = {"unit": unit, "done_on": on, "odometer_km": odometer_km, "work": work, "note": note}
    return add_row(connection, "service", row, stamp)
