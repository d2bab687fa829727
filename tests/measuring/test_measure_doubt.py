"""A speed is doubted when another turn explains its lines as well."""

import numpy as np
import pytest

from ingest.measuring.line_spectrum import LineSpectrum
from ingest.measuring.order_tracking import prepare
from ingest.measuring.speed_evidence import doubt
from ingest.measuring.switching import may_be_ripple, without_clock
from tests.measuring.measured_captures import steady

BAND = (3400.0, 10_000.0)
TURNS, COUNT = 60, 40


def spectrum(lines, turns=TURNS):
    """Order spectrum with lines {order: power}, floor 1e-7."""
    power, floor = np.full(2 * turns * (COUNT + 2), 1e-7), np.full(2 * turns * (COUNT + 2), 1e-7)
    for order, height in lines.items():
        power[round(2 * turns * order)] = height
    return LineSpectrum(power, floor, np.zeros(len(power), dtype=bool), float(power.max()), turns)


def doubted(lines, rpm, bars=8, told=True, turns=TURNS):
    return doubt(spectrum(lines, turns), rpm, COUNT, bars, told=told, band_rpm=BAND)


def test_a_healthy_motor_is_not_doubted():
    lines = {8: 1.0, 16: 0.05, 24: 0.01, 2: 3e-3, 4: 2e-3, 6: 1e-3, 10: 1e-3, 1: 2e-4}
    assert doubted(lines, 6000) is None
    assert doubted(lines, 6000, told=False) is None


def test_a_bad_bar_is_not_doubted():
    assert doubted({2: 1.0, 4: 0.6, 6: 0.25, 8: 0.4, 10: 2e-3, 12: 4e-3, 16: 0.1}, 6000) is None


@pytest.mark.parametrize(("lines", "fits"), [({2: 1.0, 4: 0.4}, True), ({8: 1.0, 4: 0.4}, False)])
def test_of_few_turns_a_bad_bars_lines_are_no_ripple_of_half_the_speed(lines, fits):
    """Half the speed has a ripple at order 6; at that speed a bad bar's lines would begin with order 1."""
    found = doubted({6: 0.1, 12: 0.05, 24: 0.01, **lines}, 4700, bars=12, turns=3)
    assert found is None if fits else found.rival_rpm == 2350


@pytest.mark.parametrize(("odd", "turns", "fits"), [(7, 3, False), (1, 3, True), (7, 60, True)])
def test_a_strong_odd_order_is_not_believed_of_few_turns(odd, turns, fits):
    # Bars and coils meet a brush twice a turn; once a turn the load may pull.
    found = doubted({8: 1.0, 2: 0.3, 4: 0.2, 6: 0.1, 16: 0.1, odd: 0.1}, 6000, turns=turns)
    assert found is None if fits else (found.rival_rpm is None and not found.last_visit_decides)


@pytest.mark.parametrize("told", [True, False])
def test_a_bad_bar_at_half_the_speed(told):
    # Orders 2, 4, 6, 8 of 3,000 rpm read as 1, 2, 3, 4 of 6,000.
    found = doubted({1: 1.0, 2: 0.6, 3: 0.25, 4: 0.4, 5: 2e-3, 6: 4e-3, 8: 0.1}, 6000, told=told)
    assert found.rival_rpm == pytest.approx(3000)


def test_a_bad_bar_five_times_as_fast():
    found = doubted({10: 1.0, 20: 0.6, 30: 0.3, 40: 0.2}, 1300, bars=10)
    assert found.rival_rpm == pytest.approx(6500)


def test_a_lone_line_with_no_ripple_is_another_turns_ripple():
    # Orders 8 and 24 of 2,400 rpm read as 2 and 6 of 9,600.
    assert doubted({2: 1.0, 4: 1e-3, 6: 1e-3, 8: 2e-4}, 9600) is not None


def test_every_third_harmonic_towers():
    # A worn motor's orders 2, 4, 6 (ripple of 6 bars) ... of 4,800 rpm read as 6, 12, 18 ... of 1,600.
    worn = {2: 0.01, 4: 5e-3, 6: 1.0, 8: 3e-3, 10: 5e-3, 12: 0.8}
    found = doubted({3 * order: height for order, height in worn.items()}, 1600, bars=6)
    assert found.rival_rpm == pytest.approx(4800)
    assert doubted(worn, 4800, bars=6) is None


def test_half_the_ripples_order_towers():
    # Orders 4, 8, 12 (ripple of 12 bars) ... of 4,600 rpm read as 2, 4, 6 ... of 9,200.
    lines = {2: 0.01, 4: 5e-3, 6: 1.0, 8: 2e-3, 10: 2e-3, 12: 0.2, 18: 0.05}
    assert doubted(lines, 9200, bars=12).rival_rpm == pytest.approx(4600)
    own = {2: 4e-3} | {2 * order: height for order, height in lines.items()}
    assert doubted(own, 4600, bars=12) is None


def test_an_order_towers_that_is_no_ripples():
    # The ripple of 8 bars at 4,600 rpm, and lines that slow sampling folded, read as 10, 20, 30 of 3,700.
    lines = {2: 5e-3, 8: 5e-3, 10: 1.0, 12: 0.01, 18: 3e-3, 20: 0.5, 22: 0.01, 30: 0.25, 32: 0.02}
    assert doubted(lines, 3700).rival_rpm == pytest.approx(4625)


def test_lines_between_whole_orders_fit_no_turn():
    lines = {8: 1.0, 2: 0.01, 4: 0.01, 7.5: 0.2, 8.5: 0.1}
    assert doubted(lines, 6000).rival_rpm is None


def test_a_drives_clock_is_taken_out():
    capture = steady(4.0)
    t = np.arange(len(capture.current_a)) / capture.sample_rate_hz
    clock = 0.4 * np.cos(2 * np.pi * 4000 * t) + 0.1 * np.cos(2 * np.pi * 8000 * t)
    pump = 0.1 * np.cos(2 * np.pi * 823.4 * t)
    clean, clock_hz = without_clock(prepare(capture.current_a + clock + pump, capture.sample_rate_hz))
    assert clock_hz == pytest.approx(4000, abs=0.1)
    assert np.std(clean.y) == pytest.approx(np.std(pump), rel=0.15)
    assert may_be_ripple(800.0, 100.0)
    assert not may_be_ripple(4000.0, 102.9)
