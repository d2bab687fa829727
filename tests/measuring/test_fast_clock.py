"""A fast drive's clock is told from ripple, taken out with its folded harmonics, and nothing else with it."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.drive import find_drive
from ingest.measuring.fast_clock import fast_clock_hz, without_fast_clock
from ingest.measuring.feed import Clocks, slow_clock_hz
from ingest.measuring.foreign_lines import NO_LINES
from ingest.measuring.measurement import measure
from ingest.measuring.order_tracking import prepare
from ingest.measuring.speed import find_speed
from ingest.reading import SpeedCandidate
from tests.measuring.measured_captures import recorded, trace

TURN_HZ, BARS = 97.3, 8


def pump(rate_hz, seconds=0.15, seed=3):
    """Current (n,) of a pump whose commutation edges are sharp, bars unlike."""
    rng = np.random.default_rng(seed)
    turn = TURN_HZ * np.arange(int(rate_hz * seconds)) / rate_hz
    place = (BARS * turn) % 1
    wave = 0.5 * np.exp(-5 * place) * (1 - np.exp(-place / 0.01)) * (1 + 0.1 * np.cos(4 * np.pi * turn))
    return 5 + wave + 0.005 * rng.standard_normal(turn.size)


def chopped(rate_hz, clock_hz, height_a=0.5, wander=3e-4, seconds=0.15):
    """The same through a drive: a triangle at the clock, which wanders."""
    t = np.arange(int(rate_hz * seconds)) / rate_hz
    cycles = clock_hz * (t + wander / (2 * np.pi * 8) * np.sin(2 * np.pi * 8 * t))
    triangle = sum(np.cos(2 * np.pi * k * cycles) / k**2 for k in (1, 2, 3, 4, 5, 6, 7))
    return pump(rate_hz, seconds) + height_a / 2 * triangle


@pytest.mark.parametrize("told", [True, False])
def test_a_pumps_own_harmonics_are_no_clock(told):
    assert fast_clock_hz(pump(100_000.0), 100_000.0, told=told) is None


@pytest.mark.parametrize(
    ("rate_hz", "clock_hz"),
    [(100_000.0, 20_300.0), (50_000.0, 9_870.0), (31_000.0, 11_776.0)],
)
def test_a_clock_is_found_and_taken_out(rate_hz, clock_hz):
    current = chopped(rate_hz, clock_hz)
    found = fast_clock_hz(current, rate_hz, told=True)
    assert found == pytest.approx(clock_hz, rel=2e-3)
    left = without_fast_clock(current, rate_hz, found) - pump(rate_hz)
    assert np.std(left) < 0.12 * np.std(current - pump(rate_hz))


@pytest.mark.parametrize("clock_hz", [10_000.0, 3_000.0])
def test_a_clock_is_not_taken_for_its_double(clock_hz):
    """At a fifth of the sampling rate the double lies where it would be folded from; a slow clock itself
    lies among the ripple's lines."""
    current = chopped(50_000.0, clock_hz, height_a=1.0)
    assert fast_clock_hz(current, 50_000.0, told=True) == pytest.approx(clock_hz, rel=2e-3)


def test_a_clock_just_below_half_the_sampling_rate_is_one():
    assert fast_clock_hz(chopped(40_400.0, 20_010.0), 40_400.0, told=True) == pytest.approx(
        20_010.0, rel=1e-3
    )


@pytest.mark.parametrize("clock_hz", [9_870.0, 19_450.0])
def test_the_speed_is_told_behind_a_fast_drive(clock_hz):
    reading = measure(Capture(chopped(60_000.0, clock_hz), 60_000.0), KnownPump(segments=BARS, supply="pwm"))
    assert reading.rpm == pytest.approx(60 * TURN_HZ, rel=1e-3)
    assert reading.pwm_hz == pytest.approx(clock_hz, rel=2e-3)
    assert [n.level for n in reading.notes if n.code == "pwm-found"] == ["info"]


def fed_by_a_drive(left_a, clock_a, rate_hz=120_000.0):
    """A drive's clock, and lines of what it may leave far above the ripple, at orders of the shaft."""
    current = pump(rate_hz)
    t = np.arange(current.size) / rate_hz
    clock = clock_a * np.cos(2 * np.pi * 16_700.0 * t)
    left = left_a * sum(np.cos(2 * np.pi * order * TURN_HZ * t) for order in (299, 301, 303))
    return Capture(current + clock + left, rate_hz)


@pytest.mark.parametrize(("clock_a", "rpm"), [(0.5, pytest.approx(60 * TURN_HZ, rel=1e-3)), (0.0, None)])
def test_what_lies_above_a_clock_is_no_pattern_of_the_turns(clock_a, rpm):
    drive = KnownPump(segments=BARS, supply="pwm")
    assert measure(fed_by_a_drive(0.2, clock_a), drive).rpm == rpm


@pytest.mark.parametrize(("previous_rpm", "told"), [(None, False), (60 * TURN_HZ, True)])
def test_a_faint_turn_beside_a_clock_may_be_what_it_left(previous_rpm, told):
    known = KnownPump(segments=BARS, supply="pwm", previous_rpm=previous_rpm)
    steady = pump(120_000.0)
    current = chopped(120_000.0, 16_700.0, height_a=4.0) - 0.45 * (steady - steady.mean())
    reading = measure(Capture(current, 120_000.0), known)
    assert (reading.rpm is not None) == told
    warned = [n.values["variant"] for n in reading.notes if n.code == "pwm-found"]
    assert warned == (["taken-out"] if told else ["left-over"])


def interrupted(hz, rate_hz=50_000.0, seconds=0.25, duty=0.7):
    """A slow drive: the current rises and dies away within each period, with ripple on it while it flows."""
    t = np.arange(int(rate_hz * seconds)) / rate_hz
    place = (hz * t) % 1
    fed = np.where(place < duty, 1 - np.exp(-place * 12), np.exp(-(place - duty) * 25))
    rng = np.random.default_rng(2)
    ripple = 1 + 0.08 * np.cos(2 * np.pi * BARS * TURN_HZ * t)
    return 7 * fed * ripple + 0.01 * rng.standard_normal(t.size)


@pytest.mark.parametrize("hz", [61.7, 133.0, 310.0])
def test_an_interrupted_current_tells_no_speed_unless_the_feed_is_known_to_be_direct(hz):
    current = interrupted(hz)
    assert slow_clock_hz(current, 50_000.0) == pytest.approx(hz, abs=5)
    assert slow_clock_hz(pump(50_000.0), 50_000.0) is None
    reading = measure(Capture(current, 50_000.0), KnownPump(segments=BARS))
    assert reading.rpm is None
    assert reading.pwm_hz is None  # it may as well be a dead bar
    assert any("dead commutator bar" in n.text for n in reading.notes)


@pytest.mark.parametrize("rpm", [60 * TURN_HZ, 30 * 133.0, 60 * 133.0])
def test_a_last_speed_near_the_clock_does_not_make_it_the_shaft(rpm):
    reading = measure(Capture(interrupted(133.0), 50_000.0), KnownPump(segments=BARS, previous_rpm=rpm))
    assert reading.rpm is None


@pytest.fixture(scope="module")
def eight():
    """A sound motor's speed as found, and the rate of its samples."""
    capture, _ = recorded(trace(8))
    work = prepare(capture.current_a, capture.sample_rate_hz)
    return find_speed(work, KnownPump(segments=8)), capture.sample_rate_hz


def as_a_drive(eight, *, supply=None, clocks, steadiness_pct=0.24, probability=0.9999):
    """What is made of a turn whose wave comes twice in it."""
    speed, rate_hz = eight
    turn = np.arange(len(speed.phase.wave)) / len(speed.phase.wave)
    wave = np.cos(4 * np.pi * turn)
    phase = replace(speed.phase, wave=wave, steadiness_pct=steadiness_pct)
    candidates = (SpeedCandidate(speed.candidates[0].rpm, probability),)
    return find_drive(
        replace(speed, phase=phase, candidates=candidates),
        NO_LINES,
        told=True,
        rate_hz=rate_hz,
        known=KnownPump(segments=8, supply=supply),
        clocks=clocks,
        fast_hz=None,
    )


@pytest.mark.parametrize(
    ("supply", "fast_hz", "changes", "told"),
    [
        ("pwm", None, {}, False),
        ("pwm", 9000.0, {}, True),
        (None, None, {}, True),
        (None, None, {"steadiness_pct": 0.06}, False),
        (None, None, {"probability": 0.992}, False),  # a clock taken for a turn is not as sure
        ("direct", None, {"probability": 0.992, "steadiness_pct": 0.06}, True),
    ],
)
def test_a_switched_feed_without_another_clock_has_the_slow_one(eight, supply, fast_hz, changes, told):
    """What interrupts the current twice a turn that wanders is a dead bar's, but not on such a feed."""
    drive = as_a_drive(eight, supply=supply, clocks=Clocks(fast_hz, None, 259.0), **changes)
    assert drive.told == told
    assert ("interrupted" in [(note.values or {}).get("variant") for note in drive.notes]) != told
