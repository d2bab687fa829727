"""A few shapes of text in which a shop's captures arrive: separators, decimal marks, units, time bases."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

SHAPES = ("comma-seconds", "semicolon-decimal-comma", "tab-milliseconds", "stated-rate")


def as_text(shape: str, current_a: np.ndarray, sample_rate_hz: float) -> str:
    """Return one record as a CSV of the given shape; current_a (n,) in A. ValueError for no such shape."""
    n = len(current_a)
    # A digitiser has few codes: format each once.
    values, code = np.unique(current_a, return_inverse=True)
    if shape == "comma-seconds":
        cells = np.array([f"{v:.4f}" for v in values])[code]
        rows = map(",".join, zip(_times(n, sample_rate_hz, 1.0, 6), cells, strict=True))
        return "Time (s),Current (A)\n" + "\n".join(rows) + "\n"
    if shape == "semicolon-decimal-comma":
        cells = np.array([f"{v:.4f}".replace(".", ",") for v in values])[code]
        times = (t.replace(".", ",") for t in _times(n, sample_rate_hz, 1.0, 6))
        rows = map(";".join, zip(times, cells, strict=True))
        return "Time (s);Current (A)\n" + "\n".join(rows) + "\n"
    if shape == "tab-milliseconds":
        cells = np.array([f"{v * 1000:.1f}" for v in values])[code]
        rows = map("\t".join, zip(_times(n, sample_rate_hz, 1e3, 3), cells, strict=True))
        return "Time (ms)\tCurrent (mA)\n" + "\n".join(rows) + "\n"
    if shape == "stated-rate":
        cells = np.array([f"{v:.4f}" for v in values])[code]
        return f"Sample rate (Hz),{sample_rate_hz:.0f}\nCurrent (A)\n" + "\n".join(cells) + "\n"
    raise ValueError(f"unknown shape {shape!r}; one of {', '.join(SHAPES)}")


@lru_cache(maxsize=32)
def _times(n: int, sample_rate_hz: float, scale: float, places: int) -> tuple[str, ...]:
    return tuple(f"{t:.{places}f}" for t in (np.arange(n) * (scale / sample_rate_hz)).tolist())
