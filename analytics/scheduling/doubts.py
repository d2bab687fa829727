"""What speaks against working on a pump on a day: a closed day, hours, parts, the unit's retirement."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import duckdb
import numpy as np

from analytics.risk.visits_ahead import monday
from analytics.risk.workdays import Workdays
from analytics.scheduling.hours import USUAL_JOB_HOURS
from analytics.statements import statement
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.trade_numbers import LEAD_DAYS
from ingest.wording.language import phrase


def demand_possible(
    connection: duckdb.DuckDBPyConnection, pump_id: int, day: date | None, today: date
) -> None:
    """Raise EntryRefused where no reason could make the booking sense: past, after retirement, pump gone."""
    unit, position, removed_on, retires_on = _pump(connection, pump_id)[:4]
    if removed_on is not None:
        raise EntryRefused(
            "pump-removed", f"The {position} pump {pump_id} of unit {unit} was taken off on {removed_on}."
        )
    if day is None:
        return
    if day < today:
        raise EntryRefused("past-day", f"{day} is past; choose a day from {today} on.")
    if retires_on is not None and day >= retires_on:
        raise EntryRefused("unit-retired", f"Unit {unit} retires on {retires_on}; choose a day before.")


def booking_doubts(
    connection: duckdb.DuckDBPyConnection, pump_id: int, day: date, today: date, *, part: bool = True
) -> list[str]:
    """Return what speaks against a day, one clause each; a person may insist with a reason.

    part: whether the job needs one.
    """
    _, _, _, _, depot, pump_type, hours, lead = _pump(connection, pump_id)[:8]
    settings = settings_at(connection, today)
    found = []
    if not Workdays(settings).is_open(day, depot):
        whose = "depot {depot}" if depot else "its depot"
        closed = f"{whose} is closed on {{weekday}} {{day}}"
        found.append(phrase(closed, depot=depot, weekday=phrase(f"{day:%A}"), day=day))
    free = _free_hours(connection, depot, day)
    mine = USUAL_JOB_HOURS if hours is None else float(hours)
    others = _booked(connection, pump_id, depot)
    wanted = mine + sum(h for d, h, _, _ in others if monday(d) == monday(day))
    if free is not None and wanted > free + 1e-9:
        over = "the bay is over by {hours} h in the week of {monday}"
        found.append(phrase(over, hours=f"{wanted - free:.1f}", monday=monday(day)))
    taken = sum(1 for d, _, kind, _ in others if kind == pump_type and d <= day)
    ready = today + timedelta(days=int(np.ceil(LEAD_DAYS if lead is None else float(lead))))
    rows = connection.execute(statement("plan_stock_of"), [depot, pump_type]).fetchall()
    on_hand = int(rows[0][0]) if rows else 0
    if part and taken >= on_hand and day < ready:
        none_told = not connection.execute(statement("plan_stock_told"), [depot]).fetchall()[0][0]
        why = (
            "no stock is on record, so its part is taken to be ordered (earliest {ready})"
            if none_told
            else "no part is left by then (earliest {ready})"
        )
        found.append(phrase(why, ready=ready))
    return found


def doubts_on(ledger: Path, pump_id: int, day: date, today: date) -> list[str]:
    """As `booking_doubts`, of a ledger. Raises EntryRefused as `demand_possible`."""
    with open_ledger(ledger) as connection:
        demand_possible(connection, pump_id, day, today)
        return booking_doubts(connection, pump_id, day, today)


def _pump(connection: duckdb.DuckDBPyConnection, pump_id: int) -> tuple:
    found = connection.execute(statement("plan_booked_pump"), [int(pump_id)]).fetchall()
    if not found:
        raise EntryRefused("unknown-pump", f"There is no pump {pump_id} in this ledger.")
    return found[0]


def _free_hours(connection: duckdb.DuckDBPyConnection, depot: str, day: date) -> float | None:
    """Return a depot's bay hours of a week less its units' other due work; None where none are on record."""
    rows = connection.execute(statement("plan_free_hours"), [depot, monday(day), depot]).fetchall()
    return None if rows[0][0] is None else float(rows[0][0])


def _booked(connection: duckdb.DuckDBPyConnection, pump_id: int, depot: str) -> list[tuple]:
    """Return day, hours, pump type and unit of what else stands booked at a depot."""
    rows = connection.execute(statement("plan_booked_at"), [depot, int(pump_id)]).fetchall()
    return [(d, USUAL_JOB_HOURS if h is None else float(h), kind, unit) for d, h, kind, unit in rows]
