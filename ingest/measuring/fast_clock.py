"""A fast switched (PWM) drive's clock: a line above all ripple, narrow in time, taken out with its harmonics.

A clock is steady where a shaft is not, and its harmonics, folded down where sampling is too slow for them,
lie at multiples of its own phase. So its phase is followed once, and sinusoids of that phase's multiples are
fitted by least squares and subtracted: what lies beside them stays, even where one folds into the band of
the pump.
"""

from __future__ import annotations

import numpy as np
from scipy import fft

SLOWEST_HZ, HIGHEST_OF_RATE = 4000.0, 0.498  # commutation lies below: 28 ripples at 8,500 rpm
SLOWEST_OF_HARMONICS_HZ = 1500.0  # no clock slower than that is looked for by its harmonics
SAMPLES = 1 << 17  # looked at
STRONG_TOLD, STRONG = 0.003, 0.1  # of the power of the strongest line below
NARROW, REACH = 0.5, 0.02  # share of the power within REACH of the line's frequency that it must hold
STEADY = 3e-4  # how far a clock wanders, of its frequency
ABOVE_FLOOR = 300.0
NEIGHBOURS_HZ, TOWERS = 2500.0, 10.0  # a ripple's next harmonic lies within, and is less than so much weaker
HARMONIC_OF = 0.003
HARMONICS, PART = 24, 1 << 14  # samples fitted at once


def fast_clock_hz(current_a: np.ndarray, rate_hz: float, *, told: bool) -> float | None:
    """Frequency of the strongest narrow line above the ripple's, None without one; current_a (n,).

    told: that the supply is switched; else only a strong line counts.
    """
    n = fft.prev_fast_len(min(len(current_a), SAMPLES), real=True)
    x = current_a[-n:]
    power = np.abs(fft.rfft((x - x.mean()) * np.hanning(n))) ** 2
    first, last = int(SLOWEST_HZ / rate_hz * n) + 1, int(HIGHEST_OF_RATE * n)
    if last - first < 64:
        return None
    i = first + int(np.argmax(power[first:last]))
    for part in (i / 2, i / 3, (n - i) / 2):
        # The line may be a harmonic, folded or not, stronger than the clock itself at some duties. Where its
        # own double lies at the place it would be folded from, it is the clock.
        if not first < part < last or abs(part - 2 * i) <= 3:
            continue
        j = _strongest_at(power, part)
        if power[j] > HARMONIC_OF * power[i] and _stands_alone(power, j, first, n / rate_hz):
            i = j
            break
    strongest = power[3:first].max(initial=0.0)
    if power[i] < (STRONG_TOLD if told else STRONG) * strongest or not _stands_alone(
        power, i, first, n / rate_hz
    ):
        return None
    for part in (i / 2, i / 3):  # a slower clock lies among the ripple's lines
        j = _strongest_at(power, part)
        slow = told and SLOWEST_OF_HARMONICS_HZ / rate_hz * n < part <= first
        if slow and power[j] > power[i] and _narrow(power, j):
            return float(j * rate_hz / n)
    return float(i * rate_hz / n)


def _strongest_at(power: np.ndarray, place: float) -> int:
    start = round(place) - 3
    return start + int(np.argmax(power[start : start + 7]))


def _narrow(power: np.ndarray, i: int) -> bool:
    """Whether a line holds most of the power about it, as a clock does and a shaft's ripple seldom."""
    wide = 3 + int(STEADY * i)
    around = power[max(i - int(REACH * i), 0) : i + int(REACH * i) + 1]
    return float(power[max(i - wide, 0) : i + wide + 1].sum()) > NARROW * float(around.sum())


def _stands_alone(power: np.ndarray, i: int, first: int, seconds: float) -> bool:
    """Whether a line is narrow and towers above its neighbourhood, as no one of a ripple's harmonics does.

    power: (k,), up to half the sampling rate; its own harmonics, folded, are no neighbours.
    """
    last, n = int(2 * HIGHEST_OF_RATE * (len(power) - 1)), 2 * (len(power) - 1)
    wide, reach = 3 + int(STEADY * i), int(NEIGHBOURS_HZ * seconds)
    start = max(i - reach, first)
    near = power[start : min(i + reach + 1, last)].copy()
    at = i - start
    own = float(near[max(at - wide, 0) : at + wide + 1].sum())
    around = float(near[max(at - int(REACH * i), 0) : at + int(REACH * i) + 1].sum())
    floor = float(np.median(near))
    for harmonic in range(1, HARMONICS + 1):
        place = round(abs(harmonic * i - n * round(harmonic * i / n))) - start
        spread = wide * harmonic
        if -spread < place < len(near) + spread:
            near[max(place - spread, 0) : max(place + spread + 1, 0)] = 0.0
    return own > NARROW * around and power[i] > max(TOWERS * near.max(), ABOVE_FLOOR * floor)


def without_fast_clock(current_a: np.ndarray, rate_hz: float, clock_hz: float) -> np.ndarray:
    """The samples (n,) less the clock and its harmonics."""
    phase = _followed(current_a, rate_hz, clock_hz)
    out = current_a.astype(float)
    parts = max(len(out) // PART, 1)
    for part in np.array_split(np.arange(len(out)), parts):
        angle = 2 * np.pi * np.outer(phase[part], np.arange(1, HARMONICS + 1))
        waves = np.concatenate([np.cos(angle), np.sin(angle), np.ones((len(part), 1))], axis=1)
        gram = waves.T @ waves
        gram[np.diag_indices_from(gram)] *= 1 + 1e-6  # two harmonics may fold to one place
        fitted = np.linalg.solve(gram, waves.T @ out[part])
        out[part] -= waves[:, :-1] @ fitted[:-1]
    return out


def _followed(current_a: np.ndarray, rate_hz: float, clock_hz: float) -> np.ndarray:
    """Phase of the clock at every sample, in cycles, from blocks of about 40 periods or 5 ms."""
    n = len(current_a)
    size = int(min(max(0.005 * rate_hz, 40 * rate_hz / clock_hz), n / 3))
    turning = np.exp(-2j * np.pi * clock_hz / rate_hz * np.arange(n))
    window = np.hanning(size)
    hop = max(size // 2, 1)
    starts = np.arange(0, n - size + 1, hop)
    demodulated = (current_a - current_a.mean()) * turning
    z = np.array([demodulated[s : s + size] @ window for s in starts])
    apart = np.unwrap(np.angle(z)) / (2 * np.pi)
    middle = starts + size / 2
    slope = np.polyfit(middle, apart, 1) if len(starts) > 1 else np.array([0.0, apart[0]])
    bend = apart - np.polyval(slope, middle)
    index = np.arange(n)
    return clock_hz / rate_hz * index + np.polyval(slope, index) + np.interp(index, middle, bend)
