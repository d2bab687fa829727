"""Normal quantiles, and how finely a figure is known."""

from __future__ import annotations

import math

# How many standard deviations either side hold a share of all.
Z_80 = 1.2815515655446004
Z_90 = 1.6448536269514722
Z_95 = 1.959963984540054


def three_digits(value: float) -> float:
    """Return a figure to three digits: finer than that no estimate here is known."""
    return float(f"{value:.3g}")


def interval(value: float) -> float:
    """Return an interval as said: as it was given where it is whole in its unit, else (given in another unit,
    or nobody's but the usual one) to three digits."""
    return float(round(value)) if abs(value - round(value)) < 0.01 else three_digits(value)


def as_known(value: float, sd: float) -> float:
    """Return a figure no finer than it is known: rounded to the power of ten that lies between a twentieth
    and a half of its standard deviation, to three digits at most.

    After GUM (JCGM 100:2008) 7.2.6: digits that the uncertainty leaves open are not given.
    """
    kept = three_digits(value)
    if not sd > 0 or not math.isfinite(sd):
        return kept
    return round(kept, -math.floor(math.log10(sd / 2)))
