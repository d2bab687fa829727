"""The average turn: the synchronous average of the current against shaft angle, and the ripple read from it.

Averaging by shaft angle keeps what repeats every turn; noise falls with the square root of the turns. Sparks,
found as departures from the average and from what other turns show at the same angle, are left out of the
wave that tells bars apart, and out of the ripple while they are few: brushes that spark turn after turn draw
their ripple so. The mean keeps them all: they are current.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.measuring.order_tracking import block_mean
from ingest.measuring.ripple_height import neighbours_sd, ripple_height
from ingest.measuring.sparks import count_events, without_sparks
from ingest.measuring.speed_refine import TurnPhase

AVERAGE_RATE_HZ = 250_000.0  # faster records are averaged down to about this first
FAR = 6.0  # robust standard deviations from the average turn that make a spark
TURNS_TO_COMPARE = 8.0  # and, of so many turns or more, from what they show at that angle
NOISE_BLOCK_S = 40e-6  # a clamp of 5 kHz or more spreads noise over no more
SPARK_GAP_S = 150e-6
FEWEST_BLOCKS = 24
FEW_SPARKS, MANY_SPARKS = 0.1, 0.4  # a turn: from fewer to more, they are part of the ripple
BEFORE_S, AFTER_S = 20e-6, 120e-6  # what a spark spoils around the samples that stand out


@dataclass(frozen=True)
class AverageTurn:
    """wave: (bins,), A about its mean, over one turn, without sparks. ripple: peak to peak of all by angle.

    wave_se_a: standard error of the wave at one angle; residual_sd_a: noise of a single sample about it.
    mean_se_a: standard error that noise, and sparks caught by a few samples, give the mean of all samples.
    """

    wave: np.ndarray
    ripple_a: float
    ripple_se_a: float
    wave_se_a: float
    residual_sd_a: float
    sparks: int
    mean_se_a: float


def average_turn(
    current_a: np.ndarray,
    sample_rate_hz: float,
    phase: TurnPhase,
    from_s: float,
    step_a: float = 0.0,
    ripples: int | None = None,
) -> AverageTurn:
    """Average current_a (n,), whose first sample lies at from_s on the phase's time axis, over whole turns.

    step_a: the recorder's code, 0 if too fine to see. ripples: a turn, if known.
    """
    size = max(round(sample_rate_hz / AVERAGE_RATE_HZ), 1)
    x = block_mean(current_a, size)
    rate = sample_rate_hz / size
    t = from_s + (np.arange(len(x)) * size + (size - 1) / 2) / sample_rate_hz
    turns = phase.at(t)
    clean, _ = without_sparks(x)
    trend = _turn_trend(clean, turns)
    clean, x = clean - trend, x - trend
    per_turn = rate / phase.turn_hz
    bins = int(2 ** np.clip(np.floor(np.log2(min(len(x) / 8, 4 * per_turn))), 5, 11))
    place = (turns - np.floor(turns)) * bins
    index = np.minimum(place.astype(int), bins - 1)

    wave, _ = _denoised(clean, index, bins, per_turn)
    rest = x - wave[index]
    # Within a bin the wave moves: allow its steepness on top of the noise.
    steep = np.abs(np.diff(wave, append=wave[0])) / 2
    noise = 1.4826 * float(np.median(np.abs(rest)))
    spark = np.abs(rest) > FAR * max(noise, 1e-12) + steep[index] + np.roll(steep, 1)[index]
    if spark.any() and turns[-1] - turns[0] >= TURNS_TO_COMPARE:
        spark = _unlike_other_turns(rest, index, spark, noise)
    sparks = count_events(spark, max(int(SPARK_GAP_S * rate), 1))
    spoilt = _grown(spark, rate) if spark.any() else spark
    filled = np.where(spoilt, wave[index], clean)
    wave, wave_se = _denoised(filled, index, bins, per_turn)
    rest = x - wave[index]
    a_turn = sparks / max(float(turns[-1] - turns[0]), 1.0)
    left_out = float(np.clip((MANY_SPARKS - a_turn) / (MANY_SPARKS - FEW_SPARKS), 0, 1))
    ripple, ripple_se = ripple_height(filled, turns, step_a, ripples)
    if sparks:  # how far the height hangs on them is not known any better
        with_all, with_all_se = ripple_height(x, turns, step_a, ripples)
        ripple_se = left_out * ripple_se + (1 - left_out) * with_all_se
        ripple_se = float(np.hypot(ripple_se, with_all - ripple))
        ripple = left_out * ripple + (1 - left_out) * with_all
    return AverageTurn(
        wave, ripple, ripple_se, wave_se, noise, sparks, _mean_noise_sd(rest, rate) / len(x) ** 0.5
    )


def _mean_noise_sd(rest: np.ndarray, rate_hz: float) -> float:
    """Standard deviation of white noise that leaves as much in a long mean as rest (n,) does.

    What neighbouring samples don't share, raised where means of short blocks scatter more than those of
    white noise, as behind a narrow clamp. Second differences leave out change of the current that is slow
    beside them: it is no error of this very window's mean.
    """
    single, block = neighbours_sd(rest), round(NOISE_BLOCK_S * rate_hz)
    means = block_mean(rest, block)
    if block < 3 or len(means) < FEWEST_BLOCKS:
        return single
    bend = means[2:] - 2 * means[1:-1] + means[:-2]
    return max(single, float(1.4826 * np.median(np.abs(bend)) * np.sqrt(block / 6)))


def _unlike_other_turns(rest: np.ndarray, index: np.ndarray, spark: np.ndarray, noise: float) -> np.ndarray:
    """Keep of the marks (n,) the samples that are also far from what other turns show at the same angle.

    index: the bin of the turn each sample lies in. A commutation edge departs from the smooth average in
    every turn alike; a spark does not.
    """
    suspect = np.zeros(int(index.max()) + 1, dtype=bool)
    suspect[index[spark]] = True
    at = np.flatnonzero(suspect[index])
    at = at[np.lexsort((rest[at], index[at]))]
    bins = index[at]
    starts = np.flatnonzero(np.diff(bins, prepend=-1))
    count = np.diff(np.append(starts, len(at)))
    away = np.abs(rest[at] - np.repeat(_middles(rest[at], starts, count), count))
    spread = 1.4826 * _middles(away[np.lexsort((away, bins))], starts, count)
    out = np.zeros(len(rest), dtype=bool)
    out[at] = away > FAR * np.repeat(np.maximum(spread, noise), count)
    return out


def _middles(ordered: np.ndarray, starts: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Medians of groups of ascending values, (groups,)."""
    return (ordered[starts + (count - 1) // 2] + ordered[starts + count // 2]) / 2


def _grown(mask: np.ndarray, rate_hz: float) -> np.ndarray:
    """Widen marks over a spark's rise and its longer tail."""
    out = mask.copy()
    for shift in range(1, max(int(BEFORE_S * rate_hz), 1) + 1):
        out[:-shift] |= mask[shift:]
    for shift in range(1, max(int(AFTER_S * rate_hz), 1) + 1):
        out[shift:] |= mask[:-shift]
    return out


def _turn_trend(x: np.ndarray, turns: np.ndarray) -> np.ndarray:
    """Level of each turn, joined by straight lines: slow change is not ripple."""
    whole = int(turns[-1] - turns[0])
    if whole < 3:
        return np.full(len(x), x.mean())
    marks = np.searchsorted(turns, turns[0] + np.arange(whole + 1))
    marks[-1] = min(marks[-1], len(x))
    total = np.concatenate([[0.0], np.cumsum(x)])
    level = np.diff(total[marks]) / np.maximum(np.diff(marks), 1)
    return np.interp(np.arange(len(x)), (marks[1:] + marks[:-1]) / 2, level)


def _denoised(x: np.ndarray, index: np.ndarray, bins: int, per_turn: float) -> tuple[np.ndarray, float]:
    """Bin means with orders that noise could explain shrunk away; wave (bins,) and its standard error."""
    count = np.bincount(index, minlength=bins)
    mean = np.bincount(index, weights=x, minlength=bins) / np.maximum(count, 1)
    if not count.all():
        known = np.flatnonzero(count)
        mean = np.interp(np.arange(bins), known, mean[known], period=bins)
    rest = x - mean[index]
    noise = float(1.4826 * np.median(np.abs(rest)))
    noise = min(max(noise, 0.0), float(np.std(rest)) + 1e-12)
    spectrum = np.fft.rfft(mean)
    per_order = noise**2 / np.maximum(len(x), 1) * bins**2  # power of noise in one order of the bin means
    power = np.abs(spectrum) ** 2
    orders = np.arange(len(spectrum))
    keep = np.maximum(1 - 3 * per_order / np.maximum(power, 1e-300), 0)
    keep[orders > 0.5 * per_turn] *= orders[orders > 0.5 * per_turn] * 0.0
    keep[0] = 0.0
    wave = np.fft.irfft(spectrum * keep, bins)
    se = noise * np.sqrt(2 * np.sum(keep > 0) / max(len(x), 1))
    return wave, float(se)
