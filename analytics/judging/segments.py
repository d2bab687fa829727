"""The averaged humps of a turn: one segment out of family, alone or seen twice a turn."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

import numpy as np
import pandas as pd

from ingest.settings_in_force import Settings


def humps(profile_pct: Sequence[float]) -> list[float]:
    """Return the humps of half a turn, % of the average, where an even number pairs up, else of the whole
    turn.

    With two poles each bar and coil passes a brush twice a turn: humps half a turn apart act together.
    """
    heights = [float(height) for height in profile_pct]
    half = len(heights) // 2
    if len(heights) % 2 == 0:
        return [(a + b) / 2 for a, b in zip(heights[:half], heights[half:], strict=True)]
    return heights


def odd_one(profile_pct: Sequence[float] | None) -> tuple[int, float, float] | None:
    """Return which hump stands out most (from 0), how far it lies from the middle of the others (below: less
    than 0), and how far those scatter, all in % of the average; None for fewer than four humps."""
    if profile_pct is None or len(profile_pct) < 4:
        return None
    heights = np.array(humps(profile_pct))
    apart = [heights[i] - median(np.delete(heights, i)) for i in range(len(heights))]
    place = int(np.argmax(np.abs(apart)))
    others = np.delete(heights, place)
    return place, float(apart[place]), float(median(np.abs(others - median(others))))


def below_others_pct(profile_pct: Sequence[float], number: int | None) -> float | None:
    """Return how far a segment's hump (from 1) lies below the middle of the others, % of the average; None
    where it is not told or there are fewer than four humps to the turn."""
    heights = humps(profile_pct) if len(profile_pct) >= 4 else []
    if number is None or number > len(heights):
        return None
    return float(median(np.delete(heights, number - 1)) - heights[number - 1])


def segment_facts(visits: pd.DataFrame, settings: Settings) -> dict[str, np.ndarray]:
    """Return `segment_odd` (n,), whether one segment stands far from the others, with `segment_apart_pct`,
    `segment_number` and `segment_twice` (whether it is seen twice a turn)."""
    apart, number, twice = (np.full(len(visits), np.nan) for _ in range(3))
    profiles = visits.get("segment_profile_pct")
    if profiles is not None:
        for i in np.flatnonzero(profiles.notna()):
            profile = profiles.iloc[i]
            if np.ndim(profile) == 1 and (found := odd_one(profile)):
                place, far, spread = found
                number[i], twice[i] = place + 1, len(profile) % 2 == 0
                apart[i] = far if abs(far) > 3 * spread else np.nan
    return {
        "segment_odd": np.abs(apart) > settings["segment_odd_pct"],
        "segment_apart_pct": apart,
        "segment_number": number,
        "segment_twice": twice,
    }
