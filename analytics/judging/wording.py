"""The sentences of judging: a rule's or step's words with the values that this visit has for them.

A finding is a rule's id and values; its sentence is made from both here alone, in the language in use: the
Spanish words of rules, steps and of the phrases below are in `spanish`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from string import Formatter
from typing import Any

import numpy as np

from analytics.judging import spanish  # noqa: F401  (known once it is imported)
from analytics.judging.rules import RULE_BY_ID
from ingest.settings_in_force import Settings, by_name
from ingest.units import format_quantity
from ingest.wording.language import phrase, template

DROPS = (
    ("supply", "drop_supply_v", "drop_supply_limit_v"),
    ("ground", "drop_ground_v", "drop_ground_limit_v"),
)
# Places in sentences that a figure or fact of the judged visit, or a setting, fills.
COLUMNS = {
    "rpm_low": "rpm_low_used",
    "rpm_high": "rpm_high_used",
    "type_rpm_low": "rpm_low_used",
    "battery": "battery_v",
    "at_pump": "at_pump_v",
    "fell": "fell_v",
    "ripple_limit": "ripple_limit_used_pct",
    "accuracy": "book_accuracy_a",
    "type_a": "type_a",
    "other_pct": "other_state_pct",
    "one_pct": "one_before_pct",
}
FACTS = {"hot": "fuel_hot", "unseen": "ripple_over", "command": "command_unknown", "unsaid": "maybe_primed"}
LEADS = {
    "held_back": " More current at less speed than its own baseline: held back after the pump, by the outlet "
    "filter or a kinked line, or the pump drags.",
    "let_off": " Fuel enough is moved, so pressure is likelier let off: regulator or in-tank hose first.",
}
BESIDE = "beside"  # among the values: the findings that stand beside it, each a rule and its values
WORDS = {"other_state"}
# All columns of a judged visit that fill a place.
FIGURES = (
    *COLUMNS.values(), *FACTS.values(), *WORDS, *LEADS, "pressure_low", "fuel_pressure_kpa",
    "rated_pressure_kpa",
    "delivery_low", "delivery_l_min", "segment_odd", "segment_number", "segment_apart_pct", "segment_twice",
    *(name for side, column, _ in DROPS for name in (column, f"drop_{side}_high", f"drop_{side}_usual_v")),
    "mean_a",
)  # fmt: skip
SEGMENT_BELOW = " Segment {number}{twice} lies {apart} % of the average below the others."
SEGMENT_ABOVE = " Segment {number}{twice} lies {apart} % of the average above the others."
STATE_UNSAID = " Nobody said that it ran: on a prime, engine off, so many are usual."
COMMAND_UNKNOWN = " No duty or speed makes that right; note which was commanded."
ADDED_SINCE = ("leads", "unsaid")  # places of a clause that findings told earlier have no value for
SETTINGS = {"usual_low": "usual_low_a", "usual_high": "usual_high_a"}


def fill(sentence: str, visit: Mapping[Any, Any], settings: Settings) -> str:
    """Return a sentence of the table with its figures filled in. visit: FIGURES of a judged row."""
    return worded(sentence, values_of(sentence, visit, settings))


def values_of(sentence: str, visit: Mapping[Any, Any], settings: Settings) -> dict[str, Any]:
    """Return what a sentence of the table is made from besides its own words, as JSON holds it."""
    return {name: _value(name, visit, settings) for name in _places(sentence)}


def worded(sentence: str, values: dict[str, Any]) -> str:
    """Return a sentence of the table with its values in their places."""
    told = {name: _PHRASES[name](value) if name in _PHRASES else value for name, value in values.items()}
    beside = told.pop(BESIDE, "")
    said = template(sentence)
    added = dict.fromkeys(ADDED_SINCE, "")
    return (said.format(**added | told) if told else said) + beside


def nothing_odd(origin: str | None, motor: str | None, speed_told: bool) -> str | None:
    """Return what a sound reading is said to be where it could not show everything, else None."""
    if origin == "meter":
        return phrase(
            "Nothing out of the ordinary in the average; a meter tells nothing of ripple and speed."
        )
    if motor == "brushless":
        return phrase("Nothing out of the ordinary in the average, which is all that a brushless pump shows.")
    if speed_told:
        return None
    return phrase("Nothing out of the ordinary in what could be measured; the speed was not told.")


def _places(sentence: str) -> list[str]:
    if "{" not in sentence:
        return []
    return list(dict.fromkeys(name for _, name, _, _ in Formatter().parse(sentence) if name))


def _value(name: str, visit: Mapping[Any, Any], settings: Settings) -> Any:
    if name in COLUMNS:
        return float(visit.get(COLUMNS[name], np.nan))
    if name in WORDS:
        return str(visit[name])
    if name in SETTINGS:
        return float(by_name(settings, SETTINGS[name]))
    if name == "shortfall":
        return _shortfall(visit)
    if name == "segment":
        return _segment(visit)
    if name == "leads":
        return next((fact for fact in LEADS if visit[fact]), "")
    if name in FACTS:
        return bool(visit[FACTS[name]])
    drops = _drops(visit, settings)
    return drops if name in ("drops", "lost") else [side for side, *_ in drops]


def _drops(visit: Mapping[Any, Any], settings: Settings) -> list[list[Any]]:
    """Side, volts lost and most that is usual, of each drop that is too high; and the current, A, of one
    that is so for little current alone."""
    told = []
    for side, column, limit in DROPS:
        if visit[f"drop_{side}_high"]:
            usual = float(visit[f"drop_{side}_usual_v"])
            at_a = [float(visit["mean_a"])] if usual < float(by_name(settings, limit)) else []
            told.append([side, float(visit[column]), usual, *at_a])
    return told


def _shortfall(visit: Mapping[Any, Any]) -> dict[str, float]:
    """Pressure and its rating, delivery, of those that are too low."""
    short: dict[str, float] = {}
    if visit["pressure_low"]:
        short |= {
            "pressure_kpa": float(visit["fuel_pressure_kpa"]),
            "rated_kpa": float(visit["rated_pressure_kpa"]),
        }
    if visit["delivery_low"]:
        short["delivery_l_min"] = float(visit["delivery_l_min"])
    return short


def _segment(visit: Mapping[Any, Any]) -> dict[str, Any] | None:
    if not visit["segment_odd"]:
        return None
    return {
        "number": int(visit["segment_number"]),
        "apart_pct": float(visit["segment_apart_pct"]),
        "twice": bool(visit["segment_twice"]),
    }


def _shortfall_phrase(short: dict[str, float]) -> str:
    parts = []
    if "pressure_kpa" in short:
        pressure, rated = (format_quantity(short[name], "kPa") for name in ("pressure_kpa", "rated_kpa"))
        parts.append(phrase("pressure {pressure} of {rated} rated", pressure=pressure, rated=rated))
    if "delivery_l_min" in short:
        parts.append(phrase("delivery {flow} L/min", flow=f"{short['delivery_l_min']:g}"))
    if len(parts) > 1:
        return phrase("{what} are too low", what=both(parts))
    return phrase("{what} is too low", what=parts[0]) if parts else phrase("delivery")


def _segment_phrase(segment: dict[str, Any] | None) -> str:
    if segment is None:
        return ""
    return phrase(
        SEGMENT_BELOW if segment["apart_pct"] < 0 else SEGMENT_ABOVE,
        number=segment["number"],
        twice=phrase(", seen twice a turn,") if segment["twice"] else "",
        apart=f"{abs(segment['apart_pct']):.1f}",
    )


def _beside_phrase(found: dict[str, Any]) -> str:
    text = worded(RULE_BY_ID[found["rule"]].text, found["values"])
    return f" {phrase('Besides:')} {text}"


def both(parts: Sequence[str]) -> str:
    """Return words side by side: "supply and ground"."""
    return f" {phrase('and')} ".join(parts)


def _drop_phrase(side: str, volts: float, limit: float, at_a: float | None = None) -> str:
    told = {"side": phrase(side), "volts": f"{volts:g}"}
    if at_a is None:
        return phrase("{volts} V on the {side} side (up to {limit} V is usual)", **told, limit=f"{limit:g}")
    words = "{volts} V on the {side} side (at {amps} A up to {limit} V is usual)"
    return phrase(words, **told, amps=f"{at_a:.1f}", limit=f"{limit:.2g}")


_PHRASES: dict[str, Callable[[Any], str]] = {
    "drops": lambda drops: both([_drop_phrase(*drop) for drop in drops]),
    "lost": lambda drops: (
        phrase(" Lost under load: {drops}.", drops=_PHRASES["drops"](drops)) if drops else ""
    ),
    "sides": lambda sides: both([phrase(side) for side in sides]),
    "shortfall": _shortfall_phrase,
    "segment": _segment_phrase,
    "unseen": lambda over: "" if over else phrase("; ripple alone does not show it"),
    "command": lambda unknown: phrase(COMMAND_UNKNOWN) if unknown else "",
    BESIDE: lambda found: "".join(map(_beside_phrase, found)),
    "other_state": lambda state: phrase(state),
    "unsaid": lambda unsaid: phrase(STATE_UNSAID) if unsaid else "",
    "leads": lambda fact: phrase(LEADS[fact]) if fact else "",
    "hot": lambda hot: phrase(" in hot fuel") if hot else "",
}
