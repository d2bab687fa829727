"""One ledger, one folder of waveforms, whatever the ledger's name is and by which link it is reached."""

import os
import time

import duckdb
import numpy as np
import pytest

from dashboard.cli import main
from ingest.capture import Capture
from ingest.errors import LedgerError
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.backup import backup
from ingest.ledger.connection import open_ledger
from ingest.ledger.salvage import salvage
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.ledger.waveform_home import MARK, ledger_id, owner
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.waveforms import store_waveform, waveform_folder
from tests.authors import ANYBODY
from tests.ledger.killed_upgrades import make_old


def capture(seed):
    return Capture(np.round(5 + np.random.default_rng(seed).normal(0, 0.1, 500), 3), 20_000.0, source="a.csv")


def log(ledger, seed, unit="214"):
    return log_visit(
        ledger,
        VisitEntry(unit, odometer_km=1000.0 + seed),
        capture(seed),
        meter_reading(5.0),
        {"unit-new": "new"},
        author=ANYBODY,
    )


def files(ledger):
    return sorted(path.stem for path in waveform_folder(ledger).glob("*.parquet"))


def make_old_files(ledger):
    yesterday = time.time() - 25 * 3600
    for path in waveform_folder(ledger).glob("*.parquet"):
        os.utime(path, (yesterday, yesterday))


@pytest.mark.parametrize("name", ["m5.db", "m5", "m5.waveforms", "m5.duckdb-waveforms"])
def test_ledgers_of_nearly_one_name_have_a_folder_each_and_cleaning_one_leaves_the_other_whole(
    tmp_path, name
):
    first, second = tmp_path / "m5.duckdb", tmp_path / name
    if name == "m5.waveforms":  # the name of the other's folder
        log(second, 2)
        with pytest.raises(LedgerError, match="can't be written"):
            log(first, 1)
        return
    log(first, 1)
    log(second, 2)
    for ledger in (first, second):
        make_old_files(ledger)
    for ledger in (first, second):
        assert check_ledger(ledger, clean=True).findings == ()
        assert len(files(ledger)) == 1


def test_a_link_leads_to_the_ledger_and_its_waveforms(tmp_path):
    (tmp_path / "real").mkdir()
    ledger, link = tmp_path / "real" / "fleet.duckdb", tmp_path / "linked.duckdb"
    log(ledger, 1)
    link.symlink_to(ledger)
    log(link, 2)
    assert len(files(ledger)) == len(files(link)) == 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["linked.duckdb", "real"]
    assert check_ledger(link).sound
    assert backup(link, tmp_path / "b.duckdb").waveforms == 2


def test_a_folder_carries_the_id_of_its_ledger_from_the_first_visit_on(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    log(ledger, 1)
    with open_ledger(ledger) as con:
        assert owner(waveform_folder(ledger)) == ledger_id(con)


@pytest.mark.of_a_file
@pytest.mark.parametrize("command", ["log", "load"])
def test_no_new_ledger_is_begun_beside_the_waveforms_of_one_that_is_gone(tmp_path, command):
    ledger = tmp_path / "fleet.duckdb"
    log(ledger, 1)
    kept = files(ledger)
    ledger.unlink()
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "vehicles.csv").write_text("unit\n214\n")
    begin = {"log": lambda: log(ledger, 2), "load": lambda: load_folder(ledger, folder, author=ANYBODY)}
    with pytest.raises(LedgerError, match="holds the waveforms of one"):
        begin[command]()
    assert not ledger.exists()
    assert files(ledger) == kept


def test_waveforms_of_another_ledger_are_neither_added_to_nor_cleaned_away(tmp_path, capsys):
    ledger, other = tmp_path / "fleet.duckdb", tmp_path / "other.duckdb"
    log(ledger, 1)
    log(other, 2)
    other.replace(ledger)  # somebody put the wrong ledger in the place of this one
    make_old_files(ledger)
    kept = files(ledger)
    assert main(["check", "--ledger", str(ledger)]) == 1
    assert "waveforms of another ledger" in capsys.readouterr().out
    assert main(["check", "--clean", "--ledger", str(ledger)]) == 1
    assert "waveforms of another ledger" in capsys.readouterr().err
    with pytest.raises(LedgerError, match="waveforms of another ledger"):
        log(ledger, 3)
    assert files(ledger) == kept


def test_a_backup_does_not_mix_its_waveforms_with_another_ledgers(tmp_path):
    ledger, other = tmp_path / "fleet.duckdb", tmp_path / "other.duckdb"
    log(ledger, 1)
    log(other, 2)
    other.unlink()
    kept = files(other)
    with pytest.raises(LedgerError, match="waveforms of another ledger"):
        backup(ledger, other)
    assert files(other) == kept
    assert not other.exists()


def test_an_older_ledger_that_shared_a_folder_gets_its_own_with_its_files(tmp_path):
    ledger = tmp_path / "m5.db"
    make_old(ledger, 5)
    wave = capture(1)
    stored = store_waveform(tmp_path / "m5.duckdb", wave)
    store_waveform(tmp_path / "m5.duckdb", capture(2))  # another ledger's
    with duckdb.connect(ledger) as con:
        con.execute(
            "INSERT INTO capture (capture_hash, sample_rate_hz, samples, start_s, stored_as, recorded_at)"
            " VALUES (?, 20000, 500, 0, 'int16', now())",
            [wave.identity],
        )
    with open_ledger(ledger):
        pass
    assert files(ledger) == [wave.identity]
    assert stored.path.exists()
    assert check_ledger(ledger).waveforms == 1


@pytest.mark.of_a_file
def test_a_rebuilt_ledger_is_still_the_one_its_waveforms_belong_to(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    log(ledger, 1)
    salvage(ledger)
    assert check_ledger(ledger, clean=True).sound
    assert (waveform_folder(ledger) / MARK).exists()
    log(ledger, 2)


def test_what_a_killed_backup_left_of_waveforms_is_cleared_a_day_later(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    log(ledger, 1)
    left = tmp_path / "old.waveforms.backup.part"
    (left / ".copying").mkdir(parents=True)
    (left / ".copying" / "abc.parquet").write_bytes(b"half")
    os.utime(left, (time.time() - 2 * 86_400,) * 2)
    backup(ledger, tmp_path / "b.duckdb")
    assert not left.exists()
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.of_a_file
def test_the_engine_fetches_nothing_and_its_settings_stand(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    log(ledger, 1)
    for read_only in (True, False):
        with open_ledger(ledger, read_only=read_only) as con:
            found = dict(con.execute("SELECT name, value FROM duckdb_settings()").fetchall())
            assert found["autoinstall_known_extensions"] == "false"
            assert found["autoload_known_extensions"] == "false"
            assert found["lock_configuration"] == "true"
            for said in (
                "SET threads = 1",
                "SET autoload_known_extensions = true",
                "RESET lock_configuration",
            ):
                with pytest.raises(duckdb.Error, match="locked"):
                    con.execute(said)
            with pytest.raises(duckdb.Error, match="httpfs"):
                con.execute("SELECT * FROM 'http://127.0.0.1:9/rows.csv'")
    with open_ledger(ledger) as one, open_ledger(ledger) as two:
        assert one.execute("SELECT 1").fetchall() == two.execute("SELECT 1").fetchall()
