"""Condition indicators that need no supply voltage: what the average turn says about bars and shaft."""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd, lcm

import numpy as np

from ingest.measuring.ripple import AverageTurn

LEAST_FAMILY_PCT = 0.05  # of the mean: segments closer than this are alike whatever the noise


@dataclass(frozen=True)
class Condition:
    """profile_pct: peak of each segment's hump over the average, % of the mean, (segments,).

    weakest and strongest count from 1; z is the distance from the median of the others in robust standard
    deviations. once and twice per turn are peak amplitudes of orders 1 and 2, % of the mean.
    """

    profile_pct: tuple[float, ...]
    weakest: int | None
    weakest_z: float | None
    strongest: int | None
    strongest_z: float | None
    once_per_turn_pct: float
    twice_per_turn_pct: float


def condition(turn: AverageTurn, mean_a: float | None, segments: int | None, poles: int = 2) -> Condition:
    """Read the indicators off an average turn; the profile needs the number of segments.

    Where the mean is unknown (an AC-coupled record) percentages are of the ripple.
    """
    mean_a = mean_a or max(turn.ripple_a, 1e-12)
    spectrum = np.fft.rfft(turn.wave) * 2 / len(turn.wave)
    once, twice = (100 * float(np.abs(spectrum[k])) / mean_a for k in (1, 2))
    if segments is None or 2 * lcm(poles, segments) > len(turn.wave):
        return Condition((), None, None, None, None, once, twice)
    profile = segment_profile(turn.wave, segments, poles) * 100 / mean_a
    floor = max(LEAST_FAMILY_PCT, 100 * turn.wave_se_a / mean_a)
    # Bars that meet brushes together act together: half a turn apart in two-pole motors with even bars.
    distinct = profile.reshape(gcd(poles, segments), -1).mean(axis=0)
    weakest, strongest = int(np.argmin(distinct)), int(np.argmax(distinct))
    return Condition(
        tuple(float(p) for p in profile),
        weakest + 1,
        _out_of_family(distinct, weakest, floor),
        strongest + 1,
        _out_of_family(distinct, strongest, floor),
        once,
        twice,
    )


def segment_profile(wave: np.ndarray, segments: int, poles: int = 2) -> np.ndarray:
    """Peak of each segment's hump in a turn's wave (bins,); shape (segments,), in the wave's unit.

    Humps are cut at the troughs of the commutation order lcm(poles, segments). Where there are more humps
    than segments, as two for each bar of an odd count, those of one bar are averaged.
    """
    humps = lcm(poles, segments)
    bins = len(wave)
    fine = 2 * humps * 16
    spectrum = np.fft.rfft(wave)
    room = fine // 2 + 1
    spectrum = np.pad(spectrum, (0, max(room - len(spectrum), 0)))[:room]
    smooth = np.fft.irfft(spectrum, fine) * fine / bins
    commutation = np.fft.rfft(wave)[humps] if humps < bins // 2 else 1.0
    trough = (np.pi - np.angle(commutation)) / (2 * np.pi * humps)  # first trough, in turns
    rolled = np.roll(smooth, -round(trough * fine))
    peaks = rolled.reshape(humps, -1).max(axis=1)
    if humps == segments:
        return peaks
    together = gcd(poles, segments)
    return np.tile(peaks.reshape(poles, -1).mean(axis=0), together)


def _out_of_family(values: np.ndarray, which: int, floor: float) -> float:
    others = np.delete(values, which)
    if not len(others):
        return 0.0
    middle = np.median(others)
    spread = 1.4826 * float(np.median(np.abs(others - middle)))
    return float((values[which] - middle) / max(spread, floor))
