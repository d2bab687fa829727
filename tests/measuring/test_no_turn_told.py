"""What is said where no turn is told: no ripple of a turn that was rejected, and why none was found."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.known_pump import KnownPump
from ingest.measuring import measurement
from ingest.measuring.lifts import without_lifts
from ingest.measuring.measurement import measure
from ingest.measuring.order_tracking import prepare
from ingest.measuring.other_turns import no_commutators
from ingest.measuring.speed_lines import find_lines
from ingest.measuring.whitening import whitened
from ingest.only_noise import is_only_noise
from ingest.readers.capture_file import read_capture_bytes
from ingest.reading import SpeedCandidate
from tests.measuring.measured_captures import recorded, steady, trace
from tests.measuring.test_switched_feed import fed


def codes(reading):
    return [note.code for note in reading.notes]


def variants(reading, code):
    return [note.values.get("variant") for note in reading.notes if note.code == code]


def without_ripple(reading):
    return reading.ripple_a is None and reading.ripple_pct is None and reading.ripple_pct_se is None


def test_a_clock_that_may_be_the_ripple_gives_no_ripple():
    reading = measure(fed(1000.0, 0.03), KnownPump(segments=10))
    assert reading.rpm is None
    assert without_ripple(reading)
    assert variants(reading, "ripple-untold")
    assert reading.raw_ripple_pct > 0  # highest less lowest is what it is


def test_an_irregular_turn_gives_no_ripple():
    # A shaft whose speed jumps about by a fifth every few milliseconds.
    rng, t = np.random.default_rng(3), np.arange(30_000) / 1e5
    speed_hz = np.interp(t, np.arange(0, 0.31, 0.004), 90 * np.exp(0.25 * rng.standard_normal(78)))
    angle = np.cumsum(speed_hz) / 1e5
    current = 5 + 0.3 * np.cos(16 * np.pi * angle) + 0.1 * np.cos(4 * np.pi * angle)
    reading = measure(Capture(current + 0.01 * rng.standard_normal(len(t)), 1e5), KnownPump(segments=8))
    assert reading.rpm is None
    assert without_ripple(reading)
    assert variants(reading, "ripple-untold") == ["irregular"]


def test_half_or_twice_the_speed_leaves_the_ripple():
    capture, _ = recorded(trace(8, alike=True))
    reading = measure(capture)
    told = measure(capture, KnownPump(segments=8))
    assert reading.rpm is None
    assert told.rpm is not None
    if reading.ripple_a is None:  # then a third speed is likely too, and said to be
        assert variants(reading, "ripple-untold") == ["open"]
    else:
        assert reading.ripple_a == pytest.approx(told.ripple_a, rel=0.05)


def test_a_flat_high_current_is_called_flat_and_lists_no_speed():
    rng, t = np.random.default_rng(4), np.arange(20_000) / 1e5
    for amps in (4.0, 22.0):
        heating = amps * np.exp(-0.3 * t)
        reading = measure(Capture(heating + 0.01 * rng.standard_normal(len(t)), 1e5), KnownPump(segments=8))
        assert "current-flat" in codes(reading)
        assert not {"speed-not-followed", "range-too-coarse", "too-few-turns"} & set(codes(reading))
        assert reading.rpm is None
        assert not reading.speed_candidates
        assert without_ripple(reading)


def test_an_alternators_ripple_on_a_load_that_does_not_turn_is_no_pumps():
    """Its line would be the ripple of eight bars at a usual speed, its own lines beside it no shaft's."""
    t, rng = np.arange(20_000) / 1e5, np.random.default_rng(12)
    phase = np.cumsum(1173.0 * (1 + 0.002 * np.sin(2 * np.pi * 3 * t))) / 1e5
    lines = (
        np.cos(2 * np.pi * phase) + 0.1 * np.cos(4 * np.pi * phase) + 0.36 * np.cos(2 * np.pi * phase / 2.996)
    )
    current = 7.1 + 0.035 * lines + 0.004 * rng.standard_normal(len(t))
    reading = measure(Capture(current, 1e5), KnownPump(segments=8))
    assert reading.rpm is None
    assert "current-flat" in codes(reading)
    assert without_ripple(reading)


def test_a_pump_that_turns_is_not_called_flat():
    for bars in (8, 9):
        assert "current-flat" not in codes(measure(recorded(trace(bars))[0], KnownPump(segments=bars)))


@pytest.mark.parametrize("unit", ["Current (A)", "Clamp (V)"])
@pytest.mark.parametrize("noise_a", [0.002, 0.025])
def test_noise_alone_is_no_current_however_its_mean_lies(unit, noise_a):
    for mean_a in (0.0, 0.0004, -0.01):
        amps = mean_a + noise_a * np.random.default_rng(1).standard_normal(5000)
        values = amps if unit.endswith("(A)") else amps / 10
        rows = "".join(f"{n / 5e4:.6f},{v:.7f}\n" for n, v in enumerate(values))
        data = f"Time (s),{unit}\n{rows}".encode()
        capture = read_capture_bytes("noise.csv", data, probe=None if unit.endswith("(A)") else "100mV/A")
        assert not [note for note in capture.notes if note.code == "ac-coupled"]
        with pytest.raises(CaptureRefused) as refusal:
            measure(capture)
        assert refusal.value.code == "no-current"
        assert "-0.00 A" not in str(refusal.value)


def test_noise_about_a_clamps_offset_lists_no_speed_and_no_ripple():
    noise = 0.02 * np.random.default_rng(3).standard_normal(7500)
    reading = measure(Capture(0.12 + noise, 25_000.0), KnownPump(segments=8))
    assert reading.mean_a == pytest.approx(0.12, abs=0.002)
    assert not reading.speed_candidates
    assert reading.raw_ripple_pct is None
    assert without_ripple(reading)
    assert "speed-refused" in codes(reading)


def test_a_faint_ripple_is_more_than_noise():
    t, rng = np.arange(7500) / 25_000, np.random.default_rng(3)
    noise = 0.02 * rng.standard_normal(len(t))
    assert is_only_noise(noise)
    assert is_only_noise(np.round(noise / 0.02) * 0.02)
    for hz in (300.0, 800.0, 2500.0):
        assert not is_only_noise(noise + 0.01 * np.sin(2 * np.pi * hz * t))
    assert not is_only_noise(0.06 * rng.standard_normal(len(t)))


def engine_beside(bars, firing_hz=47.3, wander=0.003):
    capture, truth = recorded(trace(bars))
    n = len(capture.current_a)
    rng = np.random.default_rng(8)
    slow = np.interp(np.arange(n), np.linspace(0, n, 8), rng.standard_normal(8))
    phase = np.cumsum(firing_hz * (1 + wander * slow)) / capture.sample_rate_hz
    dips = sum(0.06 * np.cos(2 * np.pi * k * phase) for k in (1, 2, 3, 4))
    return Capture(capture.current_a + dips, capture.sample_rate_hz), truth


def test_with_the_engine_running_and_segments_untold_a_prime_is_asked_for_once():
    capture, truth = engine_beside(8)
    reading = measure(capture)
    assert reading.rpm is None
    asking = [note for note in reading.notes if "key-on prime" in note.text]
    assert len(asking) == 1
    assert "engine off" in asking[0].text
    told = measure(capture, KnownPump(segments=8))
    assert told.rpm == pytest.approx(truth.mean_rpm(told.steady_from_s, told.steady_to_s), rel=1e-3)
    assert "engine-suspected" not in codes(told)


def test_dips_too_close_to_stand_alone_ask_for_a_prime_too():
    """In so short a record each hides the other's floor, and none counts as a line."""
    capture, truth = engine_beside(8, firing_hz=38.9, wander=0.004)
    short = Capture(capture.current_a[: int(0.12 * capture.sample_rate_hz)], capture.sample_rate_hz)
    reading = measure(short)
    assert reading.rpm is None
    assert "engine-suspected" in codes(reading)
    told = measure(short, KnownPump(segments=8))
    assert told.rpm == pytest.approx(truth.mean_rpm(told.steady_from_s, told.steady_to_s), rel=1e-3)


def test_with_the_engine_off_no_prime_is_asked_for():
    for bars in (8, 9, 10, 12):
        assert "engine-suspected" not in codes(measure(recorded(trace(bars))[0]))


def test_a_faint_ripple_at_an_unusual_speed_is_another_loads():
    t = np.arange(30_000) / 1e5
    phase = np.cumsum(270.0 * (1 + 0.002 * np.sin(2 * np.pi * 3 * t))) / 1e5
    ripple = sum(a * np.cos(2 * np.pi * k * phase) for k, a in ((1, 0.1), (2, 0.03), (1 / 4, 0.02)))
    noise = 0.005 * np.random.default_rng(2).standard_normal(len(t))
    reading = measure(Capture(6 + ripple + noise, 1e5), KnownPump(segments=8))  # 8 ripples at 2,025 rpm
    assert reading.rpm is None
    assert "another-load-suspected" in codes(reading)
    assert without_ripple(reading)


def test_a_second_pump_on_the_wire_is_named_and_no_speed_told():
    one, _ = recorded(trace(8))
    t = np.arange(len(one.current_a)) / one.sample_rate_hz
    other = 0.06 * np.cos(2 * np.pi * 1130.0 * t) + 0.04 * np.cos(2 * np.pi * 2260.0 * t)
    reading = measure(Capture(one.current_a + 4 + other, one.sample_rate_hz), KnownPump(segments=8))
    assert reading.rpm is None
    assert "second-motor-suspected" in codes(reading)
    assert "alternator-suspected" not in codes(reading)
    assert without_ripple(reading)


def test_brushes_that_lift_are_read_past():
    capture, truth = recorded(trace(8))
    rng = np.random.default_rng(6)
    current = capture.current_a.copy()
    for at in rng.integers(0, len(current) - 1000, 60):
        back = np.exp(-np.arange(600) / 100)  # 1 ms at 100 kS/s
        current[at : at + 600] -= 2.0 * rng.uniform(0.3, 1) * back
    calm, rate_hz = without_lifts(current, capture.sample_rate_hz)
    size = round(capture.sample_rate_hz / rate_hz)
    clean = capture.current_a[: len(current) // size * size].reshape(-1, size).mean(axis=1)[1:]
    spoilt = current[: len(current) // size * size].reshape(-1, size).mean(axis=1)[1:]
    off = [np.std((x - np.median(x)) - (clean - np.median(clean))) for x in (calm, spoilt)]
    assert off[0] < 0.5 * off[1]
    reading = measure(Capture(current, capture.sample_rate_hz), KnownPump(segments=8))
    assert reading.rpm == pytest.approx(truth.mean_rpm(reading.steady_from_s, reading.steady_to_s), rel=1e-3)
    assert without_lifts(steady(5.0).current_a, 20_000.0) is None


def test_few_turns_are_called_few_only_where_they_are():
    capture, _ = recorded(trace(8))
    whole = measure(capture)
    assert "too-few-turns" not in codes(whole)
    turns = round(0.035 * capture.sample_rate_hz)
    short = measure(Capture(capture.current_a[:turns], capture.sample_rate_hz))
    assert "too-few-turns" in codes(short)


def test_a_tenfold_error_of_the_probe_is_asked_about():
    asked = []
    for bars in (6, 7, 8, 9, 10, 12):
        capture, _ = recorded(trace(bars), zero_a=0.02)
        assert "probe-factor-doubtful" not in codes(measure(capture, KnownPump(segments=bars)))
        for factor in (0.1, 10.0):
            wrong = Capture(factor * capture.current_a, capture.sample_rate_hz)
            asked.append("probe-factor-doubtful" in codes(measure(wrong, KnownPump(segments=bars))))
    assert sum(asked) >= 0.8 * len(asked)


def test_a_stalled_pump_is_not_taken_for_a_wrong_probe():
    rng = np.random.default_rng(4)
    reading = measure(Capture(26 + 0.01 * rng.standard_normal(20_000), 1e5), KnownPump(segments=8))
    assert "probe-factor-doubtful" not in codes(reading)


def test_a_ripple_under_slow_disorder_is_read_past_it():
    """Brushes that lift at random leave power that falls with frequency, above the ripple's own line."""
    capture, truth = recorded(trace(8))
    rng, n, rate = np.random.default_rng(7), len(capture.current_a), capture.sample_rate_hz
    disorder = lfilter([1.0], [1.0, -np.exp(-1 / (1.2e-3 * rate))], rng.standard_normal(n))
    current = capture.current_a + 2.0 * float(np.std(capture.current_a)) / float(np.std(disorder)) * disorder
    reading = measure(Capture(current, rate), KnownPump(segments=8))
    assert reading.rpm == pytest.approx(truth.mean_rpm(reading.steady_from_s, reading.steady_to_s), rel=2e-3)
    work = prepare(current, rate)
    calm = whitened(work)
    strongest = [float(find_lines(w).hz[0]) for w in (work, calm)]
    ripple_hz = 8 * truth.mean_rpm(0.0, n / rate) / 60
    orders = np.array(strongest) / ripple_hz
    assert orders[0] < 0.9
    assert orders[1] == pytest.approx(round(orders[1]), abs=0.02)


def slowed(bars, times=3, more_a=0.0):
    """The same turns, so many times slower, under a ripple not faint; more_a: drawn on top of it."""
    capture, truth = recorded(trace(bars))
    middle = float(np.mean(capture.current_a))
    slow = Capture(more_a + middle + 3 * (capture.current_a - middle), capture.sample_rate_hz / times)
    return slow, truth.mean_rpm(0.0, 0.2) / times


@pytest.mark.parametrize(("bars", "kind"), [(16, "slow"), (8, "slow-few")])
def test_a_slow_motor_on_much_current_is_told_its_speed_and_that_it_may_be_a_fans(bars, kind):
    slow, rpm = slowed(bars, more_a=8.0)
    reading = measure(slow, KnownPump(segments=bars))
    assert reading.rpm == pytest.approx(rpm, rel=0.05)
    assert variants(reading, "another-load-suspected") == [kind]
    assert "fan" in next(n.text for n in reading.notes if n.code == "another-load-suspected")
    again = measure(slow, KnownPump(segments=bars, previous_rpm=rpm))
    assert "another-load-suspected" not in codes(again)


def test_a_slow_motor_on_a_pumps_usual_current_is_no_dragging_pump():
    """From V = R I + k w: a pump that its load slows to a third draws more than twice its usual current."""
    slow, rpm = slowed(8)
    reading = measure(slow, KnownPump(segments=8))
    assert reading.mean_a < 8
    assert reading.rpm is None
    assert reading.speed_candidates[0].rpm == pytest.approx(rpm, rel=0.05)
    assert variants(reading, "another-load-suspected") == ["current"]
    assert without_ripple(reading)
    for known in (KnownPump(segments=8, rpm_low=rpm / 1.2), KnownPump(segments=8, supply_v=4.5)):
        assert measure(slow, known).rpm == pytest.approx(rpm, rel=0.05)


def test_a_turn_told_by_what_comes_as_often_as_an_engine_fires_takes_a_prime():
    """Firing at a whole part of the ripple falls on order 2 of half its own rate, and on 4, 6 and 8."""
    slow, rpm = slowed(8, times=4)
    reading = measure(slow)
    assert 20 < rpm / 30 < 130
    assert reading.rpm is None
    assert variants(reading, "engine-suspected") == ["firing"]
    assert sum("key-on prime" in note.text for note in reading.notes) == 1
    primed = measure(slow, KnownPump(state="prime", rpm_low=rpm / 1.2))
    assert primed.rpm == pytest.approx(rpm, rel=0.05)
    assert "engine-suspected" not in codes(primed)


@pytest.mark.parametrize("turns", [1.3, 1.8])
def test_under_two_turns_tell_no_speed_and_pass_for_no_more(turns):
    for bars in (7, 8):
        capture, truth = recorded(trace(bars))
        n = int(turns * 60 / truth.mean_rpm(0.0, 0.2) * capture.sample_rate_hz)
        short = Capture(capture.current_a[:n], capture.sample_rate_hz)
        assert measure(short, KnownPump(segments=bars)).rpm is None


def test_a_pattern_that_no_commutator_of_so_many_bars_leaves_is_named():
    """Ten dips a turn under eight bars told: a brushless driver's, that no bad bar explains."""
    rng, t = np.random.default_rng(9), np.arange(30_000) / 1e5
    turns = np.cumsum(70.0 * (1 + 0.001 * np.sin(2 * np.pi * 3 * t))) / 1e5
    heights = 1 + 0.1 * rng.standard_normal(10)
    place = 10 * turns
    dips = heights[place.astype(int) % 10] * np.exp(-4 * (place % 1))
    ripple = 0.1 * np.cos(2 * np.pi * 8 * turns) + 0.03 * np.cos(2 * np.pi * 16 * turns)
    current = 5 - dips + ripple + 0.005 * rng.standard_normal(len(t))
    reading = measure(Capture(current, 1e5), KnownPump(segments=8))
    assert reading.rpm is None
    assert variants(reading, "another-load-suspected") == ["pattern"]
    assert without_ripple(reading)


@pytest.mark.parametrize("bars", [7, 8])
def test_a_bad_bar_is_a_commutators_pattern_short_or_smooth(bars):
    place = np.arange(1024) / 1024
    ripple = 0.05 * np.cos(2 * np.pi * np.lcm(2, bars) * place)
    half = (place - 0.1) % 0.5
    short = -np.exp(-((half - 0.25) ** 2) / 2 / (0.3 / bars) ** 2)
    smooth = 0.6 * np.cos(4 * np.pi * place) + 0.1 * np.cos(8 * np.pi * place)
    spread = sum(np.cos(2 * np.pi * k * place + k * k) for k in (2, 4, 6, 10, 12))
    one_sided = np.exp(-((place - 0.3) ** 2) / 2 / 0.02**2)
    named = [no_commutators(ripple + w, KnownPump(segments=bars)) for w in (short, smooth, spread, one_sided)]
    assert named == [False, False, True, True]


@pytest.mark.parametrize(("strongest", "told"), [(7, False), (8, True)])
def test_a_wave_without_the_ripple_of_the_bars_told_is_no_turns(monkeypatch, strongest, told):
    """Beside the last visit's speed too: a turn's seventh order is the eighth of one an eighth slower."""
    capture, truth = recorded(trace(8))

    def turned(speed):
        place = np.arange(len(speed.phase.wave)) / len(speed.phase.wave)
        wave = sum(a * np.cos(2 * np.pi * k * place) for k, a in ((strongest, 0.2), (2, 0.05), (4, 0.03)))
        return replace(speed, phase=replace(speed.phase, wave=wave))

    seen_so(monkeypatch, turned)
    known = KnownPump(segments=8, previous_rpm=truth.mean_rpm(0.0, 0.2))
    assert (measure(capture, known).rpm is not None) == told


def seen_so(monkeypatch, change):
    """Let the first search of a capture come out as `change` makes it."""
    search, searches = measurement.find_fed_speed, []

    def find(work, clocks, known):
        searches.append(1)
        found = search(work, clocks, known)
        return (*found[:2], change(found[2])) if len(searches) == 1 else found

    monkeypatch.setattr(measurement, "find_fed_speed", find)
    return searches


@pytest.mark.parametrize(("sure", "told"), [(0.97, False), (0.985, True)])
def test_bars_untold_take_a_surer_trace(monkeypatch, sure, told):
    rpm = {"rpm": 0.0}

    def less_sure(speed):
        rpm["rpm"] = 60 * speed.phase.turn_hz
        return replace(speed, candidates=(SpeedCandidate(rpm["rpm"], sure), SpeedCandidate(5000.0, 1 - sure)))

    seen_so(monkeypatch, less_sure)
    reading = measure(recorded(trace(8))[0])
    assert (reading.rpm is not None) == told
    assert reading.speed_candidates[0].rpm == rpm["rpm"]


def test_a_phase_that_wanders_as_a_slipped_one_does_is_looked_at_again(monkeypatch):
    capture, truth = recorded(trace(8))

    def slipped(speed):
        phase = replace(speed.phase, turn_hz=0.957 * speed.phase.turn_hz, steadiness_pct=4.0)
        return replace(speed, candidates=(SpeedCandidate(60 * phase.turn_hz, 0.999),), phase=phase)

    searches = seen_so(monkeypatch, slipped)
    reading = measure(capture, KnownPump(segments=8))
    assert len(searches) > 1
    assert reading.rpm == pytest.approx(truth.mean_rpm(reading.steady_from_s, reading.steady_to_s), rel=1e-3)
    monkeypatch.setattr(measurement, "calmer_traces", lambda *_: [])
    searches.clear()
    lost = measure(capture, KnownPump(segments=8, previous_rpm=0.95 * reading.rpm))
    assert lost.rpm is None
    assert "speed-not-followed" in codes(lost)


def test_too_slow_a_record_tells_no_ripple():
    capture, truth = recorded(trace(8))
    every = int(capture.sample_rate_hz / (5 * 8 * truth.mean_rpm(0.0, 0.25) / 60))
    slow = Capture(capture.current_a[::every], capture.sample_rate_hz / every)
    reading = measure(slow, KnownPump(segments=8))
    assert reading.rpm is None
    assert without_ripple(reading)
    assert variants(reading, "ripple-untold") == ["too-slow"]


def test_an_alternators_line_of_a_seventh_of_the_strongest_is_named():
    capture, truth = recorded(trace(8))
    time_s = np.arange(len(capture.current_a)) / capture.sample_rate_hz
    turn_hz = truth.mean_rpm(0.0, time_s[-1]) / 60
    spectrum = np.abs(np.fft.rfft((capture.current_a - capture.current_a.mean()) * np.hanning(len(time_s))))
    strongest_a = 4 * spectrum[5:].max() / len(time_s)
    named = []
    for order in (5.4, 7.3, 10.6, 13.5, 18.4):
        line = 0.16 * strongest_a * np.sin(2 * np.pi * order * turn_hz * time_s)
        reading = measure(Capture(capture.current_a + line, capture.sample_rate_hz), KnownPump(segments=8))
        named.append("alternator-suspected" in codes(reading))
    assert sum(named) >= 0.8 * len(named)
