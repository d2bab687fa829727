"""One waveform in every dialect comes out the same: samples, rate, start, mean and speed."""

import numpy as np
import pytest

from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from ingest.readers.capture_file import read_capture_bytes
from ingest.readers.formats import BINARY_FORMATS
from tests.readers.dialects import SCENARIOS
from tests.readers.dialects.scenario import RPM, SEGMENTS


def commutation_hz(current_a: np.ndarray, rate_hz: float) -> float:
    """Frequency of the strongest line between 500 and 1,500 Hz, by a windowed, interpolated spectrum."""
    held = np.where(np.isfinite(current_a), current_a, np.nanmean(current_a))
    size = 1 << 17
    spectrum = np.abs(np.fft.rfft((held - held.mean()) * np.hanning(len(held)), size))
    low, high = int(500 * size / rate_hz), int(1_500 * size / rate_hz)
    peak = low + int(np.argmax(spectrum[low:high]))
    left, mid, right = np.log(spectrum[peak - 1 : peak + 2])
    return (peak + 0.5 * (left - right) / (left - 2 * mid + right)) * rate_hz / size


def test_there_are_at_least_45_dialects():
    assert len({function.__name__ for function in SCENARIOS}) == len(SCENARIOS) >= 45


@pytest.mark.parametrize("function", SCENARIOS, ids=lambda function: function.__name__)
def test_dialect_gives_the_known_waveform(function):
    scenario = function()
    capture = read_capture_bytes(scenario.file_name, scenario.data, **scenario.options)

    assert len(capture.current_a) == len(scenario.current_a)
    np.testing.assert_allclose(capture.current_a, scenario.current_a, atol=scenario.tolerance_a)
    assert capture.sample_rate_hz == pytest.approx(scenario.rate_hz, rel=2e-4)
    assert capture.start_s == pytest.approx(scenario.start_s, abs=1e-6)
    assert np.nanmean(capture.current_a) == pytest.approx(np.nanmean(scenario.current_a), rel=1e-3)
    rpm = 60 * commutation_hz(capture.current_a, capture.sample_rate_hz) / SEGMENTS
    assert rpm == pytest.approx(RPM, rel=1e-3)
    codes = {note.code for note in capture.notes}
    assert set(scenario.notes) <= codes, codes
    packed = scenario.data.startswith(b"\x1f\x8b")
    if not packed and not any(form.sniff(scenario.data) for form in BINARY_FORMATS):
        assert "layout" in codes  # how a text was read is always said


MEASURED = (
    "two_columns_no_header",
    "semicolons_decimal_comma",
    "codes_with_a_scale_in_the_header",
    "stamps_rounded_until_they_repeat_interval_in_header",
    "jittered_stamps",
    "overflow_marks",
    "reversed_clamp",
    "wav_16_bit",
    "npy_two_rows_float32",
)


@pytest.mark.parametrize("name", MEASURED)
def test_measured_mean_and_speed_do_not_depend_on_the_dialect(name):
    function = next(function for function in SCENARIOS if function.__name__ == name)
    scenario = function()
    capture = read_capture_bytes(scenario.file_name, scenario.data, **scenario.options)
    reading = measure(capture, KnownPump(segments=SEGMENTS))
    assert reading.mean_a == pytest.approx(np.nanmean(scenario.current_a), rel=1e-3)
    assert reading.rpm == pytest.approx(RPM, rel=1e-3)
    assert {note.code for note in capture.notes} <= {note.code for note in reading.notes}
