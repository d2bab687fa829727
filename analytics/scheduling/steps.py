"""What a job asks for, step by step, and what to bring: common practice, no source [P]."""

from __future__ import annotations

from typing import Any

from analytics.judging.made import PARTS, has
from analytics.money.decision import CAUSE_FOUND, NO_FUEL
from analytics.risk.deciding import CAPTURE_FIRST, DROPS, LOOK, NO_DELIVERY_RULE
from analytics.scheduling import spanish  # noqa: F401  (known once it is imported)
from ingest.wording.language import phrase

ZERO = "Take the clamp off, check its zero, and capture again at the same point and state."
READING = "Zero the clamp and capture it: no reading of it is on record, or none that is young enough."
CIRCUIT = "Volts and both drops at the pump under load."
PRESSURE = "Pressure at the port, held against the type's rating."
DELIVERY = "Volume delivered in a measured time."
FILTER = "Outlet filter: age, and change it if in doubt."
FUEL = "Fuel in the tank: enough of it, and the right kind."
OPEN = "With the tank open: strainer, in-tank hose, regulator and connector looked at, for heat too."
OPEN_STILL = "With the tank open: {parts} looked at, for heat too."
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
    p_beside, filter, action_text, step_text, cause_found, made (judging/made.py): what this visit has looked
    at already is not asked for again."""
    told = _steps(row)
    if row.cause_found and row.job != "check":
        told = [row.step_text, *told]  # what was found goes first, whatever else is to be done
    return told


def _steps(row: Any) -> list[str]:
    # No outcome of a check could change a decision that no odd reading carries.
    plain = [READING] if row.job == CAPTURE_FIRST else [] if has(row.made, "zero") else [ZERO]
    plain += [] if has(row.made, "circuit") else [CIRCUIT]
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
        flow = row.finding_action in ("check delivery", "check filter or strainer")
        looks += [] if has(row.made, "pressure") else [PRESSURE]
        looks += [DELIVERY] if flow and not has(row.made, "delivery") else []
        looks += [FILTER] if row.filter == "inline" and not has(row.made, "filter") else []
        looks += _open(row.made)
    if row.job == "check":
        return [*looks, REPORT]
    return [*looks, AFTER, CHANGE, TANK, REPORT]


def _open(made: int) -> list[str]:
    """Return the look into the open tank, at those parts that were not found good yet."""
    left = [phrase(NAMES[part]) for part in PARTS if not has(made, part)]
    if len(left) in (0, len(PARTS)):
        return [OPEN] if left else []
    named = (
        left[0] if len(left) == 1 else phrase("{some} and {last}", some=", ".join(left[:-1]), last=left[-1])
    )
    return [phrase(OPEN_STILL, parts=named)]


NAMES = {"strainer": "strainer", "hose": "in-tank hose", "regulator": "regulator", "connector": "connector"}


def bring(row: Any) -> str:
    """Return what to have at hand for one line, as text."""
    things = ["clamp", "voltmeter"]
    things += ["pressure gauge"] if PRESSURE in row.steps else []
    things += ["measuring can for fuel"] if DELIVERY in row.steps else []
    things += [f"pump {row.pump_type}", "strainer", "seals"] if row.job != "check" else []
    return ", ".join(things)
