"""A backup is made while others write, verified, complete, and restored by copying."""

import json
import os
import shutil
import threading
import time

import numpy as np
import pytest

from dashboard.cli import main
from ingest.capture import Capture
from ingest.errors import LedgerError
from ingest.fleet_folder.export import export_ledger
from ingest.ledger import backup as module
from ingest.ledger.backup import backup
from ingest.ledger.connection import open_ledger
from ingest.ledger.moving import _bring_waveforms
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.waveforms import load_waveform, store_waveform, waveform_folder
from tests.authors import ANYBODY
from tests.ledger_fixture import copied

RNG = np.random.default_rng(9)


def log(path, odometer_km):
    capture = Capture(np.round(5 + RNG.normal(0, 0.1, 300), 3), 20_000.0)
    return log_visit(
        path,
        VisitEntry("214", odometer_km=odometer_km),
        capture,
        meter_reading(5.0),
        {"unit-new": "n"},
        author=ANYBODY,
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "fleet.duckdb"
    for i in range(3):
        log(path, 1000.0 + i)
    return path


@pytest.fixture
def ledger(made, tmp_path):
    return copied(made, tmp_path)


def test_it_is_a_ledger_itself_and_restores_by_copying(ledger, tmp_path, capsys):
    copy = tmp_path / "safe" / "before.duckdb"
    assert main(["backup", "--ledger", str(ledger), "--to", str(copy), "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert made["rows"]["visit"] == 3
    assert made["waveforms"] == 3
    ledger.unlink()
    shutil.rmtree(waveform_folder(ledger))
    shutil.copyfile(copy, ledger)
    shutil.copytree(waveform_folder(copy), waveform_folder(ledger))
    assert check_ledger(ledger).findings == ()
    with open_ledger(ledger) as con:
        hashes = con.execute("SELECT capture_hash FROM visit").fetchall()
    assert all(load_waveform(ledger, h).identity == h for (h,) in hashes)


def test_it_works_while_others_write_and_holds_whole_visits_only(ledger, tmp_path):
    done = threading.Event()

    def write():
        try:
            for i in range(12):
                log(ledger, 1010.0 + i)
        finally:
            done.set()

    writer = threading.Thread(target=write)
    writer.start()
    copies = []
    while (not done.is_set() and len(copies) < 20) or not copies:
        copies.append(backup(ledger, tmp_path / f"b{len(copies)}.duckdb"))
    writer.join()
    assert check_ledger(ledger).rows["visit"] == 15
    for made in copies:
        checked = check_ledger(made.path)
        assert checked.findings == ()
        assert checked.rows["visit"] == checked.rows["reading"] == made.waveforms


@pytest.mark.of_a_file
def test_a_copy_that_differs_is_given_up(ledger, tmp_path, monkeypatch):
    damage = "import sys; d = open(sys.argv[1], 'rb').read(); open(sys.argv[2], 'wb').write(d[: len(d) // 2])"
    monkeypatch.setattr(module, "_COPY", damage)
    with pytest.raises(LedgerError, match=r"can't be read back|differs"):
        backup(ledger, tmp_path / "b.duckdb")
    assert not list(tmp_path.glob("b.duckdb*"))


def test_an_existing_file_and_a_bad_place_are_refused(ledger, tmp_path):
    with pytest.raises(LedgerError, match="is there already"):
        backup(ledger, ledger)
    (tmp_path / "file").write_text("x")
    with pytest.raises(LedgerError, match="can't be written to"):
        backup(ledger, tmp_path / "file" / "b.duckdb")


def test_a_missing_waveform_is_named_and_the_rest_copied(ledger, tmp_path, capsys):
    next(waveform_folder(ledger).glob("*.parquet")).unlink()
    assert main(["backup", "--ledger", str(ledger), "--to", str(tmp_path / "b.duckdb")]) == 1
    assert "has no waveform file to copy" in capsys.readouterr().out
    assert len(list(waveform_folder(tmp_path / "b.duckdb").glob("*.parquet"))) == 2


def test_a_damaged_waveform_is_named_never_called_verified_and_no_sound_copy_is_lost(
    ledger, tmp_path, capsys
):
    copy = tmp_path / "b.duckdb"
    assert backup(ledger, copy).whole
    copy.unlink()
    victim = next(waveform_folder(ledger).glob("*.parquet"))
    content = victim.read_bytes()
    victim.write_bytes(content[: len(content) // 2] + b"\x00" + content[len(content) // 2 + 1 :])
    assert main(["backup", "--ledger", str(ledger), "--to", str(copy)]) == 1
    said = capsys.readouterr().out
    assert f"{victim.stem[:12]}… is damaged and was not copied" in said
    assert "verified" not in said
    assert (waveform_folder(copy) / victim.name).read_bytes() == content  # of the backup before
    assert check_ledger(copy).sound
    fresh = backup(ledger, tmp_path / "c.duckdb")
    assert fresh.damaged == (victim.stem,)
    assert not (waveform_folder(fresh.path) / victim.name).exists()


def test_what_killed_programs_left_unfinished_is_cleared_a_day_later(ledger, tmp_path):
    old, young = tmp_path / "a.duckdb.backup.part", tmp_path / "b.duckdb.backup.part"
    half = tmp_path / ".out.export-unfinished-x1"
    half.mkdir()
    for path in (old, young, half / "vehicles.csv"):
        path.write_text("half")
    two_days_ago = time.time() - 2 * 86_400
    for path in (old, half):
        os.utime(path, (two_days_ago, two_days_ago))
    backup(ledger, tmp_path / "safe.duckdb")
    export_ledger(ledger, tmp_path / "out")
    assert not old.exists()
    assert not half.exists()
    assert young.exists()


def test_a_move_misses_no_waveform_that_is_at_the_new_place_already(tmp_path):
    source, to = tmp_path / "a.duckdb", tmp_path / "b.toml"
    hashes = [(store_waveform(to, Capture(RNG.normal(5, 0.1, 300), 20_000.0)).capture_hash,), ("0" * 64,)]
    assert _bring_waveforms(source, to, hashes, None) == ("0" * 64,)
