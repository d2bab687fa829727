"""What is said beside a plan: what it rests on, and what is odd about what people booked."""

from __future__ import annotations

import pandas as pd

from analytics.past.frames import each
from analytics.risk.workdays import Workdays, as_of_sentence, stale
from analytics.scheduling.assignment import Assignment
from analytics.scheduling.inputs import Inputs

MOST_NAMED = 8


def notes(inputs: Inputs, lines: pd.DataFrame, solved: Assignment) -> list[str]:
    """Return sentences on what a plan rests on: age of facts, prices, stock, bays, bookings, the solver."""
    notes = []
    if stale(inputs.as_of, inputs.today):
        notes.append(as_of_sentence(inputs.as_of))
    unsure = {name for names in inputs.pumps["of_replacements"].unique() for name in names}
    if unsure:
        names = ", ".join(sorted(name.replace("_", " ") for name in unsure))
        notes.append(f"Costs and savings rest on placeholder prices that no one has confirmed: {names}.")
    if not len(inputs.stock):
        notes.append("No stock is on record, so every part is taken to be ordered.")
    if not len(inputs.bays):
        notes.append("No bay hours are on record, so every stop is taken to have room.")
    notes += _booked_doubts(inputs, lines)
    late = lines[pd.to_datetime(lines["planned_on"]) < pd.Timestamp(inputs.today)]
    if len(late):
        notes.append(_passed(late))
    if not solved.proven:
        notes.append(
            f"Time ran out: the assignment may cost up to {100 * solved.gap:.2f} % more than the best."
        )
    return notes


def _passed(late: pd.DataFrame) -> str:
    units = late["unit"].astype(str).tolist()
    named = ", ".join(units[:MOST_NAMED]) + (", …" if len(units) > MOST_NAMED else "")
    if len(units) == 1:
        return f"The day booked for unit {named} is past: mark it done or move it."
    return f"The days booked for {len(units)} units are past: mark them done or move them ({named})."


def _booked_doubts(inputs: Inputs, lines: pd.DataFrame) -> list[str]:
    """Return a sentence on each booking that has come to stand on a closed day or after the unit's end."""
    if not len(lines):
        return []
    days, found = Workdays(inputs.settings), []
    retires = inputs.pumps.set_index("pump_id")["retires_on"]
    for row in each(lines[lines["status"] != "proposed"]):
        end = pd.Timestamp(retires[row.pump_id])
        if not pd.isna(end) and pd.Timestamp(row.planned_on) >= end:
            found.append(f"Unit {row.unit} is booked for {row.planned_on}, but retires on {end.date()}.")
        elif not days.is_open(row.planned_on, row.depot):
            found.append(
                f"Unit {row.unit} is booked for {row.planned_on}, a closed day at depot {row.depot}."
            )
    return found
