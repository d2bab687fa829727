"""`check`: what is missing, left over, damaged or stored twice is named; repair saves what can be read."""

import json
import os
import time
from datetime import date

import duckdb
import numpy as np
import pytest

from dashboard.cli import main
from ingest.capture import Capture
from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.numbers import new_ids
from ingest.ledger.rows import insert_row
from ingest.ledger.salvage import salvage
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.waiting import keep_rows, waiting_folder
from ingest.waveforms import store_waveform, waveform_folder, waveform_path
from ingest.wording.stored import question_text
from tests.authors import ANYBODY
from tests.ledger_fixture import copied

RNG = np.random.default_rng(7)


def capture(level=5.0, name="bay.csv"):
    return Capture(np.round(level + RNG.normal(0, 0.1, 500), 3), 20_000.0, source=name)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "fleet.duckdb"
    log_visit(
        path,
        VisitEntry("214", odometer_km=1000.0),
        capture(),
        meter_reading(5.0),
        {"unit-new": "new"},
        author=ANYBODY,
    )
    return path


@pytest.fixture
def ledger(made, tmp_path):
    return copied(made, tmp_path)


def codes(checked):
    return [f.code for f in checked.findings]


def test_a_sound_ledger(ledger):
    checked = check_ledger(ledger)
    assert checked.sound
    assert checked.findings == ()
    assert checked.waveforms == 1
    assert checked.rows["visit"] == 1


def test_a_missing_waveform_is_named_with_its_visit(ledger):
    [path] = waveform_folder(ledger).glob("*.parquet")
    path.unlink()
    checked = check_ledger(ledger)
    assert not checked.sound
    [finding] = checked.findings
    assert finding.code == "waveform-missing"
    assert path.name[:12] in finding.text
    assert "visit 1 of unit 214" in finding.text


@pytest.mark.parametrize("damage", ["flip", "cut", "swap"])
def test_a_damaged_waveform_is_named_with_its_visit(ledger, damage):
    [path] = waveform_folder(ledger).glob("*.parquet")
    content = path.read_bytes()
    if damage == "flip":
        path.write_bytes(content[:60] + bytes([content[60] ^ 255]) + content[61:])
    elif damage == "cut":
        path.write_bytes(content[:-20])
    else:  # a sound file under the wrong name
        other = store_waveform(ledger, capture(6.0))
        other.path.replace(path)
    checked = check_ledger(ledger)
    assert codes(checked) == ["waveform-damaged"]
    assert "visit 1 of unit 214" in checked.findings[0].text
    assert not checked.sound


def test_a_waveform_without_a_visit_is_harmless_and_adopted_with_a_question(ledger):
    stored = store_waveform(ledger, capture(4.0, "left.csv"))
    assert codes(check_ledger(ledger)) == ["orphan"]
    assert check_ledger(ledger).sound
    assert codes(check_ledger(ledger, adopt=True)) == ["orphan-adopted"]
    assert codes(check_ledger(ledger, adopt=True)) == []
    with open_ledger(ledger) as con:
        assert con.execute(
            "SELECT row_key, code, status FROM question WHERE table_name = 'capture'"
        ).fetchall() == [(stored.capture_hash, "capture-without-visit", "open")]
        assert con.execute(
            "SELECT samples, file_name FROM capture WHERE capture_hash = ?", [stored.capture_hash]
        ).fetchall() == [(500, "left.csv")]


def test_cleaning_removes_old_leftovers_only(ledger):
    stored = store_waveform(ledger, capture(4.0))
    part = stored.path.with_name("abc.12345678.part")
    part.write_bytes(b"half")
    keep_rows(waiting_folder(ledger), "a pump", [{}])
    assert codes(check_ledger(ledger, clean=True)) == ["orphan", "unfinished", "measured"]
    assert stored.path.exists()
    yesterday = time.time() - 25 * 3600
    for path in (stored.path, part, *waiting_folder(ledger).iterdir()):
        os.utime(path, (yesterday, yesterday))
    found = codes(check_ledger(ledger, clean=True))
    assert found == ["orphan-removed", "unfinished-removed", "measured-removed"]
    assert not stored.path.exists()
    assert not waiting_folder(ledger).exists()
    assert not part.exists()
    assert check_ledger(ledger).findings == ()


def test_an_old_leftover_that_a_visit_is_about_to_use_is_young_again(ledger):
    again = capture(4.0)
    stored = store_waveform(ledger, again)
    yesterday = time.time() - 25 * 3600
    os.utime(stored.path, (yesterday, yesterday))
    assert not store_waveform(ledger, again).written
    check_ledger(ledger, clean=True)
    assert stored.path.exists()


def test_broken_references_doubles_and_overlaps_are_named(ledger):
    with open_ledger(ledger, read_only=False) as con:
        con.execute(
            "INSERT INTO visit (visit_id, unit, pump_id, visited_on, capture_hash, recorded_at)"
            " SELECT 2, unit, 99, visited_on, capture_hash, recorded_at FROM visit"
        )
        insert_row(con, "pump", {"unit": "214", "pump_type": "unknown"})
        insert_row(con, "service", {"unit": "9", "done_on": date(2026, 1, 1), "work": "filter"})
    texts = [f.text for f in check_ledger(ledger).findings]
    assert "visit 2: pump 99 is missing." in texts
    assert "visit 2: a reading is missing." in texts
    assert "service 1: unit 9 is missing." in texts
    assert any("in visits 1, 2" in t for t in texts)
    assert "Unit 214, position main: pumps 1 and 2 overlap in time." in texts


def test_the_command_reports_and_sets_the_exit_code(ledger, capsys):
    assert main(["check", "--ledger", str(ledger)]) == 0
    assert "Nothing is wrong." in capsys.readouterr().out
    waveform_path(ledger, next(waveform_folder(ledger).glob("*.parquet")).stem).unlink()
    assert main(["check", "--ledger", str(ledger), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["sound"] is False
    assert found["findings"][0]["code"] == "waveform-missing"


@pytest.fixture
def large(ledger):
    """A ledger whose readings fill many blocks."""
    with open_ledger(ledger, read_only=False) as con:
        con.execute(
            "INSERT INTO reading (reading_id, visit_id, origin, method_version, mean_a, rpm, ripple_pct,"
            " recorded_at) SELECT 10 + range, 1, 'elsewhere', range, random(), random(), random(), now()"
            " FROM range(130000)"
        )
        new_ids(con, "visit", 2)  # as visits that were given up had
        con.execute("DELETE FROM reading WHERE method_version % 1000 = 7 AND origin = 'elsewhere'")
    return ledger


def damage_a_block_of_readings(path):
    """Overwrite a few bytes, from the middle on, where a table needs them."""
    good = path.read_bytes()
    for at in range(len(good) // 2, len(good), 100_000):
        path.write_bytes(good[:at] + bytes(b ^ 90 for b in good[at : at + 16]) + good[at + 16 :])
        if any(f.code == "table-unreadable" for f in check_ledger(path).findings):
            return
    raise AssertionError("no block of the file is in use")


@pytest.mark.of_a_file
def test_a_damaged_block_is_named_and_the_rest_saved(large, capsys):
    with open_ledger(large) as con:
        [(total,)] = con.execute("SELECT count(*) FROM reading").fetchall()
        before = con.execute("SELECT * FROM visit").fetchall()
    damage_a_block_of_readings(large)
    damaged = large.read_bytes()
    assert main(["check", "--ledger", str(large)]) == 1
    assert "The table reading can't be read" in capsys.readouterr().out
    assert large.read_bytes() == damaged  # looking changes nothing

    assert main(["check", "--ledger", str(large), "--repair"]) == 0
    said = capsys.readouterr().err
    [kept] = large.parent.glob("fleet.duckdb.damaged-*")
    assert kept.read_bytes() == damaged
    assert kept.name in said
    with open_ledger(large, read_only=False) as con:
        [(saved,)] = con.execute("SELECT count(*) FROM reading").fetchall()
        assert con.execute("SELECT * FROM visit").fetchall() == before
        asked = "SELECT code, details, text FROM question WHERE code = 'changes-lost'"
        [lost] = con.execute(asked).fetchall()
        visit = {"unit": "1", "pump_id": 1, "visited_on": date(2026, 1, 1)}
        assert insert_row(con, "visit", visit) == 4  # 3 was given out and is not given again
    assert 0.5 * total < saved < total
    assert f"{total - saved} of reading" in question_text(*lost)


@pytest.mark.of_a_file
def test_what_is_beyond_repair_is_left_alone(ledger):
    content = ledger.read_bytes()
    ledger.write_bytes(content[:20_000])
    with pytest.raises(LedgerError, match="restore a backup"):
        salvage(ledger)
    assert len(ledger.read_bytes()) == 20_000
    assert not list(ledger.parent.glob("*.repaired-*"))


@pytest.mark.of_a_file
def test_the_saved_ledger_opens_in_the_engine_alone(large):
    salvage(large)
    with duckdb.connect(str(large), read_only=True) as con:
        assert con.execute("SELECT count(*) FROM visit_detail").fetchall() == [(1,)]
