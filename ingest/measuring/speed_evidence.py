"""Second look at the most probable turn: does some other turn explain its lines as well?

The posterior weighs a model of how lines lie; motors depart from it. Six departures name the wrong turn
with every confidence, so each is looked for in the order spectrum of the answer itself:

    half speed   orders of the answer become twice as high: all even, as half-turn symmetry has it.
                 Differences between bars then stand at orders 1, 3, 5 ... of the answer and fall with order.
                 So order 3 as strong as the even ones speaks for half the speed; order 1 may be the load's,
                 and high odd orders a pump's vanes.
    faster       every line is a multiple of one order g: a bad bar on a motor g / 2 times as fast looks so.
                 Order 2, which half-turn symmetry makes the commonest after the ripple, speaks against it.
    ripple       the answer's ripple is faint beside the strongest line, or that line stands alone, as a
                 healthy motor's ripple does: it may be the ripple of another turn.
    comb         told bars: every g-th harmonic of the ripple towers above its neighbours, or an order g and
                 its double, no ripple's, above all others: that of another turn, and what stands between
                 them are differences between bars.
    odd          told bars, few turns: an odd order is strong, as half-turn symmetry rarely has it.
    smeared      strong lines between whole orders: the phase was not followed, or is not the shaft's.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import lcm

import numpy as np

from ingest.measuring.line_spectrum import LineSpectrum
from ingest.measuring.speed_posterior import FASTEST_RPM, FEWEST_TURNS, SLOWEST_RPM

FAR_ABOVE_FLOOR = 20.0  # exponential noise exceeds it 2 times in a billion
ABOVE_FLOOR = 10.0  # in one place looked at, noise does 5 times in 100,000
WORTH_COUNTING = 10**-4.5  # of the strongest line's power
WORTH_COUNTING_UNUSUAL = 10**-2.2  # where an untold, unusually slow speed has a usual rival
ODD_TOLD, ODD_UNTOLD = 0.05, 0.25  # order 3 over even power that half the speed would explain better
# Told: an odd order above 1, over the strongest line, that is not believed of fewer turns; with more, lines
# that stand on whole orders say so themselves.
ODD_AT_ALL, FEW_TURNS = 0.04, 5
ODD_FALLING = 0.3, 0.005  # untold: orders 1 and 3 over even power where half the speed explains both better
FEWEST_BARS = 5  # untold: fewer are hardly built, and two bars' worth of ripple looks like them
MOST_BARS_UNUSUAL = 16  # an unusual speed and an unusual bar count at once are not believed
TWICE_A_TURN = 10**-3.5  # order 2 this strong, over the strongest line, is a turn's own
FAINT_RIPPLE = 0.004  # of the strongest line's power: no fault hides the ripple so far
# Strongest of 2 g, 3 g ... over g: a ripple's harmonics fall faster, a bad bar's lines don't.
SLOW_FALL_BAND, SLOW_FALL = 0.25, 0.1
DOUBLED = 10.0  # order 4 over orders 2, 6, 10 ..., when those of a motor twice as fast stand at 4, 8, 12
TOWERS = 10.0  # power of a ripple's harmonic over the orders beside it
BETWEEN = ((2, 2), (3, 2), (5, 5), (7, 7))  # (parts of an order, lines between that are too many)
FEWEST_TURNS_A_PART = 4.0
SIDEBAND = 0.03  # of the order beside it: what speed wander leaves there


@dataclass(frozen=True)
class Doubt:
    """rival_rpm: a speed that explains the lines as well; None when the lines fit no turn.

    last_visit_decides: the last visit's speed may lift it; not so where the answer's own lines rule it out.
    """

    rival_rpm: float | None
    last_visit_decides: bool = True


def doubt(
    spectrum: LineSpectrum,
    rpm: float,
    count: int,
    segments: int,
    *,
    told: bool,
    band_rpm: tuple[float, float],
    pairs: int = 1,
    each_brush: bool = False,
    fastest_rpm: float = FASTEST_RPM,
) -> Doubt | None:
    """Look for a rival to the turn; `spectrum` is by shaft angle, its orders 1 to count are looked at.

    segments: bars, told or (told False) the most probable; band_rpm: the type's usual band. pairs: of poles,
    each of which the turn looked at stands for: what differs between them stands between whole orders.
    each_brush: commutates by itself, which leaves strong orders that are no ripple's, and no pattern of these
    for another turn. fastest_rpm: that a faster turn may have.
    """
    x, floor = spectrum.at(np.arange(1.0, count + 1))
    power = x * floor
    ripple = lcm(2, segments)
    usual = band_rpm[0] <= rpm <= band_rpm[1]
    if each_brush:
        fits = SLOWEST_RPM <= rpm <= FASTEST_RPM and not _smeared(spectrum, count, pairs)
        return None if fits else Doubt(None)
    if not told and not usual and segments > MOST_BARS_UNUSUAL:
        return Doubt(None)
    if not told and segments < FEWEST_BARS:
        return Doubt(2 * rpm if 2 * rpm <= FASTEST_RPM else None)
    times = comb(power, ripple) if told else 1.0
    if times != 1:
        return Doubt(times * rpm if SLOWEST_RPM <= times * rpm <= FASTEST_RPM else None)
    if told and rpm / 2 >= SLOWEST_RPM and _half_speed_not_tried(spectrum, power, ripple):
        return Doubt(rpm / 2)
    odd_bars = told and segments % 2 == 1
    if rpm / 2 >= SLOWEST_RPM and _half_speed_fits(x, power, ripple, told=told, odd_bars=odd_bars):
        return Doubt(rpm / 2)
    ratio, sure = _rival_ripple(power, ripple)
    if ratio * rpm >= SLOWEST_RPM and (sure or band_rpm[0] <= ratio * rpm <= band_rpm[1]):
        return Doubt(ratio * rpm)
    faster = _faster(
        x, power, ripple, rpm, told=told, odd_bars=odd_bars, band_rpm=band_rpm, fastest_rpm=fastest_rpm
    )
    if faster is not None:
        return faster
    if not SLOWEST_RPM <= rpm <= FASTEST_RPM:
        as_ripple = rpm * (int(np.argmax(power)) + 1) / ripple
        return Doubt(as_ripple if band_rpm[0] <= as_ripple <= band_rpm[1] else None)
    if told and spectrum.cycles < FEW_TURNS and _odd_order_is_strong(x, power, segments):
        return Doubt(None, last_visit_decides=False)
    return Doubt(None) if _smeared(spectrum, count, pairs) else None


def bars_differ(spectrum: LineSpectrum) -> bool:
    """Tell whether order 2 shows that the bars are not all alike.

    Bars that differ show there first. Other even orders show nothing by themselves: a load that pulsates v
    times a turn adds orders n * ripple +- v, and may pulsate in several ways. Nor does an order 2 on which
    slow sampling folds a harmonic of the strongest, which may be another turn's ripple.
    """
    x, _ = spectrum.at(np.array([2.0]))
    return bool(x[0] > ABOVE_FLOOR)


def comb(power: np.ndarray, ripple: int) -> float:
    """Speed, over the answer's, of the turn whose ripple towers above what stands between; 1 if the answer's.

    power: (k,) of orders 1 to k; ripple: the order of the ripple told.
    """
    strongest = int(np.argmax(power)) + 1
    if strongest % ripple == 0 and strongest > ripple:
        harmonics = power[ripple - 1 :: ripple]
        faster = strongest // ripple
        in_sight = [k for k in (faster, 2 * faster) if k <= len(harmonics)]
        return float(faster) if _towers(harmonics, in_sight, reach=1) else 1.0
    if strongest > 2 and strongest % ripple and 2 * strongest <= len(power):
        found = _towers(power, [strongest, 2 * strongest], reach=strongest - 1)
        return strongest / ripple if found else 1.0
    return 1.0


def _faster(
    x: np.ndarray,
    power: np.ndarray,
    ripple: int,
    rpm: float,
    *,
    told: bool,
    odd_bars: bool,
    band_rpm: tuple[float, float],
    fastest_rpm: float,
) -> Doubt | None:
    """Look for a faster turn: all lines multiples of one order and none at order 2; x, power (k,)."""
    usual = band_rpm[0] <= rpm <= band_rpm[1]
    # Brushes that differ show at the order of an odd bar count, where half the speed has its ripple.
    if 2 * rpm <= FASTEST_RPM and _even_orders_are_doubled(x, power, ripple, odd_bars=odd_bars):
        return Doubt(2 * rpm)
    own_order_2 = x[1] > FAR_ABOVE_FLOOR and power[1] > TWICE_A_TURN * power.max()
    if rpm > band_rpm[1] or (own_order_2 and (told or usual)):
        return None
    worth = WORTH_COUNTING if told or usual else WORTH_COUNTING_UNUSUAL
    step = _common_order((x > FAR_ABOVE_FLOOR) & (power > worth * power.max()), power)
    if step <= 2:
        return None
    if not told and not usual:
        return Doubt(None)
    faster = rpm * step / 2
    if faster <= fastest_rpm and 2 * step <= len(power):
        fall = power[2 * step - 1 :: step].max() / power[step - 1]
        faster_usual = band_rpm[0] <= faster <= band_rpm[1]
        slow_fall = SLOW_FALL if faster_usual or not usual else SLOW_FALL_BAND
        if slow_fall < fall < 10 or (faster_usual and not usual):
            return Doubt(faster)
    return None


def _even_orders_are_doubled(x: np.ndarray, power: np.ndarray, ripple: int, *, odd_bars: bool) -> bool:
    """Tell whether bar differences stand at 4, 8, 12 ... and not at 2, 6, 10 ...; x, power (k,).

    Where the ripple itself is the strongest line, it decides, unless the bars told are odd.
    """
    if len(power) < 4:
        return False
    order = np.arange(1, len(power) + 1)
    seen = np.where((x > FAR_ABOVE_FLOOR) & (order % ripple != 0), power, 0.0)
    doubled, others = seen[order % 4 == 0], seen[(order % 4 == 2)]
    if (int(np.argmax(power)) + 1) % ripple == 0 and not odd_bars:
        return False
    return bool(np.count_nonzero(doubled) >= 2 and seen[3] > DOUBLED * max(others.max(), power[1]))


def _half_speed_not_tried(spectrum: LineSpectrum, power: np.ndarray, ripple: int) -> bool:
    """Tell whether the record is too short for half the speed, which has the stronger ripple; power (k,).

    A bad bar's lines begin with order 2: at half the speed with order 1.
    """
    by_a_bar = len(power) > 5 and int(np.argmax(power)) == 1 and power[1] > DOUBLED * power[:5:2].max()
    too_short = spectrum.cycles < 2 * FEWEST_TURNS and not by_a_bar
    return too_short and (ripple > len(power) or power[ripple // 2 - 1] > power[ripple - 1])


def _half_speed_fits(x: np.ndarray, power: np.ndarray, ripple: int, *, told: bool, odd_bars: bool) -> bool:
    """Tell whether odd orders rival the even ones, and half the speed has a ripple to show; x, power (k,)."""
    if ripple > len(power) or len(power) < 5:
        return not told
    own, at_half = power[ripple - 1], power[ripple // 2 - 1]
    if told and at_half <= own:
        return False
    if odd_bars:
        return True  # their own order, which only unlike brushes show, outdoes the ripple
    order = np.arange(1, len(x) + 1)
    seen = np.where(x > FAR_ABOVE_FLOOR / 2, power, 0.0)
    even = np.where((order % 2 == 0) & (order % (ripple // 2) != 0), seen, 0.0)
    # Where the bars are told, order 3 may be the ripple's at half the speed: take the next one.
    odd = seen[4] if told and (ripple // 2) % 3 == 0 else seen[2]
    first, third = ODD_FALLING
    if not told and seen[0] > first * even.max() and odd > third * even.max():
        return True
    return bool(odd > (ODD_TOLD if told else ODD_UNTOLD) * even.max())


def _odd_order_is_strong(x: np.ndarray, power: np.ndarray, segments: int) -> bool:
    """Tell whether an odd order stands out that is neither the load's once a turn nor unlike brushes'; x,
    power (k,)."""
    order = np.arange(1, len(x) + 1)
    odd = (order % 2 == 1) & (order > 1) & ((segments % 2 == 0) | (order % segments != 0))
    return bool(np.any(power[odd & (x > FAR_ABOVE_FLOOR)] > ODD_AT_ALL * power.max()))


def _rival_ripple(power: np.ndarray, ripple: int) -> tuple[float, bool]:
    """Speed, over the answer's, at which the strongest order would be the ripple; 0 if it can't well be.

    True when the strongest order's second harmonic falls off too, as a ripple's does and a bad bar's doesn't.
    """
    if len(power) < 2:
        return 0.0, False
    strongest = int(np.argmax(power[1:])) + 2  # order 1 may be slow drift
    if strongest == ripple or ripple > len(power) or power[ripple - 1] > FAINT_RIPPLE * power[strongest - 1]:
        return 0.0, False
    second = power[2 * strongest - 1] if 2 * strongest <= len(power) else 0.0
    return strongest / ripple, bool(second < SLOW_FALL * power[strongest - 1])


def _towers(power: np.ndarray, steps: list[int], *, reach: int) -> bool:
    """Tell whether the entries `steps`, counted from 1, stand out from up to `reach` on either side."""
    beside = [np.r_[power[max(k - 1 - reach, 0) : k - 1], power[k : k + reach]] for k in steps]
    return all(power[k - 1] > TOWERS * b.max() for k, b in zip(steps, beside, strict=True))


def _common_order(strong: np.ndarray, power: np.ndarray) -> int:
    """Highest order of which the strongest line and all strong lines but one are multiples; 1 if none."""
    orders = np.flatnonzero(strong) + 1
    strongest = int(np.argmax(power)) + 1
    steps = [g for g in range(2, strongest + 1) if strongest % g == 0 and np.sum(orders % g != 0) < 2]
    return max(steps, default=1)


def _smeared(spectrum: LineSpectrum, count: int, pairs: int) -> bool:
    """Tell whether too many lines stand between whole orders, sidebands of strong orders apart."""
    for parts, too_many in BETWEEN:
        if spectrum.cycles / parts < FEWEST_TURNS_A_PART or (pairs > 1 and parts % pairs == 0):
            continue
        place = np.arange(1 if parts == 2 else parts, count * parts)
        place = place[place % parts != 0] / parts
        x, floor = spectrum.at(place)
        power = x * floor
        seen = (x > FAR_ABOVE_FLOOR) & (power > 10 * WORTH_COUNTING)
        if parts > 2:
            beside_x, beside_floor = spectrum.at(np.maximum(np.round(place), 1))
            seen &= power > SIDEBAND * beside_x * beside_floor
        if np.count_nonzero(seen) >= too_many:
            return True
    return False
