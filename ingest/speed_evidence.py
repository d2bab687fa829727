"""Second look at the most probable turn: does some other turn explain its lines as well?

The posterior weighs a model of how lines lie; motors depart from it. Four departures name the wrong turn
with every confidence, so each is looked for in the order spectrum of the answer itself:

    half speed   orders of the answer become twice as high: all even, as half-turn symmetry has it. So odd
                 orders as strong as the even ones speak for half the speed.
    faster       every line is a multiple of one order g: a bad bar on a motor g / 2 times as fast looks so.
    ripple       the answer's ripple is faint beside the strongest line, or that line stands alone, as a
                 healthy motor's ripple does: it may be the ripple of another turn.
    smeared      strong lines between whole orders: the phase was not followed, or is not the shaft's.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import lcm

import numpy as np

from ingest.speed_posterior import LineSpectrum

FAR_ABOVE_FLOOR = 20.0  # exponential noise exceeds it 2 times in a billion
WORTH_COUNTING = 10**-4.5  # of the strongest line's power
WORTH_COUNTING_UNUSUAL = 10**-2.2  # where an untold, unusually slow speed has a usual rival
SLOWEST_RPM, FASTEST_RPM = 1500.0, 16_000.0  # a rival must be a speed pumps run at
ODD_TOLD, ODD_UNTOLD = 0.05, 0.25  # odd over even power that half the speed would explain better
ODD_UNTOLD_UNUSUAL = 0.6  # where half the speed is outside the band
BLATANT = 0.1  # odd over the strongest line, when that is no ripple
MOST_BARS_UNUSUAL = 16  # an unusual speed and an unusual bar count at once are not believed
COMB_AT_HALF = 0.1  # power where half the speed has its ripple, over the answer's own ripple
ONCE_COUNTS = 0.1  # the load alone can make order 1
FAINT_RIPPLE = 0.003  # of the strongest line's power: no fault hides the ripple so far
ALONE = 0.03  # other lines' power over the strongest's, when that stands alone
SLOW_FALL_BAND, SLOW_FALL = 0.25, 0.1  # 2 g over g: ripple falls faster, a bad bar's lines don't
BETWEEN = ((2, 2), (3, 2), (5, 5), (7, 7))  # (parts of an order, lines between that are too many)
FEWEST_TURNS_A_PART = 4.0


@dataclass(frozen=True)
class Doubt:
    """rival_rpm: a speed that explains the lines as well; None when the lines fit no turn."""

    rival_rpm: float | None


def doubt(
    spectrum: LineSpectrum,
    rpm: float,
    count: int,
    segments: int,
    *,
    told: bool,
    band_rpm: tuple[float, float],
) -> Doubt | None:
    """Look for a rival to the turn; `spectrum` is by shaft angle, its orders 1 to count are looked at.

    segments: bars, told or (told False) the most probable; band_rpm: the type's usual band.
    """
    x, floor = spectrum.at(np.arange(1.0, count + 1))
    power = x * floor
    usual = band_rpm[0] <= rpm <= band_rpm[1]
    if not told and not usual and segments > MOST_BARS_UNUSUAL:
        return Doubt(None)
    half_usual = band_rpm[0] <= rpm / 2 <= band_rpm[1]
    if rpm / 2 >= SLOWEST_RPM and _half_speed_fits(
        x, power, segments, told=told, usual=usual, half_usual=half_usual
    ):
        return Doubt(rpm / 2)
    ratio, sure = _rival_ripple(power, lcm(2, segments))
    if ratio * rpm >= SLOWEST_RPM and (sure or band_rpm[0] <= ratio * rpm <= band_rpm[1]):
        return Doubt(ratio * rpm)
    worth = WORTH_COUNTING if told or usual else WORTH_COUNTING_UNUSUAL
    step = _common_order((x > FAR_ABOVE_FLOOR) & (power > worth * power.max()), power)
    faster = rpm * step / 2
    if step > 2 and not told and not usual:
        return Doubt(None)
    if step > 2 and faster <= FASTEST_RPM and 2 * step <= count:
        fall = power[2 * step - 1] / power[step - 1]
        faster_usual = band_rpm[0] <= faster <= band_rpm[1]
        slow_fall = SLOW_FALL if faster_usual or not usual else SLOW_FALL_BAND
        if slow_fall < fall < 10 or (faster_usual and not usual):
            return Doubt(faster)
    unlikely = not SLOWEST_RPM <= rpm <= FASTEST_RPM
    return Doubt(None) if unlikely or _smeared(spectrum, count) else None


def _half_speed_fits(
    x: np.ndarray, power: np.ndarray, segments: int, *, told: bool, usual: bool, half_usual: bool
) -> bool:
    """Tell whether odd orders rival the even ones, and half the speed has a ripple to show; x, power (k,)."""
    order = np.arange(1, len(x) + 1)
    ripple = lcm(2, segments)
    if ripple > len(power):
        return not told
    own, at_half = power[ripple - 1], power[ripple // 2 - 1]
    if told and segments % 2 and at_half > own:
        return True
    seen = np.where(x > FAR_ABOVE_FLOOR / 2, power, 0.0)
    odd = np.where((order % 2 == 1) & (order % segments != 0), seen, 0.0)
    even = np.where((order % 2 == 0) & (order % (ripple // 2) != 0), seen, 0.0)
    # Odd orders near the strongest line's height break the symmetry whatever the ripple does.
    blatant = odd.max() > BLATANT * power.max() and (int(np.argmax(power)) + 1) % ripple != 0
    half_likelier = at_half > own if told else half_usual and not usual
    if not half_likelier:
        odd[0] *= ONCE_COUNTS
    if told:
        return bool((blatant or at_half > COMB_AT_HALF * own) and odd.max() > ODD_TOLD * even.max())
    most = ODD_UNTOLD if blatant or half_usual else ODD_UNTOLD_UNUSUAL
    return bool(odd.max() > most * even.max())


def _rival_ripple(power: np.ndarray, ripple: int) -> tuple[float, bool]:
    """Speed, over the answer's, at which the strongest order would be the ripple; 0 if it can't well be.

    True when the strongest order's second harmonic falls off too, as a ripple's does and a bad bar's doesn't.
    """
    strongest = int(np.argmax(power[1:])) + 2  # order 1 may be slow drift
    if strongest == ripple or ripple > len(power):
        return 0.0, False
    top, own = power[strongest - 1], power[ripple - 1]
    others = np.where(np.arange(1, len(power) + 1) % strongest != 0, power, 0.0).max()
    alone = strongest % ripple != 0 and others < ALONE * top
    second = power[2 * strongest - 1] if 2 * strongest <= len(power) else 0.0
    fits = own < FAINT_RIPPLE * top or alone
    return (strongest / ripple if fits else 0.0), bool(second < SLOW_FALL * top)


def _common_order(strong: np.ndarray, power: np.ndarray) -> int:
    """Highest order of which the strongest line and all strong lines but one are multiples; 1 if none."""
    orders = np.flatnonzero(strong) + 1
    strongest = int(np.argmax(power)) + 1
    steps = [g for g in range(2, strongest + 1) if strongest % g == 0 and np.sum(orders % g != 0) < 2]
    return max(steps, default=1)


def _smeared(spectrum: LineSpectrum, count: int) -> bool:
    """Tell whether too many lines stand between whole orders."""
    for parts, too_many in BETWEEN:
        if spectrum.cycles / parts < FEWEST_TURNS_A_PART:
            continue
        place = np.arange(1, count * parts)
        place = place[place % parts != 0]
        x, floor = spectrum.at(place / parts)
        if np.sum((x > FAR_ABOVE_FLOOR) & (x * floor > 10 * WORTH_COUNTING)) >= too_many:
            return True
    return False
