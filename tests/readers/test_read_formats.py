"""A new text format registers itself with one line, and leaves every other file as it was."""

import json

import numpy as np
import pytest

from ingest.errors import CaptureRefused
from ingest.readers import formats, text
from ingest.readers.capture_file import read_capture_bytes

# An invented layout: one word a line, then the samples, with their number in front.
TAGGED = "PUMP TRACE\nrate 20000\nunit A\n" + "".join(
    f"#{i} {5 + 0.2 * np.sin(i / 3):.4f}\n" for i in range(400)
)
PLAIN = "Time (s),Current (A)\n" + "".join(f"{i / 20000:.5f},{5 + 0.1 * (i % 7):.2f}\n" for i in range(400))


def read_tagged(data, deadline):
    lines = [line.split()[1] for line in data.decode().splitlines() if line.startswith("#")]
    table = "Time (s),Current (A)\n" + "".join(f"{i / 20000},{value}\n" for i, value in enumerate(lines))
    return text.read(table.encode(), deadline)


def test_one_line_adds_a_text_format(monkeypatch):
    before = read_capture_bytes("plain.csv", PLAIN.encode())
    added = formats.Format(lambda beginning: beginning.startswith("PUMP TRACE"), read_tagged)
    monkeypatch.setattr(formats, "TEXT_FORMATS", (added, *formats.TEXT_FORMATS))
    capture = read_capture_bytes("a.txt", TAGGED.encode())
    assert capture.sample_rate_hz == 20_000
    np.testing.assert_allclose(capture.current_a, 5 + 0.2 * np.sin(np.arange(400) / 3), atol=6e-5)
    np.testing.assert_array_equal(read_capture_bytes("plain.csv", PLAIN.encode()).current_a, before.current_a)


def test_a_format_of_a_kind_that_is_refused_otherwise_is_asked_first(monkeypatch):
    data = "".join(json.dumps({"n": i, "amps": 5 + 0.1 * (i % 7)}) + "\n" for i in range(400)).encode()
    with pytest.raises(CaptureRefused, match="JSON"):
        read_capture_bytes("a.txt", data)

    def read_objects(data, deadline):
        rows = [json.loads(line) for line in data.splitlines()]
        body = "".join(f"{row['n'] / 20000:.5f},{row['amps']:.2f}\n" for row in rows)
        return text.read(f"Time (s),Current (A)\n{body}".encode(), deadline)

    added = formats.Format(lambda beginning: beginning.startswith("{"), read_objects)
    monkeypatch.setattr(formats, "TEXT_FORMATS", (added, *formats.TEXT_FORMATS))
    assert len(read_capture_bytes("a.txt", data).current_a) == 400
