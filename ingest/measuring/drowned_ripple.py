"""The speed of a pump whose ripple is drowned: brushes so worn that no line can be followed block by block.

A shaft hardly changes its speed within a record, so its ripple is sought in the whole of it at once: at every
speed, and a few bows of the phase from a straight line, how far do the ripple's harmonics stand out of what
lies beside them? Power over the local floor, x, is exponential with mean 1 without a line and 1 + s with one
(as in `speed_posterior`); s is unknown between LEAST and MOST, and a harmonic may be missing. The bars must
be told; of the differences between bars nothing is asked, so that rivals with the same comb are ruled out by
how a ripple's first harmonics stand to each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft
from scipy.special import logsumexp

from ingest.known_pump import KnownPump
from ingest.measuring.order_tracking import WorkTrace
from ingest.measuring.speed import SAME_SPEED, Speed
from ingest.measuring.speed_lines import find_lines
from ingest.measuring.speed_poles import ripples_a_turn
from ingest.measuring.speed_posterior import (
    FASTEST_RPM,
    FUNDAMENTAL_OVER_SECOND,
    SLOWEST_RPM,
    speed_log_prior,
)
from ingest.measuring.speed_refine import TurnPhase
from ingest.reading import SpeedCandidate

LONGEST_S = 0.6  # beyond, a shaft's phase wanders further than it is looked for
BOWS = np.arange(-1.0, 1.01, 0.25)  # of the ripple's phase in the middle, cycles at MIDDLE_RPM
MIDDLE_RPM = 5100.0
HARMONICS = 6
FINE = 8  # speeds to a bin of the ripple's spectrum
FLOOR_HZ, FEWEST_BINS = 250.0, 40  # within which the floor is the median
LEAST, MOST, MISSING = 1.0, 3000.0, 0.15  # of s; share of harmonics that don't show
ENOUGH = 15.0  # log likelihood that no single harmonic exceeds
SURE = 0.99
BORNE_OUT = 10.0  # log likelihood, without the strongest harmonic: one line alone is any line
# A record is drowned where the current varies by so much (of a sine as strong, peak to peak, of the mean),
# next to all of it even with its surroundings, and no line stands out by more than so much. Brushes at
# fault do so; alternators, fans, second motors and sound pumps did not (some 400 simulated records).
SWING, EVEN, HIGHEST, BETWEEN_HZ = 0.08, 0.6, 60.0, (150.0, 4000.0)
UNLIKE = 0.5  # cycles of the ripple that the whole phase may be off by, straight or bowed as it is taken
ROUGHEST = 0.007  # standard error, of the speed


@dataclass(frozen=True)
class DrownedRipple:
    """The likeliest speed, its bow (as in BOWS), how probable it is, and what bears it out."""

    turn_hz: float
    bow: float
    probability: float
    borne_out: float
    whole: bool  # its first harmonics stand to each other as a ripple's do
    rivals_hz: tuple[tuple[float, float], ...]  # turns a second, probability


def _log_ratios() -> np.ndarray:
    s = np.exp(np.linspace(np.log(LEAST), np.log(MOST), 24))
    log_ratio = logsumexp(-np.log1p(s) + X[:, None] * (s / (1 + s)), axis=1) - np.log(len(s))
    return np.log(MISSING + (1 - MISSING) * np.exp(np.minimum(log_ratio, ENOUGH)))


X = np.linspace(0.0, 60.0, 601)
LOG_RATIO = _log_ratios()


def drowned_speed(work: WorkTrace, known: KnownPump) -> Speed | None:
    """Seek the speed by the ripple of the bars told alone; None where it leads to none.

    Its phase is a straight or bowed line, too rough for a ripple or a wave to be read by it.
    """
    duration_s = len(work.y) / work.rate_hz
    if known.segments is None or duration_s > LONGEST_S:
        return None
    ripples = ripples_a_turn(known.segments, known)
    found = seek(work, ripples, known)
    se_hz = UNLIKE / (ripples * duration_s)
    sure = found.probability >= SURE and found.borne_out >= BORNE_OUT and found.whole
    if not sure or se_hz > ROUGHEST * found.turn_hz:
        return None
    u = np.linspace(0.0, 1.0, 33)
    bowed = found.bow * 60 / (ripples * duration_s * MIDDLE_RPM)
    turns = found.turn_hz * duration_s * (u - bowed * 4 * u * (1 - u))
    wave = _average_turn(work, u * duration_s, turns, ripples)
    phase = TurnPhase(u * duration_s, turns, found.turn_hz, se_hz, 0.0, wave, 1.0)
    candidates = [SpeedCandidate(60 * hz, p) for hz, p in found.rivals_hz]
    return Speed(
        (SpeedCandidate(60 * found.turn_hz, found.probability), *candidates),
        known.segments,
        1.0,
        phase,
        find_lines(work),
        None,
        bars_differ=False,
        ripple_alone=True,
    )


def is_drowned(work: WorkTrace, mean_a: float) -> bool:
    """Whether disorder drowns whatever lines there are; mean_a: of the running current."""
    if 8**0.5 * float(np.std(work.y)) < SWING * abs(mean_a):
        return False
    n = len(work.y)
    size = fft.next_fast_len(4 * n, real=True)
    power = np.abs(fft.rfft(work.y * np.hanning(n), size)) ** 2
    floor = _floor(power, work.rate_hz / size)
    low, high = (int(hz / work.rate_hz * size) for hz in BETWEEN_HZ)
    power, floor = power[low:high], floor[low:high]
    if not len(power) or (power / floor).max() > HIGHEST:
        return False
    # Of exponential power the part below its mean is 1 - 1/e of it.
    return bool(np.minimum(power, floor).sum() > EVEN * (1 - np.exp(-1)) * power.sum())


def seek(work: WorkTrace, ripples: int, known: KnownPump) -> DrownedRipple:
    """Weigh all speeds by the comb of a ripple that comes `ripples` times a turn."""
    n, rate = len(work.y), work.rate_hz
    duration_s = n / rate
    u = np.arange(n) / n
    size = fft.next_fast_len(4 * n, real=True)
    turn_hz = np.arange(SLOWEST_RPM / 60, FASTEST_RPM / 60, 1 / (FINE * duration_s * ripples))
    prior = speed_log_prior(60 * turn_hz, known.band_rpm, known.expected_rpm)
    places = np.multiply.outer(np.arange(1, HARMONICS + 1) * ripples, turn_hz)
    seen = places < work.usable_hz
    bins = np.where(seen, np.round(places / rate * size), 0).astype(int)
    window = np.hanning(n)
    totals, strongest, heights, firsts = [], [], [], []
    for bow in BOWS:
        bent = u + bow * 60 / (ripples * duration_s * MIDDLE_RPM) * 4 * u * (1 - u)
        y = np.interp(bent, u, work.y) if bow else work.y
        power = np.abs(fft.rfft(y * window, size)) ** 2
        x = (power / _floor(power, rate / size))[bins]
        logs = np.where(seen, np.interp(x, X, LOG_RATIO), 0.0)
        totals.append(logs.sum(axis=0))
        strongest.append(logs.max(axis=0))
        heights.append(np.where(seen, np.log1p(x), 0.0).sum(axis=0))
        firsts.append(x[:2])
    weight = np.array(totals) + prior
    likeliest = turn_hz[int(np.argmax(weight.max(axis=0)))]
    about = np.abs(np.log(turn_hz / likeliest)) < SAME_SPEED
    # Where all harmonics stand out far, the place is where they stand highest.
    bow, at = np.unravel_index(int(np.argmax(np.where(about, heights, -np.inf))), weight.shape)
    by_speed = logsumexp(weight, axis=0)
    by_speed -= logsumexp(by_speed)
    groups = _by_speed(turn_hz, by_speed)
    odd = int(known.segments or 0) % 2 == 1
    least = FUNDAMENTAL_OVER_SECOND[0 if odd else 1][1]
    first, second = np.maximum(firsts[bow][:, at] - 1, 0)
    return DrownedRipple(
        float(turn_hz[at]),
        float(BOWS[bow]),
        groups[0][1],
        float(totals[bow][at] - strongest[bow][at]),
        bool(first > least * second),
        tuple(groups[1:4]),
    )


def _by_speed(turn_hz: np.ndarray, log_share: np.ndarray) -> list[tuple[float, float]]:
    """Speeds that differ, likeliest first, each with the probability of what is about it."""
    groups, left = [], np.exp(log_share)
    for _ in range(4):
        best = int(np.argmax(left))
        same = np.abs(np.log(turn_hz / turn_hz[best])) < SAME_SPEED
        groups.append((float(turn_hz[best]), float(left[same].sum())))
        left = np.where(same, 0.0, left)
    return groups


def _floor(power: np.ndarray, bin_hz: float) -> np.ndarray:
    """Mean of the noise beside each bin (b,), by the median of bands that overlap."""
    width = max(int(FLOOR_HZ / bin_hz), FEWEST_BINS)
    starts = np.arange(0, max(len(power) - width, 1), max(width // 4, 1))
    medians = np.array([np.median(power[s : s + width]) for s in starts]) / np.log(2)
    return np.exp(np.interp(np.arange(len(power)), starts + width / 2, np.log(medians + 1e-300)))


def _average_turn(work: WorkTrace, time_s: np.ndarray, turns: np.ndarray, ripples: int) -> np.ndarray:
    bins = 64 * ripples
    place = np.interp(np.arange(len(work.y)) / work.rate_hz, time_s, turns) % 1.0
    index = (place * bins).astype(int) % bins
    return np.bincount(index, work.y, bins) / np.maximum(np.bincount(index, minlength=bins), 1)
