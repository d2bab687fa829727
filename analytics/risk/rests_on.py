"""What a risk rests on: past readings rated like it, and how much of it is belief."""

from __future__ import annotations

import numpy as np

from analytics.risk.forecast import State
from analytics.wear_model.failure_risk import CAUSES
from analytics.wear_model.onsets import NAMES

ALIKE = 3.0  # times the hazard, from which a past reading is none like this


def alike(ratings: dict[str, list[float]], hazard_per_km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how many past readings had a hazard like this, and how many of them a failure followed; none
    where those of its group were on average rated far higher or lower."""
    if "mean" not in ratings:
        zero = np.zeros(len(hazard_per_km), int)
        return zero, zero
    place = np.searchsorted(np.array(ratings["edges"])[1:-1], hazard_per_km)
    mean = np.array(ratings["mean"])[place]
    like = (hazard_per_km <= ALIKE * mean) & (mean <= ALIKE * hazard_per_km)
    return (
        np.where(like, np.round(np.array(ratings["n"])[place]), 0).astype(int),
        np.where(like, np.round(np.array(ratings["k"])[place]), 0).astype(int),
    )


def prior_share(state: State, parts: np.ndarray) -> np.ndarray:
    """How much of the answer is the fleet's and type's belief rather than the pump's own readings, 0 to 1.

    Wear: variance of the pump's rate over that of a pump without readings; damages with an onset: the same of
    the own level; sudden failures count by their fleet. Weighed by their parts (causes, n) of the risk.
    """
    p, known = state.fit.parameters, state.known
    share = {name: part for name, part in zip(CAUSES, parts, strict=True) if name != "sudden"}
    prior_rate = (p.wear.rate_cv * p.wear.rate[known.type_code]) ** 2
    wear = np.clip(known.wear.ss / prior_rate, 0, 1)
    believed = {"wear": wear, "drag": np.clip(known.drag.bb / p.drag.level_var, 0, 1)}
    for name in NAMES:
        level_var = getattr(p.onsets, name).level_var
        believed[name] = np.clip(getattr(known.begun, name).bb / level_var, 0, 1)
    total = np.maximum(sum(share.values()), 1e-12)
    return np.asarray(sum(share[name] * believed[name] for name in share) / total)
