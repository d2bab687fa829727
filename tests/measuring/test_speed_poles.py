"""Four poles, told: ripples are lcm(poles, bars) a turn, and bars a quarter turn apart act together."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.condition import segment_profile
from ingest.measuring.measurement import measure
from ingest.measuring.speed_poles import four_pole_odds, of_a_pair, ripples_a_turn

RPM = 5700.0


def four_poles(bars: int, weak: float = 0.7, rpm: float = RPM) -> Capture:
    """A hump at every commutation, one bar's weaker, poles unlike once a turn, noise."""
    rate, rng = 100_000.0, np.random.default_rng(bars)
    turn = rpm / 60 * np.arange(25_000) / rate
    humps = int(np.lcm(4, bars))
    heights = np.ones(humps)
    heights[:: humps // 4] = weak
    place = turn * humps
    wave = heights[(place % humps).astype(int)] * (1 - np.cos(2 * np.pi * place)) / 2
    current = 5 + 0.5 * wave + 0.004 * np.cos(2 * np.pi * turn) + 0.01 * rng.standard_normal(turn.size)
    return Capture(current, rate)


@pytest.mark.parametrize(("bars", "of_pair"), [(8, 4), (10, 5), (12, 6), (14, 7)])
def test_a_pair_of_poles_sees_a_motor_of_as_many_ripples(bars, of_pair):
    known = KnownPump(segments=bars, poles=4)
    assert of_a_pair(known).segments == of_pair
    assert 2 * np.lcm(2, of_pair) == ripples_a_turn(bars, known) == np.lcm(4, bars)


@pytest.mark.parametrize("bars", [10, 12, 14])
def test_four_poles_told_give_the_shafts_own_speed(bars):
    reading = measure(four_poles(bars), KnownPump(segments=bars, poles=4))
    assert reading.rpm == pytest.approx(RPM, rel=1e-3)
    assert reading.segments == bars
    assert len(reading.segment_profile_pct) == bars


@pytest.mark.parametrize(("bars", "brushes"), [(9, 4), (11, 4), (13, 4), (9, 2)])
def test_odd_bars_under_brushes_that_commutate_one_by_one_give_the_shafts_speed(bars, brushes):
    """Each brush a little off its place leaves orders of the bars, stronger than the ripple of all."""
    rate, rng = 100_000.0, np.random.default_rng(bars)
    turn = RPM / 60 * np.arange(25_000) / rate
    height = 1 + 0.03 * rng.standard_normal(bars)
    current = 5 + 0.01 * rng.standard_normal(turn.size)
    for brush in range(brushes):
        place = bars * (turn + brush / 4 + 0.003 * rng.standard_normal())
        bump = (1 - np.cos(2 * np.pi * place)) / 2
        current += height[place.astype(int) % bars] * bump * (0.5 + 0.02 * rng.standard_normal())
    reading = measure(Capture(current, rate), KnownPump(segments=bars, poles=4))
    assert reading.rpm == pytest.approx(RPM, rel=1e-3)


def test_with_two_poles_told_half_the_ripples_make_twice_the_speed():
    reading = measure(four_poles(10), KnownPump(segments=10))
    assert reading.rpm is None or reading.rpm == pytest.approx(2 * RPM, rel=0.01)


def test_bars_that_meet_brushes_together_share_a_height():
    angle = np.arange(2048) / 2048
    profile = segment_profile(
        np.cos(2 * np.pi * 20 * angle) * (1 + 0.3 * np.cos(2 * np.pi * 4 * angle)), 10, 4
    )
    assert profile.shape == (10,)
    assert profile[:5] == pytest.approx(profile[5:])


def test_poles_untold_ask_where_four_would_look_the_same():
    capture = four_poles(12, rpm=4400)
    reading = measure(capture)
    assert reading.rpm is None
    [note] = [n for n in reading.notes if n.code == "speed-undecided"]
    assert note.values["variant"] == "poles"
    assert [c.rpm for c in reading.speed_candidates[:2]] == pytest.approx([8800, 4400], rel=1e-3)
    assert measure(capture, KnownPump(poles=2)).rpm == pytest.approx(8800, rel=1e-3)


def test_four_poles_are_thought_of_where_nothing_told_excludes_them():
    assert min(four_pole_odds(8800, found, KnownPump()) for found in (5, 6, 7, 9, 11, 13)) > 0.05
    assert not four_pole_odds(8800, 8, KnownPump())  # of 16 bars
    assert not four_pole_odds(6400, 6, KnownPump())  # half of it is unusual
    assert 0 < four_pole_odds(7000, 6, KnownPump()) < 0.02  # half of it is seldom a pump's
    for told in ({"poles": 2}, {"segments": 6}, {"previous_rpm": 8700}):
        assert not four_pole_odds(8800, 6, KnownPump(**told))
