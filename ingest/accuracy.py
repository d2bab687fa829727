"""How far a clamp may be off: a wider figure than the record's own standard error, for book comparisons."""

from __future__ import annotations

CLAMP_PCT = 2.0  # of the reading; common practice, no source
CLAMP_A = 0.05  # common practice, no source


def mean_accuracy_a(
    mean_a: float, mean_a_se: float, pct: float = CLAMP_PCT, offset_a: float = CLAMP_A
) -> float:
    """Half-width in A: sqrt((pct% of mean + offset)^2 + (2 se)^2)."""
    return float(((pct / 100 * abs(mean_a) + offset_a) ** 2 + (2 * mean_a_se) ** 2) ** 0.5)
