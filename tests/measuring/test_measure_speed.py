"""Speed: told within its error, refused where the trace can't tell, whatever the bars and the fault."""

import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from tests.benchmarks.study_captures import draw
from tests.measuring.measured_captures import recorded, steady, trace


@pytest.mark.parametrize("bars", [7, 8, 10, 12])
@pytest.mark.parametrize("faults", ["healthy", "burnt bar"])
def test_speed_with_segments_told(bars, faults):
    capture, truth = recorded(trace(bars, faults))
    reading = measure(capture, KnownPump(segments=bars))
    true_rpm = truth.mean_rpm(reading.steady_from_s, reading.steady_to_s)
    assert reading.rpm == pytest.approx(true_rpm, rel=2e-4)
    assert abs(reading.rpm - true_rpm) < 6 * reading.rpm_se
    assert reading.revolution_ms == pytest.approx(60_000 / reading.rpm)
    assert reading.speed_confidence > 0.95


def test_speed_with_segments_untold():
    capture, truth = recorded(trace(8, "burnt bar"))
    reading = measure(capture)
    assert reading.rpm == pytest.approx(truth.mean_rpm(reading.steady_from_s, reading.steady_to_s), rel=2e-4)


def test_bars_alike_and_untold_are_refused_with_candidates():
    capture, truth = recorded(trace(8, alike=True))
    reading = measure(capture)
    assert reading.rpm is None
    assert len(reading.speed_candidates) > 1
    assert reading.pattern_repeat_ms is not None
    assert {"speed-undecided"} <= {n.code for n in reading.notes}
    told = measure(capture, KnownPump(segments=8))
    assert told.rpm == pytest.approx(truth.mean_rpm(told.steady_from_s, told.steady_to_s), rel=2e-4)


def test_a_previous_speed_never_overrules_the_trace():
    capture, truth = recorded(trace(8, "burnt bar"))
    reading = measure(capture, KnownPump(segments=8, previous_rpm=9000.0))
    assert reading.rpm == pytest.approx(truth.mean_rpm(reading.steady_from_s, reading.steady_to_s), rel=2e-4)
    assert "speed-differs" in {n.code for n in reading.notes}


@pytest.mark.parametrize("times", [1.9, 1 / 1.7])
def test_a_speed_beyond_belief_after_the_last_visits_is_offered_and_not_told(times):
    capture, _ = recorded(trace(8, "burnt bar"))
    rpm = measure(capture, KnownPump(segments=8)).rpm
    reading = measure(capture, KnownPump(segments=8, previous_rpm=times * rpm))
    assert reading.rpm is None
    assert reading.speed_candidates[0].rpm == pytest.approx(rpm, rel=1e-3)
    [note] = [n for n in reading.notes if n.code == "speed-undecided"]
    assert "too far from" in note.text
    assert "same pump" in note.text


@pytest.mark.parametrize(
    ("stratum", "seed", "told"),
    [("low sample rate", 73002, True), ("low sample rate", 73057, False), ("wander", 73070, False)],
)
def test_a_speed_far_from_the_last_visits_must_stand_on_its_own(stratum, seed, told):
    study = draw(stratum, seed)  # answered wrongly before
    capture = Capture(study.samples, study.sample_rate_hz)
    reading = measure(capture, KnownPump(segments=study.bars, previous_rpm=study.previous_rpm))
    assert reading.speed_candidates
    assert reading.rpm == (pytest.approx(study.rpm, rel=0.01) if told else None)


def test_a_slow_shaft_that_the_load_pulls_once_a_turn_is_followed():
    study = draw("slow 1,800-3,200", 84076)  # five turns; by half turns its phase slipped
    known = KnownPump(segments=study.bars, rpm_low=1_800)  # as a slow type's specification says
    reading = measure(Capture(study.samples, study.sample_rate_hz), known)
    assert reading.rpm == pytest.approx(
        study.truth.mean_rpm(reading.steady_from_s, reading.steady_to_s), rel=2e-4
    )
    assert reading.speed_steadiness_pct < 1


def test_bars_untold_are_not_known_from_folded_harmonics_or_half_the_turn():
    for stratum, seed in (("fast 10,600-13,500", 73021), ("slow 1,800-3,200", 73068)):
        study = draw(stratum, seed)  # answered wrongly before
        assert measure(Capture(study.samples, study.sample_rate_hz)).rpm is None


def test_too_few_samples_a_ripple_are_refused():
    capture, _ = recorded(trace(8))
    slow = Capture(capture.current_a[::50], capture.sample_rate_hz / 50)
    reading = measure(slow, KnownPump(segments=8))
    assert reading.rpm is None
    assert reading.mean_a is not None


def test_noise_has_no_speed():
    reading = measure(steady(4.0), KnownPump(segments=8))
    assert reading.rpm is None
    assert reading.mean_a == pytest.approx(4.0, abs=0.002)


def test_a_brushless_pump_keeps_its_mean():
    capture, truth = recorded(trace(8))
    reading = measure(capture, KnownPump(motor="brushless"))
    assert reading.rpm is None
    assert reading.mean_a == pytest.approx(truth.mean_a(reading.steady_from_s, reading.steady_to_s), rel=2e-3)
    assert "brushless" in {n.code for n in reading.notes}
