"""Quantities as the sentences give them."""

from __future__ import annotations


def rate_words(rate_hz: float, digits: int = 6) -> str:
    """Return a sample rate in words: "250 kS/s"."""
    for factor, prefix in ((1e9, "G"), (1e6, "M"), (1e3, "k")):
        if rate_hz >= factor:
            return f"{rate_hz / factor:.{digits}g} {prefix}S/s"
    return f"{rate_hz:.{digits}g} S/s"
