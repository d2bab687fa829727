"""What a person may say beside a capture: probe, full scale, sample rate, record, channel."""

import numpy as np
import pytest

from ingest.errors import EntryRefused
from ingest.readers.capture_file import (
    parse_full_scale,
    parse_probe,
    parse_rate,
    read_capture,
    read_capture_bytes,
)
from tests.readers.dialects.scenario import rows, times, waveform

T, I = times(400), waveform(400)  # noqa: E741


@pytest.mark.parametrize(
    ("text", "volts_per_amp"),
    [
        ("100mV/A", 0.1),
        ("100 mV/A", 0.1),
        ("10mv/a", 0.01),
        ("1V/A", 1.0),
        ("0,1 V/A", 0.1),
        ("1 mV/mA", 1.0),
        ("100 mV per A", 0.1),
        ("10 A/V", 0.1),
        ("1e2 mV/A", 0.1),
        (0.1, 0.1),
    ],
)
def test_probe(text, volts_per_amp):
    assert parse_probe(text) == pytest.approx(volts_per_amp)


@pytest.mark.parametrize(
    ("text", "hertz"),
    [
        ("100 kS/s", 1e5),
        ("100kS/s", 1e5),
        ("100 kHz", 1e5),
        ("100000", 1e5),
        ("1 MSa/s", 1e6),
        ("2,5 MS/s", 2.5e6),
        ("48000 samples/s", 48e3),
        ("1e5", 1e5),
        ("20k", 2e4),
        (44_100, 44_100.0),
    ],
)
def test_rate(text, hertz):
    assert parse_rate(text) == pytest.approx(hertz)


@pytest.mark.parametrize(
    ("text", "amps"), [("10A", 10), ("10 amps", 10), ("500 mA", 0.5), ("10", 10), (5, 5)]
)
def test_full_scale(text, amps):
    assert parse_full_scale(text) == pytest.approx(amps)


@pytest.mark.parametrize(
    ("parse", "text", "says"),
    [
        (parse_probe, "100", "write it like 100mV/A"),
        (parse_probe, "100 mV", "'100 mV' is not a clamp's output"),
        (parse_probe, "0 mV/A", "must be more than zero"),
        (parse_probe, "-1V/A", "not a clamp's output"),
        (parse_probe, float("nan"), "must be more than zero"),
        (parse_rate, "10 ms", "write it like 100 kS/s"),
        (parse_rate, "50 us", "is not a rate"),
        (parse_rate, "0", "must be more than zero"),
        (parse_rate, "fast", "is not a rate"),
        (parse_rate, float("inf"), "must be more than zero"),
        (parse_full_scale, "2V", "is not a current"),
        (parse_full_scale, 0, "must be more than zero"),
    ],
)
def test_what_cannot_be_understood_is_told(parse, text, says):
    with pytest.raises(EntryRefused) as refused:
        parse(text)
    assert says in refused.value.text


def test_mistyped_option_is_told_before_the_file_is_opened(tmp_path):
    with pytest.raises(EntryRefused):
        read_capture(tmp_path / "missing.csv", probe="lots")
    with pytest.raises(EntryRefused):
        read_capture_bytes("a.csv", b"", record=0)


def test_probe_on_values_in_amperes_is_not_applied_and_said():
    capture = read_capture_bytes("a.csv", ("t (s),I (A)\n" + rows(T, I)).encode(), probe="100mV/A")
    np.testing.assert_allclose(capture.current_a, I, atol=1e-6)
    assert "probe-not-used" in {note.code for note in capture.notes}


def test_sample_rate_given_wins_over_the_file_and_says_so():
    capture = read_capture_bytes("a.csv", ("t (s),I (A)\n" + rows(T, I)).encode(), sample_rate_hz="40 kS/s")
    assert capture.sample_rate_hz == 40_000
    assert "rate-overridden" in {note.code for note in capture.notes}


@pytest.mark.parametrize("wanted", ["Rear Pump", "rear pump", "REARPUMP", "Rear Pump (A)", "rear_pump", "2"])
def test_channel_names_match_without_unit_and_case(wanted):
    text = "time (s),Front (A),Rear Pump (A)\n" + rows(T, I + 1, I)
    capture = read_capture_bytes("a.csv", text.encode(), channel=wanted)
    assert capture.channel == "Rear Pump"
    np.testing.assert_allclose(capture.current_a, I, atol=1e-6)


def test_path_and_bytes_give_the_same_capture(tmp_path):
    data = ("t (s),I (A)\n" + rows(T, I)).encode()
    path = tmp_path / "a.csv"
    path.write_bytes(data)
    assert read_capture(path).identity == read_capture_bytes("a.csv", data).identity
    assert read_capture(str(path)).source == "a.csv"


def test_record_is_counted_from_one_and_said():
    text = "t (s),I (A)\n" + rows(T, I) + "\n" + rows(T, I + 1)
    first = read_capture_bytes("a.csv", text.encode())
    second = read_capture_bytes("a.csv", text.encode(), record=2)
    assert second.current_a.mean() - first.current_a.mean() == pytest.approx(1)
    said = {note.code: note.text for note in first.notes}
    assert "holds 2 records; the first was read" in said["record-chosen"]
