"""The second finding: what stands beside the first and is not explained by it, by its size where that counts.

Common practice, no source [P]. A fault of the circuit explains neither ripple that stepped up nor pressure
far above rated nor what was found bad by eye; low volts explain current, speed and delivery so far as the
motor's sensitivity goes (explained.py) and no further. The first is mended first; the second is named with
its own next step, so that nobody lets the vehicle go with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from analytics.judging.rules import RULE_BY_ID, Rule
from analytics.judging.rules_first import CIRCUIT, DOUBTFUL
from analytics.judging.wording import values_of
from ingest.settings_in_force import Settings
from ingest.wording.language import phrase

MOST_NAMED = 2
RIPPLE = ("ripple-jumped", "ripple-very-high", "ripple-unsure", "segment-odd")
IN_TANK = ("filter-or-strainer-bad", "hose-or-regulator-bad")  # to be mended with the tank open
BY_EYE = ("fuel-wrong", *IN_TANK)
# Findings that are themselves a cause beside the pump, measured or seen, and wait for nothing but mending.
MEASURED = ("circuit-over-volts", "circuit-low-volts", "circuit-drop", "connector-bad")
FLOW = ("pressure-high", "does-not-deliver", "delivers-little")
UP = ("average-above", "current-up-speed-down", "average-up")
DOWN = ("average-very-low", "wear-both-down", "average-below", "current-down-speed-up", "average-down",
        "speed-down")  # fmt: skip
OPEN = ("complaint-open", "pressure-not-held")
# What may stand second, by weight, and its next step in few words, after the first one's.
NEXT = {
    "ripple-jumped": "Look at its ripple again before it leaves.",
    "ripple-very-high": "Look at its ripple again before it leaves.",
    "fuel-wrong": "Make sure of the fuel in the tank.",
    "filter-or-strainer-bad": "Renew what was found bad.",
    "hose-or-regulator-bad": "Renew what was found bad.",
    "pressure-high": "Then check regulator and return line.",
    "does-not-deliver": "Then level, strainer, hose and regulator.",
    "delivers-little": "Then level, strainer, hose and regulator.",
    "circuit-over-volts": "Then check the charging voltage.",
    "circuit-low-volts-primed": "Then the battery and both drops.",
    "circuit-low-volts": "Then the battery and both drops.",
    "circuit-drop": "Then mend the circuit.",
    "connector-bad": "Renew the connector.",
    "average-very-low": "Then measure delivery.",
    "wear-both-down": "Then compare its speed again.",
    "average-below": "Then measure delivery.",
    "average-above": "Then measure fuel pressure.",
    "speed-doubted": "Check the number of segments.",
    "current-down-speed-up": "Then measure delivery.",
    "current-up-speed-down": "Then measure fuel pressure.",
    "average-down": "Then measure delivery.",
    "average-up": "Then measure fuel pressure.",
    "speed-down": "Then compare its speed again.",
    "ripple-unsure": "Look at its ripple again before it leaves.",
    "segment-odd": "Look at its ripple again before it leaves.",
    "pressure-not-held": "Then look for the leak.",
    "complaint-open": "Retest hot: the complaint stays open.",
}
# A fact without which the first explains the second.
BEYOND = {name: "circuit_leaves_short" for name in FLOW[1:]} | {name: "volts_leave_more" for name in DOWN}
_OF_CIRCUIT = tuple(rule.id for rule in CIRCUIT)
_NOT_OF_THE_TRACE = (*BY_EYE, *FLOW, *_OF_CIRCUIT)
_ODD = (*RIPPLE, "speed-doubted")
_OTHERS = {
    **{rule.id: _NOT_OF_THE_TRACE for rule in DOUBTFUL if rule.steps == ("clamp",)},
    "no-current": BY_EYE,
    "far-above-no-ripple": (*BY_EYE, "pressure-high"),
    "stalled": (),
    "runs-dry": ("speed-doubted",),  # on next to no current the ripple's share tells nothing
    **{rule.id: (*_ODD, *BY_EYE, *FLOW, *UP, *DOWN) for rule in CIRCUIT},
    "circuit-over-volts": (*RIPPLE, *BY_EYE, *FLOW),
    # One at the tank loses volts that no reading before it shows.
    "connector-bad": (*_ODD, *BY_EYE, *FLOW, *UP),
    "filter-or-strainer-bad": (*_ODD, "fuel-wrong", "hose-or-regulator-bad", "wear-both-down"),
    "hose-or-regulator-bad": (*_ODD, "fuel-wrong", "wear-both-down"),
    "fuel-wrong": (*_ODD, "pressure-high"),
    "supply-switched": ("pressure-high", "does-not-deliver", "delivers-little"),
    "duty-unknown": (*RIPPLE, "pressure-high"),
    "speed-command-unknown": (*RIPPLE, "pressure-high"),
}  # fmt: skip
_HARMLESS = ("ripple-high", "average-undecided", "fast-but-delivers", "slow-but-delivers", "irregular")


def may_stand_beside(first: Rule) -> tuple[str, ...]:
    """Return the ids of what a finding does not explain by itself, by weight."""
    others = _OTHERS.get(first.id)
    if others is None:
        others = OPEN if first.id in _HARMLESS else _ODD if first.fault else ()
    if first.family == "ripple":
        others = tuple(name for name in others if name not in RIPPLE)
    return tuple(name for name in NEXT if name in others and name != first.id)


def beside(first: Rule, last: pd.DataFrame) -> list[tuple[str, ...]]:
    """Return for each judged row (n,) whose finding is `first` the ids of what stands beside it."""
    found: list[list[str]] = [[] for _ in range(len(last))]
    families: list[set[str]] = [{first.family} - {""} for _ in range(len(last))]
    for name in may_stand_beside(first):
        rule = RULE_BY_ID[name]
        holds = last[f"rule:{name}"].to_numpy(bool)
        if name in BEYOND:
            holds = holds & last[BEYOND[name]].to_numpy(bool)
        moved = name in (*UP, *DOWN)  # which any of the others explains
        for i in np.flatnonzero(holds):
            if len(found[i]) < (1 if moved else MOST_NAMED) and rule.family not in families[i]:
                found[i].append(name)
                families[i] |= {rule.family} - {""}
    return [tuple(names) for names in found]


def values_beside(
    names: tuple[str, ...], visit: Mapping[Any, Any], settings: Settings
) -> list[dict[str, Any]]:
    """Return the rules that stand beside a finding with the values of their sentences, as JSON holds them."""
    return [{"rule": name, "values": values_of(RULE_BY_ID[name].text, visit, settings)} for name in names]


def next_beside(names: tuple[str, ...]) -> str:
    """Return the next step of what stands beside a finding, to be said after the finding's own."""
    return f" {phrase(NEXT[names[0]])}" if names else ""
