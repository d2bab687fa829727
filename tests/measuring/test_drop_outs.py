"""A contact that opens is told from brushes, bars, drives and a load that varies."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.known_pump import KnownPump
from ingest.measuring.drop_outs import drop_outs
from ingest.measuring.measurement import measure
from tests.measuring.measured_captures import recorded, trace

RATE_HZ = 25_000.0
TIME_S = np.arange(int(0.4 * RATE_HZ)) / RATE_HZ


def with_gaps(*gaps_s, left=0.5):
    current = 4.6 + 0.2 * np.sin(2 * np.pi * 700 * TIME_S)
    for from_s, to_s in gaps_s:
        first, last = np.searchsorted(TIME_S, (from_s, to_s))
        current[first:last] *= left
    return current


def test_gaps_are_counted_and_measured():
    found = drop_outs(with_gaps((0.05, 0.07), (0.12, 0.13), (0.31, 0.34)), RATE_HZ)
    assert found.count == 3
    assert found.mean_ms == pytest.approx(20, abs=1)
    assert found.left_share == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize(
    "current",
    [
        with_gaps(),
        with_gaps((0.1, 0.12)),  # once: switched, or a start
        with_gaps((0.1, 0.103), (0.2, 0.203)),  # a slow pump's bad bar
        with_gaps((0.05, 0.06), (0.12, 0.13), left=0.85),
        with_gaps(*((k * 0.02, k * 0.02 + 0.008) for k in range(1, 18))),  # a drive
        with_gaps((0.0, 0.3), (0.35, 0.36)),  # off more than on
        4.6 * (1 + 0.4 * np.sin(2 * np.pi * 12 * TIME_S) ** 3),  # vapour comes and goes
    ],
)
def test_what_is_no_contact(current):
    assert drop_outs(current, RATE_HZ) is None


def test_a_reading_says_so():
    capture, _ = recorded(trace(8))
    current, rate = capture.current_a.copy(), capture.sample_rate_hz
    for from_s, to_s in ((0.06, 0.075), (0.14, 0.152)):
        current[int(from_s * rate) : int(to_s * rate)] *= 0.5
    codes = {}
    for name, samples in (("whole", capture.current_a), ("gaps", current)):
        reading = measure(replace(capture, current_a=samples), KnownPump(segments=8))
        codes[name] = [note.code for note in reading.notes]
    assert "current-drops-out" not in codes["whole"]
    assert "current-drops-out" in codes["gaps"]
