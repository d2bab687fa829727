"""Measuring again adds readings by the new method, in order of time, and goes on where it stopped."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from dashboard.cli import main
from ingest.capture import Capture
from ingest.chains.running import Run
from ingest.errors import CaptureRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.visit.reanalysis import reanalyse
from ingest.waiting import waiting_folder
from ingest.waveforms import waveform_path
from tests.authors import ANYBODY
from tests.ledger_fixture import copied

RNG = np.random.default_rng(4)
OLD = replace(meter_reading(5.0), method_version=1, rpm=6000.0)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "fleet.duckdb"
    for i in range(6):
        capture = Capture(np.round(5 + i + RNG.normal(0, 0.1, 300), 3), 20_000.0)
        entry = VisitEntry(str(i % 2), visited_on=date(2026, 1, 10 - i), odometer_km=5000.0 - 100 * i)
        answers = {"unit-new": "n", "odometer-below-last": "late entry", "date-before-last": "late entry"}
        log_visit(path, entry, capture, OLD, answers, author=ANYBODY)
    return path


@pytest.fixture
def ledger(made, tmp_path):
    return copied(made, tmp_path)


def second_method(capture, known):
    """Speed is the last visit's plus one, so that the order shows; the average is the trace's."""
    before = known.expected_rpm
    rpm = 7000.0 if before is None or before == 6000 else before + 1
    return replace(OLD, method_version=2, mean_a=float(capture.current_a.mean()), rpm=rpm)


def readings(path):
    with open_ledger(path) as con:
        return con.execute(
            "SELECT visit_id, method_version, rpm, origin FROM reading ORDER BY visit_id, method_version"
        ).fetchall()


def test_a_reading_is_added_and_the_old_one_kept(ledger):
    before = readings(ledger)
    made = reanalyse(ledger, method_version=2, measure_with=second_method)
    assert made.measured == 6
    assert made.failed == ()
    after = readings(ledger)
    assert [r for r in after if r[1] == 1] == before
    # Visits 5, 3, 1 of unit 0 in order of date: each knows the speed found anew at the one before.
    speeds = {v: rpm for v, method, rpm, _ in after if method == 2}
    assert speeds == {5: 7000, 3: 7001, 1: 7002, 6: 7000, 4: 7001, 2: 7002}
    with open_ledger(ledger) as con:
        newest = con.execute("SELECT DISTINCT method_version FROM visit_detail").fetchall()
    assert newest == [(2,)]


def test_again_changes_nothing(ledger):
    reanalyse(ledger, method_version=2, measure_with=second_method)
    before = readings(ledger)
    assert reanalyse(ledger, method_version=2, measure_with=second_method).measured == 0
    assert readings(ledger) == before


def test_an_interrupted_run_goes_on_where_it_stopped(ledger):
    asked = []

    def counted(capture, known):
        asked.append(capture.identity)
        return second_method(capture, known)

    def stop_at_the_third(done, of):
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        reanalyse(ledger, method_version=2, measure_with=counted, progress=stop_at_the_third)
    assert all(r[1] == 1 for r in readings(ledger))  # one transaction stores all, at the end
    assert len(asked) == 3
    assert waiting_folder(ledger).is_dir()
    assert reanalyse(ledger, method_version=2, measure_with=counted).measured == 6
    assert len(asked) == len(set(asked)) == 6
    assert not waiting_folder(ledger).exists()
    straight_through = {5: 7000, 3: 7001, 1: 7002, 6: 7000, 4: 7001, 2: 7002}
    assert {v: rpm for v, method, rpm, _ in readings(ledger) if method == 2} == straight_through


def test_what_waits_once_its_rows_are_stored_goes_with_the_next_run(ledger, monkeypatch):
    with monkeypatch.context() as killed:
        killed.setattr(Run, "published", lambda _: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            reanalyse(ledger, method_version=2, measure_with=second_method)
    assert len(list(waiting_folder(ledger).iterdir())) == 2
    assert reanalyse(ledger, method_version=2, measure_with=second_method).measured == 0
    assert not waiting_folder(ledger).exists()


def test_what_cannot_be_measured_is_named_and_left_alone(ledger):
    with open_ledger(ledger) as con:
        [(gone,)] = con.execute("SELECT capture_hash FROM visit WHERE visit_id = 5").fetchall()
    waveform_path(ledger, gone).unlink()

    def refuse_one(capture, known):
        if capture.current_a.mean() > 9.5:
            raise CaptureRefused("too-short", "too short to measure.")
        return second_method(capture, known)

    made = reanalyse(ledger, method_version=2, measure_with=refuse_one)
    assert made.measured == 4
    assert [f[:7] for f in made.failed] == ["Visit 6", "Visit 5"]
    assert "is missing; restore it from a backup" in made.failed[1]


def test_the_command_measures_what_an_older_method_left_and_then_nothing(ledger, capsys):
    assert main(["reanalyse", "--ledger", str(ledger)]) == 0
    assert "6 visits measured again" in capsys.readouterr().out
    assert main(["reanalyse", "--ledger", str(ledger)]) == 0
    assert "0 visits measured again" in capsys.readouterr().out


def test_what_was_told_of_the_pump_is_known_again(tmp_path):
    """Told on the first visit, kept with it and with the next; a pump of another type is not touched."""
    path = tmp_path / "fleet.duckdb"
    told = {"motor": "brushless", "supply": "pwm", "segments": 12, "poles": 4}
    for i in range(3):
        capture = Capture(np.round(5 + i + RNG.normal(0, 0.1, 300), 3), 20_000.0)
        entry = VisitEntry("1" if i < 2 else "2", visited_on=date(2026, 1, 10 + i), odometer_km=5000.0 + i)
        entry = replace(entry, **told) if i == 0 else entry
        log_visit(path, entry, capture, OLD, {"unit-new": "n"}, author=ANYBODY)
    knew = []

    def note(capture, known):
        knew.append({name: getattr(known, name) for name in told})
        return replace(OLD, method_version=2)

    reanalyse(path, method_version=2, measure_with=note)
    assert knew == [told, told, {"motor": "brushed", "supply": "direct", "segments": None, "poles": None}]
    with open_ledger(path) as con:
        seen = con.execute(
            "SELECT motor, supply, segments, poles FROM visit_detail ORDER BY visit_id"
        ).fetchall()
    assert seen == [tuple(told.values())] * 2 + [("brushed", "direct", None, None)]
