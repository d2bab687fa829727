"""A pump type whose captures contradict its segments is asked about once, put right, and measured again."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.visit_rows import meter_reading
from ingest.measuring.measurement import METHOD_VERSION
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.visit.reanalysis import reanalyse
from ingest.visit.settling import settle_questions
from ingest.wording.measuring_notes import segments_contradicted, speed_open
from ingest.wording.stored import question_text
from tests.authors import ANYBODY
from tests.ledger_fixture import copied

RNG = np.random.default_rng(6)
READ = replace(meter_reading(5.0), method_version=METHOD_VERSION, segments=10)
CONTRADICTING = replace(READ, notes=(segments_contradicted(8, 10, 6012.3),))
SOUND = replace(READ, rpm=6000.0)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A type with ten segments told of it, called by a number."""
    path = tmp_path_factory.mktemp("made") / "fleet.duckdb"
    with open_ledger(path, read_only=False) as con:
        insert_row(con, "pump_type", {"pump_type": "400", "segments": 10})
    return path


@pytest.fixture
def ledger(made, tmp_path):
    return copied(made, tmp_path)


def log(ledger, unit, reading):
    capture = Capture(np.round(5 + RNG.normal(0, 0.1, 300), 3), 20_000.0)
    entry = VisitEntry(unit, visited_on=date(2026, 1, 10), odometer_km=5000.0, pump_type="400")
    log_visit(ledger, entry, capture, reading, {"unit-new": "bought"}, author=ANYBODY)


def asked(ledger):
    with open_ledger(ledger) as con:
        return con.execute(
            "SELECT question_id, row_key, details, text FROM question WHERE code = 'segments-told'"
        ).fetchall()


def test_two_that_contradict_and_none_that_bears_out_are_asked_about_once(ledger):
    log(ledger, "1", CONTRADICTING)
    assert asked(ledger) == []
    log(ledger, "2", CONTRADICTING)
    log(ledger, "3", CONTRADICTING)
    [(question_id, key, details, text)] = asked(ledger)
    assert key == "400"
    said = question_text("segments-told", details, text)
    assert "2 of 2 captures of pump type 400 look like 8 segments, and 10 are told" in said
    settle_questions(ledger, [question_id], "as-typed", "read off the part", ANYBODY, command="test")
    log(ledger, "4", CONTRADICTING)
    assert len(asked(ledger)) == 1


def test_as_many_that_bear_the_number_out_speak_for_it(ledger):
    for unit, reading in (("1", SOUND), ("2", CONTRADICTING), ("3", SOUND), ("4", CONTRADICTING)):
        log(ledger, unit, reading)
    assert asked(ledger) == []


def test_the_number_put_right_measures_the_captures_again(ledger):
    for unit in ("1", "2"):
        log(ledger, unit, CONTRADICTING)
    [(question_id, *_)] = asked(ledger)
    assert reanalyse(ledger).measured == 0
    settle_questions(ledger, [question_id], "value", "", ANYBODY, command="test")
    told = []

    def measured(capture, known):
        told.append(known.segments)
        return replace(READ, segments=known.segments, rpm=7500.0)

    assert reanalyse(ledger, measure_with=measured).measured == 2
    assert told == [8, 8]
    with open_ledger(ledger) as con:
        newest = con.execute("SELECT segments, rpm FROM current_reading").fetchall()
    assert newest == [(8, 7500.0), (8, 7500.0)]
    assert reanalyse(ledger, measure_with=measured).measured == 0


def test_a_speed_left_open_is_looked_for_once_more_when_the_segments_are_told(tmp_path):
    ledger = tmp_path / "l.duckdb"
    open_speed = replace(READ, segments=None, notes=(speed_open([6000.0, 3000.0], segments_told=False),))
    capture = Capture(np.round(5 + RNG.normal(0, 0.1, 300), 3), 20_000.0)
    for unit, pump_type in (("1", "400"), ("2", "401")):
        entry = VisitEntry(unit, visited_on=date(2026, 1, 10), odometer_km=5000.0, pump_type=pump_type)
        log_visit(
            ledger, entry, replace(capture, current_a=capture.current_a + int(unit)), open_speed,
            {"unit-new": "bought"}, author=ANYBODY,
        )  # fmt: skip
    assert reanalyse(ledger).measured == 0
    with open_ledger(ledger, read_only=False) as con:
        con.execute("UPDATE pump_type SET segments = 8 WHERE pump_type = '400'")

    def still_open(capture, known):
        return replace(open_speed, notes=(speed_open([6000.0, 3000.0], segments_told=True),))

    assert reanalyse(ledger, measure_with=still_open).measured == 1
    assert reanalyse(ledger, measure_with=still_open).measured == 0
