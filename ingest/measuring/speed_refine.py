"""From a good guess to the best speed: fit the turn's wave and the shaft's phase together.

Gauss-Newton in two alternating linear steps. With phase theta(t) given, the wave w(theta) is the average over
turns. With w given, each block's phase error is sum(r w') / sum(w'^2), r the residual, with variance
s^2 / sum(w'^2), and stands for the block's mean phase and time weighted alike, by w'^2: under an open coil
all that tells the angle may lie in one edge of the turn. Block errors go through `smooth_phase`, whose speed
wander is estimated, not assumed. At constant speed this is the maximum-likelihood estimate of a harmonic sum
in white noise.

Blocks are whole turns, so that what the wave leaves unfitted (it is the same every turn) shifts all alike,
and they are shortest at both ends, since under wander the mean speed hangs on the phase there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline

from ingest.measuring.phase_smoothing import smooth_phase

FIRST_ROUNDS, MOST_ROUNDS = 2, 8
USABLE = 0.42  # of the sampling rate: frequencies up to there are measured
CLEAR = 10.0  # times the noise: the power of a high order worth fitting
FLAT = 1e-6  # of the usual weight: what a sample counts where the wave is flat
CONVERGED = 0.05  # of the smallest standard error of a block's phase
MOST_BLOCKS = 64
HALF_TURNS_BELOW = 12.0  # turns: so few of them are cut into halves
HALVES_DIFFER = 0.05  # share of odd orders in what tells the angle
NOISE_KNOWN = 0.5  # log standard deviation of the noise estimate
SHARP = 0.003  # turns: an edge may be off by so much before what is left there is taken for a spark
LOST = 0.7  # a block whose likeness to the wave is below this share of the usual has slipped
# Likeness that noise may take from a block: so many standard deviations, at most so much, and none where the
# usual block scatters by more than that.
NOISE_SDS, MOST_BY_NOISE, WIDE_SCATTER = 2.0, 0.5, 0.2
PULL_IN = 0.4  # of a ripple: how far off the expected place a slipped block is looked for
# Time constants L/R of windings (common practice, no source): so far the wave lags behind the shaft.
WINDING_S = np.array([1e-4, 3e-4, 1e-3])
COLLAPSED = 0.5  # share of the turns given
BETTER = 0.97  # residual noise after a repair, at most this share of the one before
# Log ratio of the speeds of neighbouring blocks, and times the usual one: more than both may be a slip.
JUMP, FAR_JUMP = 0.015, 4.0
GOING_ON = 2  # blocks whose speed leads on over slipped blocks at either end


@dataclass(frozen=True)
class TurnPhase:
    """Shaft phase in turns at knots (k,), mean speed over the knots' span and its standard error, turns/s.

    followed: likeness to the wave of the stretch least like it, over the usual likeness, what noise may have
    taken from it given back; near 1 when the phase was followed throughout.
    """

    time_s: np.ndarray
    turns: np.ndarray
    turn_hz: float
    turn_hz_se: float
    steadiness_pct: float
    wave: np.ndarray
    followed: float

    def at(self, time_s: np.ndarray) -> np.ndarray:
        """Phase in turns at rising times (n,), cubic between knots; it never turns back."""
        return np.maximum.accumulate(_curve(self.time_s, self.turns, time_s))


@dataclass(frozen=True)
class _Fit:
    phase: np.ndarray  # (n,), turns
    knots_s: np.ndarray
    slope_se: float
    wave: np.ndarray
    noise: float
    left_over: float  # root mean square that the wave leaves over, sparks clipped
    starts: np.ndarray  # first samples of the blocks, (b,)
    likeness: np.ndarray  # of each block to the wave, 1 when it is the wave, (b,)


def refine(
    y: np.ndarray,
    rate_hz: float,
    time_s: np.ndarray,
    turns: np.ndarray,
    highest_order: int,
    oversampled: float = 1.0,
    *,
    banded: bool = False,
) -> TurnPhase:
    """Improve the phase given by knots (turns at time_s) from the work trace y (n,).

    highest_order: of the wave returned, and fitted first. Then all clear ones are that the sampling holds,
    since sharp edges tell the angle best. oversampled: samples of y per independent sample of the record (1
    when y was not interpolated). banded: y holds nothing above highest_order.
    """
    t = np.arange(len(y)) / rate_hz
    orders = (highest_order, highest_order)
    if banded:
        first = fit = _fitted(y, t, _curve(time_s, turns, t), orders, oversampled, MOST_ROUNDS)
    else:
        first = _fitted(y, t, _curve(time_s, turns, t), orders, oversampled, FIRST_ROUNDS)
        held = int(USABLE / oversampled * len(y) / (turns[-1] - turns[0]))
        orders = (highest_order, max(min(held, len(y) // 8), highest_order))
        fit = _fitted(y, t, first.phase, orders, oversampled, MOST_ROUNDS)
    if turns[-1] - turns[0] > HALF_TURNS_BELOW and not _held_on(first):
        back = _brought_back(y, t, replace(first, phase=_led_on(t, first, _alike(first))))
        again = _fitted(y, t, back, orders, oversampled, MOST_ROUNDS)
        mended = again.noise <= fit.noise and _held_on(again) and not _held_on(fit)
        if mended or again.noise < BETTER * fit.noise:
            fit = again
    even = _even_blocks(t, fit)
    if not even.all():
        again = _fitted(y, t, _led_on(t, fit, even), orders, oversampled, MOST_ROUNDS)
        if again.left_over < fit.left_over:
            fit = again
    knots = fit.knots_s
    at_knots = np.interp(knots, t, fit.phase)
    speed = np.diff(at_knots) / np.diff(knots)
    mean = float((at_knots[-1] - at_knots[0]) / (knots[-1] - knots[0]))
    lagging = _lag_s(fit.wave, mean) * (speed[-1] - speed[0]) / (knots[-1] - knots[0])
    se = float(np.hypot(fit.slope_se, lagging))
    followed = _followed(fit, np.diff(np.append(fit.starts, len(t))))
    wave = np.fft.irfft(np.fft.rfft(fit.wave)[: highest_order + 1], len(fit.wave))
    return TurnPhase(knots, at_knots, mean, se, float(100 * np.std(speed) / mean), wave, followed)


def _followed(fit: _Fit, lengths: np.ndarray) -> float:
    """Likeness of the block least like the wave, over the usual, noise allowed for; lengths: of blocks."""
    usual = max(float(np.median(fit.likeness)), 1e-9)
    weight = np.sqrt(lengths / np.median(lengths))
    scatter = 1.4826 * float(np.median(np.abs(fit.likeness - usual) * weight)) / usual
    # Where even long blocks scatter widely the phase was lost throughout, and nothing is noise's doing.
    by_noise = np.minimum(NOISE_SDS * scatter / weight, MOST_BY_NOISE) if scatter < WIDE_SCATTER else 0.0
    return float(np.min(fit.likeness / usual + by_noise))


def _fitted(
    y: np.ndarray, t: np.ndarray, phase: np.ndarray, orders: tuple[int, int], oversampled: float, rounds: int
) -> _Fit:
    """Alternate wave and phase. orders: up to the first all are fitted, up to the second the clear ones."""
    n = len(y)
    line = phase[0] + (phase[-1] - phase[0]) * t / t[-1]
    for _ in range(rounds):
        wave, fitted, slope, noise = _wave(y, phase, *orders)
        halves = _halves_alike(wave)
        ordinary = 4 * noise + SHARP * np.abs(slope)
        residual = np.clip(y - fitted, -ordinary, ordinary)
        starts = _block_starts(phase, halves=halves)
        count = np.diff(np.append(starts, n))
        # A block in which the wave is flat tells nothing, but keeps a time and a place of its own.
        weight = slope * slope + FLAT * max(np.mean(slope * slope), 1e-30)
        gain = np.add.reduceat(weight, starts)
        lag = np.add.reduceat(residual * slope, starts) / gain
        middle = np.add.reduceat(weight * t, starts) / gain
        # Smooth the whole departure from a straight line, not the last correction: the wander's size, and
        # with it the honest error, shows only in the whole.
        departure = np.add.reduceat(weight * (phase - line), starts) / gain + lag
        variance = oversampled * max(residual @ residual, 1e-12 * (y @ y)) / n / gain
        wanted = np.concatenate([[0.0], middle, [t[-1]]])
        smooth = smooth_phase(
            middle, departure, variance, wanted, widths=count / n * t[-1], noise_known_within=NOISE_KNOWN
        )
        before, phase = phase, line + _curve(wanted, smooth.phase, t)
        if phase[-1] - phase[0] < COLLAPSED * (line[-1] - line[0]) or np.any(np.diff(phase) <= 0):
            phase = before  # a shaft does not turn back: the wave is not this trace's
            break
        # Where the turn begins is free, and wave and phase may drift along it together.
        change = phase - before
        if np.max(np.abs(change - change.mean())) < CONVERGED * np.sqrt(np.min(variance)):
            break
    power = np.maximum(np.add.reduceat(fitted * fitted, starts), 1e-30)
    likeness = np.add.reduceat(y * fitted, starts) / power
    left_over = float(np.sqrt(np.mean(residual**2)))
    return _Fit(phase, wanted, smooth.slope_se, wave, noise, left_over, starts, likeness)


def _lag_s(wave: np.ndarray, turn_hz: float) -> float:
    """How much further the wave lags, in turns, for each turn a second the shaft runs faster.

    A first-order winding delays order k by atan(k w T) / k, w the shaft's speed and T = L/R; its rate of
    change is T / (1 + (k w T)^2), and orders count as they tell the angle. T is unknown: root mean square.
    """
    order = np.arange(1, len(wave) // 2 + 1)
    tells = order**2 * np.abs(np.fft.rfft(wave)[1:]) ** 2
    lag = WINDING_S[:, None] / (1 + (2 * np.pi * turn_hz * order * WINDING_S[:, None]) ** 2)
    of_winding = lag @ tells / max(float(tells.sum()), 1e-30)
    return float(np.sqrt(np.mean(of_winding**2)))


def _curve(knots: np.ndarray, values: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Cubic through knots (k,), straight where they are few."""
    if len(knots) < 6:
        return np.interp(at, knots, values)
    fine = np.linspace(knots[0], knots[-1], 16 * len(knots))
    return np.interp(at, fine, CubicSpline(knots, values)(fine))


def _halves_alike(wave: np.ndarray) -> bool:
    """Tell whether half a turn is much like the other, as half-turn symmetry has it, in what tells the angle.

    Where a load pulls once a turn, the shaft's speed and the wave differ between them.
    """
    order = np.arange(1, len(wave) // 2 + 1)
    tells = order**2 * np.abs(np.fft.rfft(wave)[1:]) ** 2
    return bool(tells[::2].sum() < HALVES_DIFFER * tells.sum())


def _block_starts(phase: np.ndarray, *, halves: bool = True) -> np.ndarray:
    """First samples of blocks of whole turns, growing to the middle; of half turns where turns are few and
    `halves` are alike."""
    total = float(phase[-1] - phase[0])
    if total < 2:
        marks = np.searchsorted(phase, phase[0] + total * np.arange(3) / 3)
        marks = np.unique(np.clip(marks, 0, len(phase) - 2))
        return marks if len(marks) == 3 else np.arange(3) * len(phase) // 3
    per_turn = 2 if halves and total < HALF_TURNS_BELOW else 1
    steps = int(total * per_turn / 2)  # on either side
    few = min(steps, MOST_BLOCKS // 2)
    u = np.arange(1, few + 1) / few
    first = few / steps  # the block at the end is one step long
    edges = np.unique(np.round(steps * (first * u + (1 - first) * u**2))) / per_turn
    marks = np.concatenate([phase[0] + edges, phase[-1] - edges[::-1]])
    if marks[len(edges) - 1] > marks[len(edges)] - 0.75 / per_turn:
        marks = np.delete(marks, len(edges))  # the odd rest goes with a block in the middle
    starts = np.concatenate([[0], np.searchsorted(phase, marks)])
    return np.unique(np.clip(starts, 0, len(phase) - 2))


def _wave(
    y: np.ndarray, phase: np.ndarray, low_order: int, high_order: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """Average over turns of orders that stand out: wave, its value and slope at samples, noise sd."""
    bins = int(2 ** np.ceil(np.log2(max(4 * high_order, 64))))
    place = (phase - np.floor(phase)) * bins
    index = np.minimum(place.astype(int), bins - 1)
    count = np.bincount(index, minlength=bins)
    mean = np.bincount(index, weights=y, minlength=bins) / np.maximum(count, 1)
    if (count == 0).any():
        known = np.flatnonzero(count)
        mean = np.interp(np.arange(bins), known, mean[known], period=bins)
    spectrum = np.fft.rfft(mean)
    orders = np.arange(len(spectrum))
    keep = (orders <= high_order) & (orders > 0)
    rough = np.fft.irfft(np.where(keep, spectrum, 0), bins)
    noise_power = np.var(y - rough[index]) * bins / len(y) * bins
    power = np.abs(spectrum) ** 2
    keep &= (orders <= low_order) | (power > CLEAR * noise_power)
    shrink = np.where(keep, np.maximum(1 - 2 * noise_power / np.maximum(power, 1e-30), 0), 0)
    # Bin means blur the wave by the bin's width: undo it.
    unblur = 1 / np.sinc(orders / bins)
    half = np.exp(-1j * np.pi * orders / bins)
    spectrum = spectrum * shrink * unblur * half
    fine = 4 * bins
    wave = np.fft.irfft(spectrum, fine) * 4
    slope = np.fft.irfft(spectrum * 2j * np.pi * orders, fine) * 4
    spot = place * 4
    low = spot.astype(int) % fine
    part = spot - np.floor(spot)
    high = (low + 1) % fine
    fit = wave[low] * (1 - part) + wave[high] * part
    steep = slope[low] * (1 - part) + slope[high] * part
    return wave, fit, steep, max(float(1.4826 * np.median(np.abs(y - fit))), 1e-9)


def _alike(fit: _Fit) -> np.ndarray:
    """Tell of each block whether it is about as like the wave as usual, (b,)."""
    return fit.likeness >= LOST * np.median(fit.likeness)


def _held_on(fit: _Fit) -> bool:
    return bool(_alike(fit).all())


def _even_blocks(t: np.ndarray, fit: _Fit) -> np.ndarray:
    """Tell which blocks, (b,), lie in the longest stretch through which the speed makes no jump."""
    edges = np.append(fit.starts, len(t) - 1)
    speed = np.diff(fit.phase[edges]) / np.diff(t[edges])
    jumps = np.abs(np.diff(np.log(speed)))
    stretch = np.append(0, np.cumsum(jumps > max(JUMP, FAR_JUMP * np.median(jumps))))
    length = np.bincount(stretch, weights=np.diff(edges))
    return stretch == int(np.argmax(length))


def _led_on(t: np.ndarray, fit: _Fit, good: np.ndarray) -> np.ndarray:
    """Phase (n,), blocks at either end that are not `good` (b,) replaced by what the speed of their
    neighbours leads to."""
    phase, good = fit.phase.copy(), np.flatnonzero(good)
    edges = np.append(fit.starts, len(t) - 1)
    first, last = good[0], good[-1] + 1
    for near, far, slipped in (
        (edges[first], edges[min(first + GOING_ON, len(edges) - 1)], slice(0, edges[first])),
        (edges[last], edges[max(last - GOING_ON, 0)], slice(edges[last], None)),
    ):
        speed = (phase[far] - phase[near]) / (t[far] - t[near])
        phase[slipped] = phase[near] + speed * (t[slipped] - t[near])
    return phase


def _brought_back(y: np.ndarray, t: np.ndarray, fit: _Fit) -> np.ndarray:
    """Follow the wave block by block from the likeliest one outward; the phase (n,) that results.

    A block's likeness to the wave at every shift is their circular correlation, by angle.
    """
    bins, starts = 512, fit.starts
    block = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(y))))
    index = ((fit.phase - np.floor(fit.phase)) * bins).astype(int) % bins + bins * block
    count = np.bincount(index, minlength=bins * len(starts))
    mean = np.bincount(index, weights=y, minlength=bins * len(starts)) / np.maximum(count, 1)
    of_wave = np.fft.rfft(fit.wave)[: bins // 2 + 1]
    of_blocks = np.fft.rfft(mean.reshape(len(starts), bins))
    like = np.fft.irfft(of_blocks[:, : len(of_wave)].conj() * of_wave, bins)  # at shifts of whole bins
    orders = np.arange(len(of_wave))
    ripple = 1 / max(int(np.argmax(orders**2 * np.abs(of_wave) ** 2)), 1)
    reach = max(int(PULL_IN * ripple * bins), 1)
    shift = np.zeros(len(starts))
    middle = np.add.reduceat(t, starts) / np.diff(np.append(starts, len(y)))
    first = int(np.argmax(fit.likeness))
    for way in (1, -1):
        done = [first]
        for b in range(first + way, len(starts) if way > 0 else -1, way):
            expected = shift[done[-1]]
            if len(done) > 2:
                near, far = done[-1], done[-3]
                rate = (shift[near] - shift[far]) / (middle[near] - middle[far])
                expected += rate * (middle[b] - middle[near])
            around = np.round(expected * bins).astype(int) + np.arange(-reach, reach + 1)
            shift[b] = around[np.argmax(like[b, around % bins])] / bins
            done.append(b)
    return fit.phase + _curve(middle, shift, t)
