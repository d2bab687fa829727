"""What a turn's wave says for another turn, or for none of a commutator of the bars told."""

from __future__ import annotations

import numpy as np

from ingest.known_pump import KnownPump
from ingest.measuring.speed import SAME_SPEED, Speed, at_odds
from ingest.measuring.speed_evidence import FAINT_RIPPLE
from ingest.measuring.speed_poles import commutations, each_brush_by_itself, pairs_of
from ingest.measuring.speed_posterior import FUNDAMENTAL_OVER_SECOND

STILL_OPEN = 0.2  # odds of other bars, on average of two looks at a trace
BEYOND_AN_ENGINE = 10.0  # odds of other bars: what an engine adds to a trace speaks less for wrong ones
ODD_BARS_NEVER = FUNDAMENTAL_OVER_SECOND[0][1]
TOWERING = 3.0  # times the power of the ripple's orders
UNEVEN = 0.5  # of the power of the poles' orders: more is no motor's whose brushes face each other
SHORT = 0.65  # share of the power of the poles' orders within one bar
FALLS = 0.3  # from the stronger of the first two to the strongest of the rest, of smoothed ones


def no_commutators(wave: np.ndarray, known: KnownPump) -> bool:
    """Whether orders of the average turn (bins,) tower that are neither the ripple's nor as a bad bar's are.

    A bad bar meets every brush once a turn, so that its orders are those of the poles; and it is either
    short, one bar long, or so smoothed that they fall from the first or second on.
    """
    if known.segments is None:
        return False
    ripple, poles = commutations(known), 2 * pairs_of(known)
    spectrum = np.fft.rfft(wave)
    order, power = np.arange(len(spectrum)), np.abs(spectrum) ** 2
    if len(power) <= max(ripple, 2 * poles):
        return False
    own = power[ripple::ripple].sum()
    every_pole = (order > 0) & (order % poles == 0) & (order % ripple != 0)
    # Order 1 is the load's, or slow drift; multiples of odd bars are of brushes that are not alike.
    others = (order > 1) & (order % poles != 0) & (order % known.segments != 0)
    a_bars, uneven = power[every_pole], power[others].sum()
    if a_bars.sum() + uneven <= TOWERING * own:
        return False
    if uneven > UNEVEN * a_bars.sum():
        return True
    a_pole = np.fft.irfft(np.where(every_pole, spectrum, 0), len(wave))[: len(wave) // poles] ** 2
    length = max(round(len(wave) / known.segments), 1)
    summed = np.cumsum(np.r_[0.0, a_pole, a_pole[:length]])
    short = (summed[length:] - summed[:-length]).max() > SHORT * a_pole.sum()
    smooth = a_bars[2:].max() < FALLS * a_bars[:2].max()
    return bool(not short and not smooth)


def usual(speed: Speed | None, known: KnownPump) -> bool:
    """Whether a speed is one that the pump or its type usually has."""
    if speed is None:
        return False
    rpm, (low, high) = 60 * speed.phase.turn_hz, known.band_rpm
    return not at_odds(rpm, known.expected_rpm) if known.expected_rpm is not None else low <= rpm <= high


def contradicted_before(first: Speed | None, calmed: Speed) -> bool:
    """Whether a speed is one that another look at the trace had found, and other bars stay likely, over both
    looks or by the first alone.

    A calmer trace shows less of how bars differ, so that the wrong number's turn may settle on it.
    """
    if first is None or first.contradicted is None or calmed.other is None:
        return False
    odds = first.contradicted.odds
    if odds < BEYOND_AN_ENGINE and (odds * calmed.other.odds) ** 0.5 < STILL_OPEN:
        return False
    rpm = 60 * calmed.phase.turn_hz
    found = [60 * first.phase.turn_hz, *(c.rpm for c in first.candidates)]
    return any(abs(rpm / each - 1) < SAME_SPEED for each in found)


def anothers_ripple(speed: Speed, known: KnownPump, ripple: int) -> bool:
    """Whether the strongest order of the turn's wave, noise taken off, would be the ripple of the bars told
    at another usual speed: an unusual one, or one at which next to none of that ripple shows, or of odd bars
    less than ever does."""
    power = np.abs(np.fft.rfft(speed.phase.wave)) ** 2
    if ripple >= len(power):
        return False
    strongest = 2 + int(np.argmax(power[2:]))
    faint = power[ripple::ripple].max() < FAINT_RIPPLE * power[strongest]
    # Odd bars under two brushes never leave a ripple so far behind its double: that is of twice the speed.
    odd = known.segments is not None and ripple == 2 * known.segments
    halved = odd and strongest == 2 * ripple and power[ripple] < ODD_BARS_NEVER * power[strongest]
    if (
        not faint
        and not halved
        and (strongest % ripple == 0 or usual(speed, known) or known.expected_rpm is not None)
    ):
        return False
    rpm = 60 * speed.phase.turn_hz * strongest / ripple
    low, high = known.band_rpm
    return not at_odds(rpm, known.expected_rpm) if known.expected_rpm is not None else low <= rpm <= high


def unlike_pairs(speed: Speed, known: KnownPump) -> bool:
    """Whether twice the speed is usual and this one is not, where brushes that are not alike look the same.

    With odd bars and more poles than two, each brush commutates by itself.
    """
    rpm, (low, high) = 60 * speed.phase.turn_hz, known.band_rpm
    return each_brush_by_itself(known) and known.expected_rpm is None and rpm < low <= 2 * rpm <= high
