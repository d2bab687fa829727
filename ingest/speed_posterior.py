"""How probable is each shaft speed, given which orders carry lines?

A hypothesis says: the followed line is order m of the shaft, and the commutator has N bars. Every order is
then a slot in the order spectrum, of one of four classes that physics tells apart:

    ripple  multiples of lcm(2, N): present on every motor
    even    other even orders: differences between bars and coils, which meet a brush twice a turn
    odd     odd orders: only what tells one half turn from the other, much weaker
    once    order 1: also the load on the shaft

Slot power over local noise, x, is exponential with mean 1 without a line and 1 + s with one. s is log-normal
about its class's level; each class's level is unknown and averaged over. A line outside every slot is
possible (a stray one) at a price. Sums of logs over slots give the likelihood of (m, N).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import lcm

import numpy as np
from scipy import fft
from scipy.special import logsumexp

from ingest.order_tracking import AngleTrace

# Prior odds of bar counts of two-pole motors: 8 likeliest, 5 to 16 usual, more possible [P].
BAR_ODDS = {
    3: 0.002, 4: 0.006, 5: 0.04, 6: 0.09, 7: 0.08, 8: 0.40, 9: 0.05, 10: 0.12, 11: 0.03, 12: 0.09,
    13: 0.015, 14: 0.02, 15: 0.01, 16: 0.03, 18: 0.005, 20: 0.006, 22: 0.003, 24: 0.006, 28: 0.002,
    32: 0.002, 36: 0.004, 40: 0.001,
}  # fmt: skip
STRAY = 3e-3  # share of slots where a line is no shaft order
OUT_OF_BAND = np.log(100.0)  # a speed outside the type's band is this much less likely beforehand
LOWEST_RPM, HIGHEST_RPM = 700.0, 27_000.0
LEVEL_STEP = 0.5 * np.log(10)
LEVELS = np.arange(-14, 2) * LEVEL_STEP  # of a class, log power relative to the strongest line
LOG_S = np.arange(-14, 22) * LEVEL_STEP  # the same over the noise floor
X_STEP = 0.1
LOG_X = np.arange(-9.0, 23.0, X_STEP)
SPREAD = {"ripple": 0.7, "even": 0.9, "odd": 0.7}  # decades


@dataclass(frozen=True)
class Hypothesis:
    """One (order of the followed line, bars) with its log posterior weight, unnormalised."""

    line_order: int
    bars: int
    turn_hz: float
    log_weight: float


@dataclass(frozen=True)
class OrderSpectrum:
    """Orders 1..K of one hypothesis about the turn: x = power / floor and floor / strongest line, (K,)."""

    x: np.ndarray
    floor: np.ndarray
    turns: int


def order_spectrum(
    trace: AngleTrace, line_order: int, orders: int, fewest_turns: int
) -> OrderSpectrum | None:
    """Order spectrum over whole turns of `line_order` line cycles; None with fewer than `fewest_turns`."""
    turns = trace.cycles // line_order
    if turns < fewest_turns:
        return None
    n = turns * line_order * trace.per_cycle
    skip = (len(trace.y) - n) // 2 // trace.per_cycle * trace.per_cycle
    y = trace.y[skip : skip + n]
    short = turns < 4  # a Hann window would leave no bin of noise between orders
    if short:
        ramp = np.linspace(-1, 1, n)
        y = y - y.mean() - ramp * (ramp @ y) / (ramp @ ramp)
    else:
        y = y * np.hanning(n + 1)[:n]
    power = np.abs(fft.rfft(y)) ** 2
    orders = min(orders, len(power) // turns - 1)
    if orders < 2:
        return None
    table = power[: (orders + 1) * turns].reshape(orders + 1, turns)
    slots = table[1:, 0]
    between = table[:, 1:] if short else table[:, 2:-1]
    floor = _running_median(between, max(int(np.ceil(12 / between.shape[1])), 1))
    strongest = slots.max()
    floor = np.maximum(floor, 1e-9 * strongest)
    return OrderSpectrum(slots / floor, floor / strongest, turns)


def _running_median(between: np.ndarray, half_width: int) -> np.ndarray:
    """Noise power at orders 1..K: median of bins between orders nearby, over ln 2 for exponential bins."""
    k = between.shape[0] - 1
    width = min(2 * half_width, k + 1)
    padded = (
        np.pad(between, ((half_width, half_width), (0, 0)), mode="reflect") if k >= half_width else between
    )
    windows = np.lib.stride_tricks.sliding_window_view(padded, width, axis=0)
    middle = np.median(windows.reshape(windows.shape[0], -1), axis=1) / np.log(2)
    return (
        np.resize(middle[1 : k + 1], k) if len(middle) > k else np.pad(middle, (0, k - len(middle)), "edge")
    )


def slot_log_ratio(x: np.ndarray, floor: np.ndarray, table: np.ndarray) -> np.ndarray:
    """Log likelihood ratio line : no line for each slot (K,) and class level (J,); shape (K, J).

    table: one class's ratios from `_ratio_table`.
    """
    row = np.clip(np.round((np.log(np.maximum(x, 1e-4)) - LOG_X[0]) / X_STEP).astype(int), 0, len(LOG_X) - 1)
    start = np.clip(-np.log(floor) / LEVEL_STEP, 0, len(LOG_S) - len(LEVELS) - 1)
    low = start.astype(int)
    part = (start - low)[:, None]
    column = low[:, None] + np.arange(len(LEVELS))
    return (1 - part) * table[row[:, None], column] + part * table[row[:, None], column + 1]


def _ratio_table(spread: float) -> np.ndarray:
    """Log of p(x | line of level s) / p(x | no line) over LOG_X x LOG_S, `spread` decades about the level."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    x = np.exp(LOG_X)
    mean = 1 + np.exp(LOG_S[:, None] + spread * np.log(10) * nodes)
    log_line = -x[:, None, None] / mean - np.log(mean) + np.log(weights / weights.sum())
    return logsumexp(log_line, axis=2) - _log_no_line(x)[:, None]


def _log_no_line(x: np.ndarray) -> np.ndarray:
    stray = np.where(x > 4, STRAY / (np.maximum(x, 4) * 17.0), 1e-300)
    return np.log((1 - STRAY) * np.exp(-np.minimum(x, 600)) + stray)


def speed_log_prior(
    rpm: np.ndarray, rpm_low: float, rpm_high: float, previous_rpm: float | None
) -> np.ndarray:
    """Log prior density over ln rpm, unnormalised: flat in the band, 100 : 1 outside; wide about a last visit."""
    outside = np.maximum(np.log(rpm_low / rpm), np.log(rpm / rpm_high))
    base = -OUT_OF_BAND * np.clip(outside / 0.04, 0, 1)
    base = base - 2.0 * np.clip((outside - 0.7) / 0.3, 0, 2)
    if previous_rpm is None:
        return base
    near = -0.5 * (np.log(rpm / previous_rpm) / 0.12) ** 2 + np.log(0.85 / (0.12 * np.sqrt(2 * np.pi)))
    return np.logaddexp(near, base + np.log(0.15))


def weigh(
    trace: AngleTrace,
    highest_hz: float,
    *,
    segments: int | None,
    previous_rpm: float | None,
    rpm_low: float,
    rpm_high: float,
) -> list[Hypothesis]:
    """Log posterior weight of every (m, N) the followed line allows."""
    line = trace.line_hz
    found = []
    bar_odds = {segments: 1.0} if segments else BAR_ODDS
    total = sum(bar_odds.values())
    first = max(int(np.ceil(line * 60 / HIGHEST_RPM)), 1)
    last = min(int(line * 60 / LOWEST_RPM), 160)
    for m in range(first, last + 1):
        turn_hz = line / m
        spectrum = order_spectrum(trace, m, max(int(highest_hz / turn_hz), 4), 2 if segments else 4)
        if spectrum is None:
            break
        prior = speed_log_prior(np.array([turn_hz * 60]), rpm_low, rpm_high, previous_rpm)[0]
        for bars, score in _bar_scores(spectrum, list(bar_odds)):
            weight = score + prior + np.log(bar_odds[bars] / total)
            found.append(Hypothesis(m, bars, turn_hz, float(weight)))
    return found


def _bar_scores(spectrum: OrderSpectrum, bar_counts: list[int]) -> list[tuple[int, float]]:
    """Log likelihood of each bar count whose ripple lies inside the spectrum."""
    k = np.arange(1, len(spectrum.x) + 1)
    even = slot_log_ratio(spectrum.x, spectrum.floor, RATIOS["even"])
    odd = slot_log_ratio(spectrum.x, spectrum.floor, RATIOS["odd"])
    ripple = slot_log_ratio(spectrum.x, spectrum.floor, RATIOS["ripple"])
    at = np.array([lcm(2, bars) for bars in bar_counts])
    inside = at <= len(k)
    is_ripple = (k[None, :] % at[inside, None] == 0).astype(float)
    once = _log_sum(odd[0]) - np.log(len(LEVELS))
    odd_sum = odd[(k % 2 == 1) & (k > 1)].sum(axis=0)
    even_sum = even[k % 2 == 0].sum(axis=0) - is_ripple @ even
    ripple_sum = is_ripple @ ripple + RIPPLE_LEVEL_PRIOR
    even_top, odd_top = even_sum.max(axis=1), odd_sum.max()
    both = np.exp(even_sum - even_top[:, None]) @ EVEN_AND_ODD @ np.exp(odd_sum - odd_top)
    score = once + _log_sum(ripple_sum) + np.log(both + 1e-300) + even_top + odd_top
    return list(zip(np.array(bar_counts)[inside].tolist(), score.tolist(), strict=True))


def _log_sum(x: np.ndarray) -> np.ndarray:
    top = x.max(axis=-1)
    return top + np.log(np.exp(x - top[..., None]).sum(axis=-1))


def _level_priors() -> tuple[np.ndarray, np.ndarray]:
    """Ripple level prior (J,), and even x odd level prior (J, J, not log)."""
    decade = LEVELS / np.log(10)
    ripple = np.where((decade >= -3) & (decade <= 0), 0.0, -8.0)
    even = np.where(decade <= 0, 0.0, -3.0)
    gap = decade[None, :] - decade[:, None]
    symmetric = 0.97 * np.exp(-0.5 * ((gap + 1.7) / 0.7) ** 2) / (0.7 * np.sqrt(2 * np.pi))
    symmetric += 0.97 * 0.3 * ((gap < -1.7) / 5.0)
    broken = 0.03 * ((gap >= -1.0) & (gap <= 0.5)) / 1.5
    odd = np.log(symmetric + broken + 1e-12)
    odd -= logsumexp(odd, axis=1, keepdims=True)
    return ripple - logsumexp(ripple), np.exp(even[:, None] - logsumexp(even) + odd)


RIPPLE_LEVEL_PRIOR, EVEN_AND_ODD = _level_priors()
RATIOS = {name: _ratio_table(spread) for name, spread in SPREAD.items()}
