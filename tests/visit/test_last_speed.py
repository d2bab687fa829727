"""The last visit's speed is expected until two captures since that agree lead to another one."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.last_speed import outweighed, speed_too_far
from ingest.ledger.visit_rows import meter_reading
from ingest.measuring.measurement import METHOD_VERSION
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import known_before_measuring, log_visit
from ingest.wording.measuring_notes import speed_far, speed_open
from tests.authors import ANYBODY

READ = replace(meter_reading(5.0), method_version=METHOD_VERSION)
RNG = np.random.default_rng(8)


def far(rpm):
    return replace(READ, notes=(speed_far(rpm, 12_000.0),))


@pytest.mark.parametrize(
    ("since", "gives_way"),
    [
        ([], False),
        ([6000.0], False),
        ([6000.0, 6100.0], True),
        ([6000.0, None, 6100.0], True),  # untold for another reason says nothing
        ([6000.0, 3000.0], False),
        ([6000.0, 3000.0, 3100.0], True),
    ],
)
def test_two_that_agree_stand_against_one(since, gives_way):
    assert outweighed(since) is gives_way


def test_only_a_speed_left_untold_for_the_last_visits_counts():
    assert speed_too_far(far(6000.0).notes) == 6000.0
    assert speed_too_far((speed_open([6000.0, 3000.0], True),)) is None


def test_a_speed_told_at_double_gives_way_in_the_ledger_too(tmp_path):
    ledger, expected = tmp_path / "fleet.duckdb", []
    readings = [replace(READ, rpm=12_000.0), far(6000.0), far(6100.0), replace(READ, rpm=6050.0)]
    for month, reading in enumerate(readings, start=1):
        entry = VisitEntry("1", visited_on=date(2026, month, 10), odometer_km=1000.0 * month, state="idle")
        expected.append(known_before_measuring(ledger, entry).previous_rpm)
        capture = Capture(np.round(5 + RNG.normal(0, 0.1, 300), 3), 20_000.0)
        log_visit(ledger, entry, capture, reading, {"unit-new": "bought"}, author=ANYBODY)
    later = VisitEntry("1", visited_on=date(2026, 9, 10), state="idle")
    expected.append(known_before_measuring(ledger, later).previous_rpm)
    assert expected == [None, 12_000.0, 12_000.0, None, 6050.0]
