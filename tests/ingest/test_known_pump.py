"""What is known of a pump before it is measured: the speed to expect and the usual band."""

from dataclasses import replace

import pytest

from ingest.known_pump import UNKNOWN_PUMP, KnownPump


def test_the_last_speed_is_scaled_to_todays_volts():
    known = KnownPump(previous_rpm=6000.0, previous_supply_v=13.5, supply_v=12.5)
    # By hand, for a = .27, b = .3: D = 1 - .27 + .27 x .3 = .811; (11.8 / 12.8) ** (1 / .811) = .90456
    assert known.expected_rpm == pytest.approx(6000 * 0.90456, rel=1e-4)


@pytest.mark.parametrize("unknown", ["previous_supply_v", "supply_v"])
def test_volts_unknown_leave_the_last_speed_as_it_is(unknown):
    known = KnownPump(previous_rpm=6000.0, previous_supply_v=13.5, supply_v=12.5)
    assert replace(known, **{unknown: None}).expected_rpm == 6000


def test_without_a_last_speed_none_is_expected():
    assert replace(UNKNOWN_PUMP, supply_v=12.5, previous_supply_v=13.5).expected_rpm is None


def test_half_a_band_told_leaves_the_usual_other_half():
    usual_low, usual_high = UNKNOWN_PUMP.band_rpm
    assert KnownPump(rpm_low=2500.0).band_rpm == (2500, usual_high)
    assert KnownPump(rpm_high=12_000.0).band_rpm == (usual_low, 12_000)
