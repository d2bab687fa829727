"""Quantities as the sentences give them."""

from __future__ import annotations


def rate_words(rate_hz: float, digits: int = 6) -> str:
    """Return a sample rate in words: "250 kS/s"."""
    for factor, prefix in ((1e9, "G"), (1e6, "M"), (1e3, "k")):
        if rate_hz >= factor:
            return f"{rate_hz / factor:.{digits}g} {prefix}S/s"
    return f"{rate_hz:.{digits}g} S/s"


def count(number: int, one: str, many: str | None = None) -> str:
    """Return "1 pump" or "12 pumps"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def minus(figure: str) -> str:
    """Return a printed figure with the sign of minus for the hyphen before it: "−12"."""
    return figure.replace("-", "−")


def signed(value: float, digits: int) -> str:
    """Return a figure that says its sign: "+0.125", "−0.020"."""
    return minus(f"{value:+.{digits}f}")
