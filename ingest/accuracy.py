"""How far a mean may be off: by the record alone, and by the clamp's own accuracy, for book comparisons."""

from __future__ import annotations

from typing import Any

import numpy as np

from ingest.trade_numbers import DEFAULTS


def mean_accuracy_a(
    mean_a: Any,
    mean_a_se: Any,
    pct: Any = DEFAULTS["clamp_accuracy_pct"],
    offset_a: Any = DEFAULTS["clamp_accuracy_a"],
) -> Any:
    """Half-width in A: sqrt((pct% of mean + offset)^2 + (2 se)^2); of numbers, or of arrays (n,)."""
    return ((pct / 100 * abs(mean_a) + offset_a) ** 2 + (2 * mean_a_se) ** 2) ** 0.5


def rounding_se_a(step_a: float, noise_sd_a: float, wave: np.ndarray) -> float:
    """Error that codes of step_a leave in the mean of a wave (bins,) that comes again every turn.

    Rounding error is even over +-step / 2; noise smears it by exp(-2 (pi sd / step)^2) (Widrow & Kollar 2008,
    from memory), and a turn averages it over the codes its wave crosses, either half turn alike.
    """
    if step_a <= 0:
        return 0.0
    noise_sd_a = max(noise_sd_a**2 - step_a**2 / 12, 0.0) ** 0.5
    crossed = np.abs(np.diff(wave, append=wave[:1])).sum() / step_a / 2
    smear = np.exp(-2 * (np.pi * noise_sd_a / step_a) ** 2)
    return float(step_a / 12**0.5 * smear / max(crossed, 1.0) ** 0.5)


def ends_se_a(wave: np.ndarray, samples: int) -> float:
    """Error in the mean of so many samples because the window ends somewhere between two of them."""
    return float(np.std(wave) / samples)
