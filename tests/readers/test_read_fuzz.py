"""Whatever the bytes, reading ends in a capture or in one sentence; whatever the waveform, it comes back."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.errors import PumpledgerError
from ingest.readers.capture_file import read_capture_bytes
from ingest.readers.formats import BINARY_FORMATS, TEXT_FORMATS
from tests.readers.dialects import SCENARIOS
from tests.readers.dialects.mutation import mutate

SMALL = settings(
    max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
OPTIONS = {"channel": "1", "sample_rate_hz": 20_000, "probe": "1V/A", "full_scale": 10}


def reads_or_refuses(name, data, options):
    capture, refusal = None, ""
    try:
        capture = read_capture_bytes(name, data, **options)
    except PumpledgerError as refused:
        refusal = refused.text
    if capture is None:
        assert "\n" not in refusal
        assert refusal.rstrip().endswith((".", "?"))
        return
    assert capture.current_a.ndim == 1
    assert not np.isinf(capture.current_a).any()
    assert 0 < capture.sample_rate_hz < np.inf
    assert np.isfinite(capture.start_s)


@SMALL
@given(st.binary(max_size=3_000))
def test_any_bytes(data):
    reads_or_refuses("a.csv", data, OPTIONS)


@SMALL
@given(st.text(alphabet="0123456789.,;:\t\n\r -+eEAVmsµ∞()#=\"'abtime", max_size=3_000))
def test_any_text(text):
    reads_or_refuses("a.csv", text.encode(), {})


def damage(scenario, times):
    rng = np.random.default_rng(len(scenario.data))
    for _ in range(times):
        damaged = mutate(scenario.data[:20_000], rng)
        reads_or_refuses(scenario.file_name, damaged, scenario.options)


@pytest.mark.parametrize("function", SCENARIOS[::3], ids=lambda function: function.__name__)
def test_damaged_file(function):
    damage(function(), 6)


def test_each_format_has_a_scenario_that_is_damaged():
    """Whatever a new format's reader raises of a damaged file is a refusal."""
    made = [function() for function in SCENARIOS]
    of_text = [s for s in made if not any(form.sniff(s.data) for form in BINARY_FORMATS)]
    beginnings = [s.data[:8_192].decode("utf-8", "replace") for s in of_text]
    for form in BINARY_FORMATS:
        damage(next(s for s in made if form.sniff(s.data)), 1)
    for form in TEXT_FORMATS[:-1]:
        damage(next(s for s, text in zip(of_text, beginnings, strict=True) if form.sniff(text)), 20)
    # the last one takes whatever no other does, and most of the scenarios above are its
    assert TEXT_FORMATS[-1].sniff("")
    assert len(of_text) > 45


@st.composite
def tables(draw):
    count = draw(st.integers(64, 200))
    rate = draw(st.sampled_from([100.0, 1_000.0, 20_000.0, 48_000.0, 1e6]))
    level = draw(st.floats(0.6, 30))
    swing = draw(st.floats(0, 0.4)) * level
    shape = np.sin(np.arange(count) * draw(st.floats(0.05, 3)))
    return rate, level + swing * shape


@SMALL
@given(
    tables(),
    st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", "."), ("  ", ".")]),
    st.sampled_from(["\n", "\r\n", "\r", "\r\r\n"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    st.sampled_from(
        [("Time (s)", 1.0, "I (A)", 1.0), ("t [ms]", 1e3, "Strom [mA]", 1e3), ("s", 1.0, "A", 1.0)]
    ),
    st.sampled_from([".9f", ".9e", "+.9E"]),
)
def test_what_is_written_comes_back(table, marks, end, encoding, header, form):
    rate, current = table
    separator, decimal = marks
    time_name, time_factor, name, factor = header
    if separator == "  ":
        time_name, name = time_name.replace(" ", "_"), name.replace(" ", "_")
    lines = [separator.join((time_name, name))]
    for place, value in enumerate(current):
        cells = (format(place / rate * time_factor, form), format(value * factor, form))
        lines.append(separator.join(cells).replace(".", decimal))
    data = (end.join(lines) + end).encode(encoding)
    capture = read_capture_bytes("a.csv", data)
    np.testing.assert_allclose(capture.current_a, current, rtol=1e-6, atol=1e-6)
    assert capture.sample_rate_hz == pytest.approx(rate, rel=1e-4)
