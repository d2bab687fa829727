"""The figures in a rule's sentence, as this visit has them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from ingest.units import format_quantity

DROPS = (
    ("supply", "drop_supply_v", "drop_supply_limit_v"),
    ("ground", "drop_ground_v", "drop_ground_limit_v"),
)


def fill(sentence: str, visit: pd.Series, settings: dict[str, Any]) -> str:
    """Return a sentence of the table with its figures filled in. visit: a judged row."""
    if "{" not in sentence:
        return sentence
    high = [
        (side, visit[column], settings[limit]) for side, column, limit in DROPS if visit[f"drop_{side}_high"]
    ]
    return sentence.format(
        rpm_low=visit["rpm_low_used"],
        rpm_high=visit["rpm_high_used"],
        type_rpm_low=visit["rpm_low_used"],
        ripple_limit=visit["ripple_limit_used_pct"],
        accuracy=float(visit["book_accuracy_a"]),
        type_a=float(visit.get("type_a", np.nan)),
        usual_low=settings["usual_low_a"],
        usual_high=settings["usual_high_a"],
        drops=" and ".join(
            f"{v:g} V on the {side} side (up to {limit:g} V is usual)" for side, v, limit in high
        ),
        sides=" and ".join(side for side, _, _ in high),
        shortfall=_shortfall(visit),
        segment=_segment(visit),
        unseen="" if visit["ripple_over"] else "; ripple alone does not show it",
        hot=" in hot fuel" if visit["fuel_hot"] else "",
    )


def _shortfall(visit: pd.Series) -> str:
    parts = []
    if visit["pressure_low"]:
        rated = format_quantity(visit["rated_pressure_kpa"], "kPa")
        parts.append(f"pressure {format_quantity(visit['fuel_pressure_kpa'], 'kPa')} of {rated} rated")
    if visit["delivery_low"]:
        parts.append(f"delivery {visit['delivery_l_min']:g} L/min")
    text = " and ".join(parts) or "delivery"
    return f"{text} is too low" if parts else text


def _segment(visit: pd.Series) -> str:
    if not visit["segment_odd"]:
        return ""
    twice = ", seen twice a turn," if visit["segment_twice"] else ""
    apart = float(visit["segment_apart_pct"])
    side = "below" if apart < 0 else "above"
    number = f"{visit['segment_number']:.0f}"
    return f" Segment {number}{twice} lies {abs(apart):.1f} % of the average {side} the others."
