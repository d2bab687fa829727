"""The averaged humps of a turn: one segment out of family, alone or seen twice a turn."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Any

import numpy as np
import pandas as pd


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


def lowest_below_pct(profile_pct: Sequence[float] | None) -> tuple[int, float, float] | None:
    """Return which hump lies lowest (from 0), how far below the middle of the others, and their spread, all
    in % of the average; None for fewer than four humps."""
    if profile_pct is None or len(profile_pct) < 4:
        return None
    heights = humps(profile_pct)
    lowest = int(np.argmin(heights))
    others = heights[:lowest] + heights[lowest + 1 :]
    middle = median(others)
    spread = median(abs(height - middle) for height in others)
    return lowest, middle - heights[lowest], spread


def segment_facts(visits: pd.DataFrame, settings: dict[str, Any]) -> dict[str, np.ndarray]:
    """Return `segment_low` (n,), whether one segment lies far below the others, with `segment_low_pct`,
    `segment_number` and `segment_twice` (whether it is seen twice a turn)."""
    low, number, twice = (np.full(len(visits), np.nan) for _ in range(3))
    profiles = visits.get("segment_profile_pct")
    if profiles is not None:
        for i, profile in enumerate(profiles):
            if profile is None or np.ndim(profile) != 1:
                continue
            if found := lowest_below_pct(profile):
                place, below, spread = found
                number[i], twice[i] = place + 1, len(profile) % 2 == 0
                low[i] = below if below > 3 * spread else np.nan
    return {
        "segment_low": low > settings["segment_low_pct"],
        "segment_low_pct": low,
        "segment_number": number,
        "segment_twice": twice,
    }
