"""Stretches in which the current drops at once and comes back at once: a contact that opens.

A pump's own current can't do so: brushes lift for a fraction of a millisecond, a bad bar passes in one or
two, load and pressure change more slowly than that, and a drive interrupts as evenly as a clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BLOCK_S = 1e-3
LOW, HIGH = 0.75, 0.9  # of the median: below the one for a drop, above the other just before and after it
SHORTEST_BLOCKS, EDGE_BLOCKS = 5, 2
FEWEST, MOST_SHARE = 2, 0.5  # drops; of the record
EVENLY = 0.2  # spread of the times between drops, over their mean: less is a clock's


@dataclass(frozen=True)
class DropOuts:
    """How many there are, how long they last on average in ms, and what is left of the current meanwhile."""

    count: int
    mean_ms: float
    left_share: float


def drop_outs(current_a: np.ndarray, rate_hz: float) -> DropOuts | None:
    """Find them in the running part, current_a (n,); None where there are fewer than two."""
    size = round(BLOCK_S * rate_hz)
    if size < 1 or len(current_a) < 2 * SHORTEST_BLOCKS * size:
        return None
    level = current_a[: len(current_a) // size * size].reshape(-1, size).mean(axis=1)
    middle = float(np.median(level))
    low = level < LOW * middle
    edges = np.diff(low.astype(int), prepend=0, append=0)
    first, last = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    high = level > HIGH * middle
    sharp = np.array(
        [
            high[max(a - EDGE_BLOCKS, 0) : a].any() and high[b : b + EDGE_BLOCKS].any()
            for a, b in zip(first, last, strict=True)
        ],
        dtype=bool,
    )
    kept = sharp & (last - first >= SHORTEST_BLOCKS)
    first, last = first[kept], last[kept]
    if len(first) < FEWEST or float(np.sum(last - first)) > MOST_SHARE * len(level):
        return None
    apart = np.diff(first)
    if len(apart) > 1 and float(np.std(apart)) < EVENLY * float(np.mean(apart)):
        return None
    inside = np.concatenate([level[a + 1 : b - 1] for a, b in zip(first, last, strict=True)])
    lasting_ms = 1000 * size / rate_hz * float(np.mean(last - first))
    return DropOuts(len(first), lasting_ms, float(inside.mean()) / middle)
