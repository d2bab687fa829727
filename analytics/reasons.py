"""One sentence per pump that says how high the risk is, from what, by how many like it, and how much is
belief.

The parts are shares of -ln S in points of risk; whole numbers are rounded so that they add up to the whole.
"""

from __future__ import annotations

import numpy as np

from ingest.units import format_quantity

FEW_FAILURES = 5
MUCH_PRIOR = 0.6


def points(risk: np.ndarray, parts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return risk (n,) and parts (k, n) as whole percents that add up (largest remainders first)."""
    whole = np.round(100 * risk).astype(int)
    share = 100 * parts * (whole / np.maximum(100 * risk, 1e-12))
    low = np.floor(share + 1e-9).astype(int)
    left = whole - low.sum(0)
    rank = np.argsort(np.argsort(-(share - low), axis=0), axis=0)
    return whole, low + (rank < left)


def reason(
    *,
    risk_pct: int,
    fleet_pct: int,
    horizon: str,
    parts_pct: tuple[int, int, int],
    readings: int,
    speed_falls: bool,
    ripple_rises: bool,
    p_drag: float,
    n_alike: int,
    k_failed: int,
    prior_share: float,
    fleet_failures: int,
    age_known: bool,
    heals: bool,
    restarted: bool,
) -> str:
    """Write the sentence (with a second one where something must be asked)."""
    wear, drag, sudden = parts_pct
    worn = (
        "wear as its type shows at this distance"
        if readings < 2
        else "speed falling on good volts"
        if speed_falls
        else "ripple rising"
        if ripple_rises
        else "usual wear"
    )
    dragging = (
        "drag that has probably started"
        if p_drag > 0.5
        else "drag that may have started"
        if p_drag > 0.1
        else "drag that may start"
    )
    named = sorted(((wear, worn), (drag, dragging)), key=lambda part: -part[0])
    told = [f"{value} point{'s' if value != 1 else ''} from {text}" for value, text in named if value]
    if told:
        told = [told[0]] + [t.replace(" points", "").replace(" point", "") for t in told[1:]]
    if sudden:
        told.append(f"{sudden} unpredictable")
    fleet = fleet_pct or "under 1"
    text = f"{risk_pct or 'Under 1'} % chance of failing within {horizon} (fleet {fleet} %)"
    if told:
        text += ": " + ", ".join(told)
    if n_alike:
        were = "was" if k_failed == 1 else "were"
        text += f"; of {n_alike} past readings rated like this, {k_failed} {were} followed by a failure"
    text += "."
    if readings == 0:
        text += " No reading yet: told from type and distance alone."
    elif readings == 1:
        text += " One reading only: its level against its type."
    elif prior_share > MUCH_PRIOR:
        text += f" {round(100 * prior_share)} % of this rests on its type, not on its own readings."
    if fleet_failures < FEW_FAILURES:
        seen = (
            "no failure"
            if fleet_failures == 0
            else f"only {fleet_failures} failure{'s' if fleet_failures > 1 else ''}"
        )
        text += f" This fleet has seen {seen} yet, so failure levels are trade experience."
    if not age_known:
        text += " Nobody knows when this pump was fitted."
    if restarted:
        text += " Its readings fell as if the pump had been changed without a record: it counts as new since."
    elif heals:
        text += " Its ripple falls, which no pump does: check clamp, pump and unrecorded work."
    return text


def beyond(distance_km: float, experience_km: float, unit: str) -> str:
    """Show a distance left; past what any pump was seen to run it reads "more than ..., longest seen"."""
    if experience_km <= 0:
        return "a distance nobody knows: it has run longer than any pump seen"
    if distance_km > experience_km:
        return f"more than {format_quantity(experience_km, unit)}, longest seen"
    return format_quantity(distance_km, unit)
