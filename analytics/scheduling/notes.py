"""What is said beside a plan: what it rests on, and what is odd about what people booked."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from analytics.money.decision import CHECK, FAILED, JOBS
from analytics.past.frames import each
from analytics.risk.stepped import said_of_steps
from analytics.risk.workdays import Workdays, stale
from analytics.scheduling.assignment import Assignment
from analytics.scheduling.inputs import Inputs
from analytics.wording import Remark, remark

MOST_NAMED = 8
FEW_FAILURES = 10  # on record: with fewer, lives and savings are mostly other fleets'
MANY, SOON = 5, 1 / 3  # pumps to be changed, of which this share at most fails before its next stop
HOURS_CLOSE = 1e-9
NO_DEPOT = "(none)"


def notes(
    inputs: Inputs, lines: pd.DataFrame, solved: Assignment, free: dict[tuple[str, date], float]
) -> list[Remark]:
    """Return what a plan rests on: age of facts, prices, stock, bays, steps of many pumps, bookings, the
    solver; free: hours left by depot and week once booked work is taken off."""
    notes = []
    if stale(inputs.as_of, inputs.today):
        notes.append(remark("as-of", day=inputs.as_of))
    unseen = _unseen(inputs, lines)
    if unseen:
        notes.append(remark("old-readings", number=unseen, of=len(lines)))
    unsure = {name for names in inputs.pumps["of_replacements"].unique() for name in names}
    if unsure:
        names = ", ".join(sorted(name.replace("_", " ") for name in unsure))
        notes.append(remark("placeholder-prices", names=names))
    if inputs.failures is not None and inputs.failures < FEW_FAILURES and len(lines):
        notes.append(remark("saving-on-few-failures", number=inputs.failures))
    notes += _mostly_later(inputs, lines)
    held = inputs.pumps["held_back"].to_numpy(float)
    if (held > 0).any():
        told = {"number": int((held > 0).sum()), "cost": float(held.sum()), "currency": inputs.book.currency}
        notes.append(remark("finding-demanded", **told))
    if not len(inputs.stock):
        notes.append(remark("no-stock"))
    if not len(inputs.bays):
        notes.append(remark("no-bays"))
    notes += said_of_steps(inputs.steps)
    notes += _booked_doubts(inputs, lines)
    notes += _over_hours(lines, free)
    late = lines[pd.to_datetime(lines["planned_on"]) < pd.Timestamp(inputs.today)]
    if len(late):
        notes.append(_passed(late))
    if not solved.proven:
        notes.append(remark("not-proven", gap_pct=100 * solved.gap))
    return notes


def _mostly_later(inputs: Inputs, lines: pd.DataFrame) -> list[Remark]:
    """Return why many pumps are to be changed where few of them would fail before their next stops."""
    if not len(lines):
        return []
    proposed = (lines["status"] == "proposed") & (lines["job"] != JOBS[CHECK]) & (lines["because"] != FAILED)
    rows = lines.loc[proposed, "row"].to_numpy(int)
    soon = float(lines.loc[proposed, "risk_to_next_stop"].sum())
    if len(rows) < MANY or soon > SOON * len(rows):
        return []
    year = float(inputs.pumps["risk_in_a_year"].to_numpy(float)[rows].sum())
    return [remark("mostly-later", soon=soon, number=len(rows), year=year)]


def _unseen(inputs: Inputs, lines: pd.DataFrame) -> int:
    """Return how many of the pumps planned were last seen longer ago than their interval."""
    codes = inputs.pumps.set_index("pump_id")["action_code"]
    return int((codes.reindex(lines["pump_id"]) == "change-after-capture").sum()) if len(lines) else 0


def _passed(late: pd.DataFrame) -> Remark:
    if len(late) == 1:
        return remark("day-past", names=_named(late))
    return remark("days-past", names=_named(late), number=len(late))


def _named(rows: pd.DataFrame) -> str:
    units = rows["unit"].astype(str).tolist()
    return ", ".join(units[:MOST_NAMED]) + (", …" if len(units) > MOST_NAMED else "")


def _over_hours(lines: pd.DataFrame, free: dict[tuple[str, date], float]) -> list[Remark]:
    """Return the weeks in which what people booked takes more hours than the bay has."""
    if not len(lines):
        return []
    found = []
    by_week: Any = lines[lines["status"] != "proposed"].groupby(["depot", "week"])
    for (depot, week), rows in by_week:
        left = free.get((depot, week), 0.0)
        if left < -HOURS_CLOSE:
            told = {"depot": depot or NO_DEPOT, "week": week, "hours": -left, "names": _named(rows)}
            if len(rows) == 1:
                found.append(remark("booked-over-hours", **told))
            else:
                found.append(remark("bookings-over-hours", number=len(rows), **told))
    return found


def _booked_doubts(inputs: Inputs, lines: pd.DataFrame) -> list[Remark]:
    """Return what is odd about each booking that now stands on a closed day or after the unit's end."""
    if not len(lines):
        return []
    days, found = Workdays(inputs.settings), []
    retires = inputs.pumps.set_index("pump_id")["retires_on"]
    for row in each(lines[lines["status"] != "proposed"]):
        end = pd.Timestamp(retires[row.pump_id])
        booked = {"unit": row.unit, "day": row.planned_on}
        if not pd.isna(end) and pd.Timestamp(row.planned_on) >= end:
            found.append(remark("booked-after-retirement", retires_on=end, **booked))
        elif not days.is_open(row.planned_on, row.depot):
            found.append(remark("booked-closed-day", depot=row.depot, **booked))
    return found
