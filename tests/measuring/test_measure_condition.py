"""Condition indicators, read off turns made by hand."""

import numpy as np
import pytest

from ingest.measuring.condition import condition, segment_profile
from ingest.measuring.ripple import AverageTurn

ANGLE = np.arange(1024) / 1024 * 2 * np.pi


def average(wave):
    return AverageTurn(wave, float(np.ptp(wave)), 0.0, 0.001, 0.01, 0, 0.001)


def test_once_and_twice_per_turn_are_amplitudes():
    wave = 0.2 * np.cos(ANGLE) + 0.1 * np.cos(2 * ANGLE + 1) + 0.3 * np.cos(8 * ANGLE)
    about = condition(average(wave), 4.0, None)
    assert about.once_per_turn_pct == pytest.approx(5.0)
    assert about.twice_per_turn_pct == pytest.approx(2.5)
    assert about.profile_pct == ()


def test_two_dips_half_a_turn_apart_are_one_bar():
    wave = 0.3 * np.cos(8 * ANGLE)
    wave -= sum(
        0.8 * np.exp(-(((ANGLE - at + np.pi) % (2 * np.pi) - np.pi) ** 2) / 0.05)
        for at in (np.pi / 4, 5 * np.pi / 4)
    )
    about = condition(average(wave - wave.mean()), 4.0, 8)
    assert len(about.profile_pct) == 8
    assert 1 <= about.weakest <= 4  # counted once, in the first half turn
    assert about.weakest_z < -5
    first, second = np.array(about.profile_pct[:4]), np.array(about.profile_pct[4:])
    assert first == pytest.approx(second, abs=0.5)


def test_odd_bars_have_one_height_each():
    assert len(segment_profile(np.cos(14 * ANGLE), 7)) == 7


def test_segments_compare_without_a_mean():
    turn = np.arange(1024) / 1024
    wave = 0.2 * np.cos(2 * np.pi * 8 * turn)
    wave = wave - 0.1 * (np.abs((turn % 0.5) - 0.25) < 0.05)  # one bad bar: two dips, half a turn apart
    with_mean, without = condition(average(wave), 4.0, 8), condition(average(wave), None, 8)
    assert without.weakest == with_mean.weakest
    assert without.weakest_z < -3
