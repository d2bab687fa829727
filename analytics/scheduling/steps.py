"""What a job asks for, step by step, and what to bring: common practice, no source [P]."""

from __future__ import annotations

from typing import Any

from analytics.money.decision import CAUSE_FOUND, NO_FUEL
from analytics.risk.deciding import CAPTURE_FIRST, DROPS, LOOK, NO_DELIVERY_RULE
from analytics.scheduling import spanish  # noqa: F401  (known once it is imported)

ZERO = "Take the clamp off, check its zero, and capture again at the same point and state."
READING = "Zero the clamp and capture it: no reading of it is on record, or none that is young enough."
CIRCUIT = "Volts and both drops at the pump under load."
PRESSURE = "Pressure at the port, held against the type's rating."
DELIVERY = "Volume delivered in a measured time."
FILTER = "Outlet filter: age, and change it if in doubt."
FUEL = "Fuel in the tank: enough of it, and the right kind."
OPEN = "With the tank open: strainer, in-tank hose, regulator and connector looked at, for heat too."
AFTER = (
    "Capture again after any repair; change the pump unless a named cause explains the reading and it clears."
)
BEARS = "Log the new reading with the drops: go on only if its answer is to change the pump."
CHANGE = "Change the pump; capture the new one at this stop, as its baseline."
TANK = "Clean the tank and renew the strainer with the pump."
REPORT = "Write down what was examined and found, cause or no other cause."
MENDED = "Record what was mended as work done: later readings are held against those since."
BESIDE_PLAYS = 0.05  # from this chance of a cause beside the pump on, a check may change the decision


def steps(row: Any) -> list[str]:
    """Return the steps of one line in order; row: job, asked_first, finding, finding_action, because,
    p_beside, filter, action_text."""
    # No outcome of a check could change a decision that no odd reading carries.
    plain = [READING if row.job == CAPTURE_FIRST else ZERO, CIRCUIT]
    if row.job != "check" and row.asked_first == DROPS and row.finding == NO_DELIVERY_RULE:
        # What starves a sound pump goes first, as its finding says, though a change pays without.
        filter_too = [FILTER] if row.filter == "inline" else []
        return [*plain, PRESSURE, FUEL, *filter_too, OPEN, AFTER, CHANGE, TANK]
    if row.job != "check" and row.asked_first != LOOK:
        return [*((*plain, BEARS) if row.asked_first == DROPS else ()), CHANGE, TANK]
    if row.job == "check" and row.because == NO_FUEL and row.finding_action == "check circuit":
        return [*plain, REPORT]  # what feeds it first: the tank stays shut
    if row.job == "check" and row.because == CAUSE_FOUND:
        return [row.action_text, MENDED]
    looks = plain
    if row.p_beside >= BESIDE_PLAYS or row.finding_action not in (
        "none",
        "shorten interval",
        "repeat capture",
    ):
        looks.append(PRESSURE)
        if row.finding_action in ("check delivery", "check filter or strainer"):
            looks.append(DELIVERY)
        if row.filter == "inline":
            looks.append(FILTER)
        looks.append(OPEN)
    if row.job == "check":
        return [*looks, REPORT]
    return [*looks, AFTER, CHANGE, TANK, REPORT]


def bring(row: Any) -> str:
    """Return what to have at hand for one line, as text."""
    things = ["clamp", "voltmeter"]
    things += ["pressure gauge"] if PRESSURE in row.steps else []
    things += ["measuring can for fuel"] if DELIVERY in row.steps else []
    things += [f"pump {row.pump_type}", "strainer", "seals"] if row.job != "check" else []
    return ", ".join(things)
