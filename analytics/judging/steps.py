"""The steps between a finding and a decision: what each asks a technician to do next, in one sentence.

Common practice, no source [P]. A rule (analytics/judging/rules.py) names its steps in order; the first one
that is not passed yet (analytics/judging/evidence.py) is the next test, and its action is the finding's
action.
"""

from __future__ import annotations

from dataclasses import dataclass

MOST_WORDS = 25  # of a next test


@dataclass(frozen=True)
class Step:
    """One step: `action` is one of the agreed actions; `passed` says in words what passes it."""

    id: str
    action: str
    text: str
    passed: str


STEPS = (
    Step(
        "repeat",
        "repeat capture",
        "Capture again, on another day or with the clamp zeroed anew, to see whether it stays.",
        "the finding again on another day, or after a zero check; one of its readings on a proven zero; "
        "a meter beside a capture is no repeat",
    ),
    Step(
        "again",
        "check delivery",
        "Measure pressure and delivery again on another day, to see whether it stays.",
        "the finding again on another day",
    ),
    Step(
        "clamp",
        "repeat capture",
        "Check the clamp's wire, factor and range, zero it, and capture again.",
        "a reading without the doubt",
    ),
    Step(
        "command",
        "repeat capture",
        "Command full speed, or note the duty or speed commanded, and capture again.",
        "a reading whose command is known",
    ),
    Step(
        "bleed",
        "repeat capture",
        "Clear the air: prime several times, then capture again.",
        "as a repeat",
    ),
    Step(
        "circuit",
        "check circuit",
        "Measure volts and both drops at the pump under load.",
        "good volts at the pump, with both drops within limits or a high speed, since the finding, not too "
        "long ago",
    ),
    Step(
        "mend circuit",
        "check circuit",
        "Mend the circuit, then capture again.",
        "a reading without the fault",
    ),
    Step(
        "mend filter",
        "check filter or strainer",
        "Renew it, then capture again.",
        "a row of work that renews it, or a look that finds it good",
    ),
    Step(
        "mend flow",
        "check delivery",
        "Mend it, then measure pressure and capture again.",
        "a row of work that renews it, or a measurement without the fault",
    ),
    Step(
        "loaded volts",
        "check circuit",
        "Command the pump on and read volts at its plugged-in connector under a test load; then look again.",
        "good volts read at the pump, with its connector found good",
    ),
    Step(
        "connector",
        "check circuit",
        "With the pump running, move and feel the tank connector and the relay: heat, looseness, corrosion.",
        "the connector found good, or renewed; or its heat asked for with a repeat that shows the finding "
        "again",
    ),
    Step(
        "level",
        "check delivery",
        "Read the fuel level; refuel above a quarter tank if it is low, then measure delivery.",
        "a level above the limit since the finding",
    ),
    Step(
        "fuel",
        "check delivery",
        "Take a sample of the fuel: right kind, no water, no dirt.",
        "the fuel's kind noted, or the fuel renewed",
    ),
    Step(
        "pressure",
        "check delivery",
        "Measure fuel pressure at the port.",
        "a pressure measured since the finding",
    ),
    Step(
        "delivery",
        "check delivery",
        "Measure delivery at rated pressure.",
        "a delivery measured against pressure since the finding",
    ),
    Step(
        "hold",
        "check delivery",
        "Retest hot: see whether pressure holds after the pump stops.",
        "pressure held since the complaint",
    ),
    Step(
        "hose",
        "check delivery",
        "Look for a split or loose hose between pump and tank flange.",
        "the hose found good, or renewed",
    ),
    Step(
        "regulator",
        "check delivery",
        "Check the regulator and the return line.",
        "the regulator found good, or renewed",
    ),
    Step(
        "strainer",
        "check filter or strainer",
        "Look at the strainer in the tank; clean or renew it, then measure again.",
        "the strainer found good or renewed, or the tank cleaned",
    ),
    Step(
        "filter",
        "check filter or strainer",
        "Check or change the outlet filter, then capture again.",
        "the filter found good or changed since the finding, or none that can be serviced",
    ),
)
STEP_BY_ID = {step.id: step for step in STEPS}
