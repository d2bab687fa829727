"""An answer is left untold where its wave, or its brushes, may as well be those of another usual speed."""

from types import SimpleNamespace

import numpy as np
import pytest

from ingest.known_pump import KnownPump
from ingest.measuring.other_turns import anothers_ripple, contradicted_before, unlike_pairs
from ingest.measuring.speed_poles import commutations
from ingest.measuring.told_bars import BORNE_OUT, OtherBars

FALLING = ((2, 0.31), (4, 0.2), (6, 0.12), (8, 0.08), (10, 0.05))  # a ripple whose harmonics fall slowly


def turn(rpm, *orders):
    place = np.arange(256) / 256
    wave = sum((a * np.cos(2 * np.pi * k * place) for k, a in orders), np.zeros(256))
    return SimpleNamespace(phase=SimpleNamespace(wave=wave, turn_hz=rpm / 60))


@pytest.mark.parametrize(
    ("rpm", "orders", "previous_rpm", "anothers"),
    [
        (14_480.0, FALLING, None, True),  # the eighth order of a turn a quarter as fast
        (14_480.0, FALLING, 14_000.0, False),  # the last visit bears it out
        (14_480.0, ((8, 0.3), (2, 0.2), (16, 0.1)), None, False),  # its own ripple is the strongest
        (6_000.0, FALLING, None, False),  # usual, and a bad bar's
    ],
)
def test_an_unusual_speed_whose_strongest_line_is_a_usual_ones_ripple(rpm, orders, previous_rpm, anothers):
    known = KnownPump(segments=8, previous_rpm=previous_rpm)
    assert anothers_ripple(turn(rpm, *orders), known, 8) == anothers


@pytest.mark.parametrize(
    ("own", "poles", "anothers"),
    [
        (0.2, 2, True),  # the double's, of a motor twice as fast
        (0.5, 2, False),
        (0.2, 4, False),  # four brushes that are not alike
    ],
)
def test_odd_bars_leave_no_ripple_far_behind_its_double(own, poles, anothers):
    known = KnownPump(segments=11, poles=poles)
    assert anothers_ripple(turn(3_500.0, (22, own), (44, 0.5)), known, commutations(known)) == anothers


@pytest.mark.parametrize(
    ("rpm", "told", "open_"),
    [
        (2_745.0, {"segments": 13, "poles": 4}, True),
        (5_490.0, {"segments": 13, "poles": 4}, False),
        (1_500.0, {"segments": 13, "poles": 4}, False),  # twice it is no more usual
        (2_745.0, {"segments": 14, "poles": 4}, False),
        (2_745.0, {"segments": 13, "poles": 2}, False),
        (2_745.0, {"segments": 13, "poles": 4, "previous_rpm": 2_700.0}, False),
    ],
)
def test_half_the_speed_looks_like_four_brushes_that_are_not_alike(rpm, told, open_):
    assert unlike_pairs(turn(rpm), KnownPump(**told)) == open_


@pytest.mark.parametrize(
    ("first_odds", "calmed_odds", "rpm", "contradicted"),
    [
        (130.0, 0.012, 6_000.0, True),  # a calmer trace forgets how bars differ
        (76.0, 0.00001, 6_000.0, True),  # however much
        (3.0, 0.005, 6_000.0, False),  # and what an engine adds
        (130.0, 0.012, 4_500.0, False),  # another speed than the first look's
        (0.05, 0.5, 6_000.0, False),  # the first look bore the number out
    ],
)
def test_other_bars_are_weighed_over_both_looks(first_odds, calmed_odds, rpm, contradicted):
    def look(odds, at_rpm):
        other = OtherBars(10, 4_800.0, odds)
        against = other if odds > BORNE_OUT else None
        return SimpleNamespace(
            phase=SimpleNamespace(turn_hz=at_rpm / 60), candidates=(), other=other, contradicted=against
        )

    assert contradicted_before(look(first_odds, 6_000.0), look(calmed_odds, rpm)) == contradicted
