"""The rules of thumb of the trade, applied to what is measured: common practice, no source."""

import numpy as np
import pytest

from analytics.judging.verdict import judge_reading
from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from ingest.trade_numbers import DEFAULTS

REVOLUTION_MS = 9.12


@pytest.fixture(scope="module")
def reading():
    """A trace of 8 humps and one turn every 9.12 ms, 5 A on average, one hump a little lower."""
    rate_hz = 50_000.0
    t = np.arange(round(0.3 * rate_hz)) / rate_hz
    turn = 2 * np.pi * t / (REVOLUTION_MS / 1000)
    current = 5 + 0.3 * np.cos(8 * turn) + 0.03 * np.cos(turn) + 0.02 * np.cos(3 * turn + 1)
    noise = 0.005 * np.random.default_rng(2).standard_normal(len(t))
    return measure(Capture(current + noise, rate_hz), KnownPump(segments=8))


def test_speed_is_sixty_thousand_over_the_revolution_in_milliseconds(reading):
    assert reading.revolution_ms == pytest.approx(REVOLUTION_MS, rel=1e-4)
    assert int(reading.rpm) == 6578  # 60,000 / 9.12, the fraction dropped
    assert reading.rpm == pytest.approx(60_000 / reading.revolution_ms, rel=1e-12)


def test_ripple_is_highest_less_lowest_over_average(reading):
    by_hand = 100 * (reading.max_a - reading.min_a) / reading.mean_a
    assert reading.raw_ripple_pct == pytest.approx(by_hand, rel=1e-12)
    assert reading.ripple_pct == pytest.approx(100 * 0.66 / 5, rel=0.08)  # of the wave drawn: about 0.66 A


@pytest.mark.parametrize(("ripple_pct", "rpm", "rule"), [
    (14.9, 6000.0, "no-specification"), (15.1, 6000.0, "ripple-high"),
    (8.0, 3399.0, "speed-low-usual"), (8.0, 3401.0, "no-specification"),
    (8.0, 9999.0, "no-specification"), (8.0, 10_001.0, "speed-high-poor-delivery"),
])  # fmt: skip
def test_ripple_over_15_percent_and_speeds_outside_3400_to_10000_are_kept_in_mind(
    reading, ripple_pct, rpm, rule
):
    assert (DEFAULTS["ripple_limit_pct"], DEFAULTS["rpm_low"], DEFAULTS["rpm_high"]) == (15, 3400, 10_000)
    changed = type(reading)(**{**reading.__dict__, "ripple_pct": ripple_pct, "rpm": rpm})
    assert judge_reading(changed).rule == rule
