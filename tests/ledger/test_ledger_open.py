"""Opening the ledger: created, waited for, upgraded after a copy, refused with a sentence."""

import logging
import subprocess
import sys
import threading
import time

import duckdb
import pytest

from ingest.errors import LedgerError
from ingest.ledger import migrations
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import copied


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "fleet.duckdb"
    with open_ledger(path, read_only=False):
        pass
    return path


@pytest.fixture
def ledger(made, tmp_path):
    return copied(made, tmp_path)


def test_a_missing_ledger_is_named_when_reading(tmp_path):
    with (
        pytest.raises(LedgerError, match="There is no ledger at"),
        open_ledger(tmp_path / "fleet.duckdb"),
    ):
        pass


@pytest.mark.of_a_file
def test_writing_creates_it_in_a_format_the_long_term_engine_opens(ledger):
    with open_ledger(ledger) as con:
        tables = {t for (t,) in con.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
        [(tags,)] = con.execute(
            "SELECT tags FROM duckdb_databases() WHERE database_name = 'fleet'"
        ).fetchall()
    assert {"vehicle", "pump", "visit", "reading", "schema_version"} <= tables
    assert tags["storage_version"].startswith("v1.5")


def test_what_is_not_committed_is_undone(ledger):
    def fail_half_way():
        with open_ledger(ledger, read_only=False) as con:
            con.execute("BEGIN")
            con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES ('1', now())")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail_half_way()
    with open_ledger(ledger) as con:
        assert con.execute("SELECT count(*) FROM vehicle").fetchall() == [(0,)]


@pytest.mark.of_a_file
def test_a_busy_ledger_is_waited_for(ledger):
    """Another process writes for half a second; both a reader and a writer get in afterwards."""
    for read_only in (True, False):
        other = hold(ledger, 0.5)
        with open_ledger(ledger, read_only=read_only) as con:
            assert left(ledger).exists()
            con.execute("SELECT 1").fetchall()
        other.wait()


@pytest.mark.of_a_file
def test_the_deadline_is_one_plain_sentence(ledger):
    other = hold(ledger, 60)
    for read_only in (True, False):
        with pytest.raises(LedgerError) as refused, open_ledger(ledger, read_only=read_only, wait_s=0.2):
            pass
        assert refused.value.code == "ledger-busy"
        assert "in use by another program" in refused.value.text
        assert "lock" not in refused.value.text.lower()
    other.kill()
    other.wait()


def test_a_writer_gets_in_although_readers_never_pause(ledger):
    stop = time.monotonic() + 20
    done = threading.Event()

    def read():
        while not done.is_set() and time.monotonic() < stop:
            with open_ledger(ledger, wait_s=20) as con:
                con.execute("SELECT count(*) FROM visit").fetchall()
                time.sleep(0.01)

    readers = [threading.Thread(target=read) for _ in range(4)]
    for reader in readers:
        reader.start()
    try:
        for i in range(5):
            with open_ledger(ledger, read_only=False, wait_s=20) as con:
                con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES (?, now())", [str(i)])
    finally:
        done.set()
        for reader in readers:
            reader.join()
    with open_ledger(ledger) as con:
        assert con.execute("SELECT count(*) FROM vehicle").fetchall() == [(5,)]


def test_opening_to_write_inside_an_open_ledger_is_caught_at_once(ledger):
    with open_ledger(ledger), open_ledger(ledger) as con:
        con.execute("SELECT 1").fetchall()
        with pytest.raises(RuntimeError, match="inside another"), open_ledger(ledger, read_only=False):
            pass


def test_a_newer_ledger_is_refused(ledger):
    with open_ledger(ledger, read_only=False) as con:
        con.execute("INSERT INTO schema_version VALUES (999, 'x', now())")
    for read_only in (True, False):
        with (
            pytest.raises(LedgerError, match="written by a newer pumpledger"),
            open_ledger(ledger, read_only=read_only),
        ):
            pass


def test_another_database_is_left_alone(tmp_path):
    path = tmp_path / "other.duckdb"
    with duckdb.connect(str(path)) as con:
        con.execute("CREATE TABLE t (i INTEGER)")
    before = path.read_bytes()
    with pytest.raises(LedgerError, match="not a pumpledger ledger"), open_ledger(path, read_only=False):
        pass
    assert path.read_bytes() == before


@pytest.mark.parametrize("what", ["text", "empty"])
def test_a_file_that_is_no_database_is_refused_in_one_sentence(tmp_path, what):
    path = tmp_path / "fleet.duckdb"
    path.write_text("unit,odometer\n" * 500 if what == "text" else "")
    with pytest.raises(LedgerError, match="damaged") as refused, open_ledger(path, read_only=False):
        pass
    assert "\n" not in refused.value.text


def test_a_missing_folder_is_named(tmp_path):
    with (
        pytest.raises(LedgerError, match="no folder"),
        open_ledger(tmp_path / "gone" / "fleet.duckdb", read_only=False),
    ):
        pass


@pytest.fixture
def newer_program(tmp_path, monkeypatch):
    """Pretend that the next version of the program has one more script."""
    folder = tmp_path / "sql"
    folder.mkdir()
    for script in migrations.scripts().values():
        (folder / script.name).write_text(script.read_text(encoding="utf-8"), encoding="utf-8")
    number = max(migrations.scripts()) + 1

    def add(text):
        (folder / f"{number:03d}_next.sql").write_text(text)
        monkeypatch.setattr(migrations, "SCRIPTS", folder)
        return number

    return add


@pytest.mark.of_a_file
@pytest.mark.parametrize("read_only", [True, False])
def test_an_older_ledger_is_upgraded_after_a_copy(ledger, newer_program, caplog, read_only):
    with open_ledger(ledger, read_only=False) as con:
        con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES ('007', now())")
    number = newer_program("ALTER TABLE vehicle ADD COLUMN colour VARCHAR; CREATE TABLE extra (i INTEGER);")
    with caplog.at_level(logging.WARNING), open_ledger(ledger, read_only=read_only) as con:
        assert con.execute("SELECT unit, colour FROM vehicle").fetchall() == [("007", None)]
        assert con.execute("SELECT max(version) FROM schema_version").fetchall() == [(number,)]
    copy = ledger.with_name(f"{ledger.name}.schema-{number - 1}")
    assert copy.name in caplog.text
    with duckdb.connect(str(copy), read_only=True) as con:
        assert con.execute("SELECT unit FROM vehicle").fetchall() == [("007",)]


@pytest.mark.of_a_file
def test_a_script_that_fails_leaves_the_ledger_as_it_was(ledger, newer_program, monkeypatch):
    before = migrations.SCRIPTS
    newer_program("CREATE TABLE extra (i INTEGER); INSERT INTO no_such_table VALUES (1);")
    with pytest.raises(LedgerError, match="was left as it was"), open_ledger(ledger):
        pass
    monkeypatch.setattr(migrations, "SCRIPTS", before)
    with open_ledger(ledger, read_only=False) as con:
        assert con.execute("SELECT 1 FROM duckdb_tables() WHERE table_name = 'extra'").fetchall() == []


def hold(path, seconds):
    """Start a process that has the ledger open to write for some seconds; return once it has. Just before it
    closes it, it writes the file `left`."""
    left(path).unlink(missing_ok=True)
    code = (
        "import pathlib, sys, time; from ingest.ledger.connection import open_ledger\n"
        "with open_ledger(sys.argv[1], read_only=False):\n"
        f"    print('in', flush=True); time.sleep({seconds}); pathlib.Path(sys.argv[2]).touch()"
    )
    command = [sys.executable, "-c", code, str(path), str(left(path))]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "in\n"
    return process


def left(path):
    return path.with_name("left")
