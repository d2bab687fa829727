"""What must hold of a ledger on PostgreSQL; run by test_server_ledger.py on the engine that reaches one.

By hand, with the extra `server` installed: pytest -n 0 tests/ledger/server_cases.py
"""

import io
import logging
import os
import signal
import subprocess
import sys
import tempfile
import time
from threading import Barrier, Thread, get_ident

import duckdb
import numpy as np
import pytest

from dashboard.cli import main
from dashboard.data.answers import stamp
from ingest.capture import Capture
from ingest.errors import LedgerError
from ingest.ledger import server_carrying as carrying
from ingest.ledger import server_engine as engine
from ingest.ledger.backup import backup
from ingest.ledger.connection import open_ledger
from ingest.ledger.gate import connect_once
from ingest.ledger.migrations import apply_script, scripts
from ingest.ledger.moving import move
from ingest.ledger.rows import insert_row
from ingest.ledger.tables import fingerprint, table_names
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.ledger.which_engine import of_catalogue
from ingest.server_address import server_of
from ingest.visit import logging_visit
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger
from tests.postgres import PASSWORD, running

VIEWS = ("visit_detail", "current_reading")


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with running(tmp_path_factory.mktemp("server")) as made:
        yield made


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("file") / "fleet.duckdb")


@pytest.fixture(scope="module")
def moved(server, file, tmp_path_factory):
    """A ledger moved to the server, for tests that leave it as it is."""
    folder = tmp_path_factory.mktemp("moved")
    move(build_ledger(folder / "fleet.duckdb"), server.address(folder / "fleet.toml"))
    return folder / "fleet.toml"


@pytest.fixture
def address(server, tmp_path):
    return server.address(tmp_path / "fleet.toml")


def cells(ledger, names=()):
    with open_ledger(ledger) as connection:
        return {name: fingerprint(connection, name) for name in names or table_names(connection)}


def words_of(said):
    """Return what a refusal says, and demand that no password is in it."""
    assert PASSWORD not in str(said.value)
    return said.value.text


def log(ledger, unit, current_a):
    entry = VisitEntry(unit, odometer_km=1000.0, meter_a=current_a)
    return log_visit(ledger, entry, None, None, {"unit-new": "bench"}, author=ANYBODY)


def test_it_goes_there_and_back_with_every_cell_and_the_views_are_the_files(server, file, moved, tmp_path):
    whole = cells(file)
    assert sum(rows for rows, _ in whole.values()) > 100
    assert cells(moved) == whole
    assert cells(moved, VIEWS) == cells(file, VIEWS)
    ask = "SELECT visit_id, pump_id FROM visit_rows($p) ORDER BY 1"
    with open_ledger(file) as a, open_ledger(moved) as b:
        for pump in (None, 1, 3, 99):
            assert a.execute(ask, {"p": pump}).fetchall() == b.execute(ask, {"p": pump}).fetchall()
        kinds = [[row[:2] for row in con.execute("DESCRIBE visit_detail").fetchall()] for con in (a, b)]
        assert [kind for kind in kinds[0] if kind[1] != "JSON"] == [
            there for here, there in zip(*kinds, strict=True) if here[1] != "JSON"
        ]
    address = server.address(tmp_path / "again.toml")
    source = build_ledger(tmp_path / "again.duckdb")
    assert move(source, address).kept.startswith("again.duckdb.moved-")
    assert not source.exists()
    with pytest.raises(LedgerError) as said:
        move(tmp_path / "again.duckdb", address)
    assert "There is no ledger" in said.value.text
    with pytest.raises(LedgerError) as said:
        move(build_ledger(tmp_path / "third.duckdb"), address)
    assert "holds a ledger already" in words_of(said)
    assert main(["move", str(address), str(tmp_path / "back.duckdb")]) == 0
    assert cells(tmp_path / "back.duckdb") == whole
    with pytest.raises(LedgerError) as said, open_ledger(address, read_only=False):
        pass
    assert "was moved away" in words_of(said)


def defaults(ledger):
    """Return each column's default, as a value of the column's own kind, by table and column."""
    with open_ledger(ledger) as con:
        kinds = {
            (name, column): kind
            for name in table_names(con)
            for column, kind, *_ in con.execute(f"DESCRIBE {name}").fetchall()
        }
        return {
            (name, column): con.execute(f"SELECT CAST({said} AS {kinds[name, column]})").fetchall()
            for name in table_names(con)
            for column, said in of_catalogue(con, "defaults", name)
        }


def test_what_a_row_leaves_out_is_what_the_file_says(file, moved):
    assert len(defaults(file)) > 15
    assert defaults(moved) == defaults(file)


def test_a_visit_is_stored_seen_and_backed_up(address, tmp_path):
    assert stamp(address) == ()
    assert log(address, "501", 5.0).stored
    before = stamp(address)
    assert before == stamp(address) != ()
    again = log(address, "501", 5.0)
    assert not again.stored
    with open_ledger(address) as reader:  # one moment, however long it reads
        assert reader.execute("SELECT count(*) FROM visit").fetchall() == [(1,)]
        writer = Thread(target=log, args=(address, "502", 6.0))  # this thread has it open
        writer.start()
        writer.join()
        assert reader.execute("SELECT count(*) FROM visit").fetchall() == [(1,)]
        with pytest.raises(duckdb.Error):
            reader.execute("DELETE FROM visit")
    assert stamp(address) != before
    assert check_ledger(address).sound
    made = backup(address, tmp_path / "copy.duckdb")
    assert made.rows["visit"] == 2
    assert cells(made.path) == cells(address)
    with open_ledger(address, read_only=False) as con:
        insert_row(con, "vehicle", {"unit": "9"})
        left = "SELECT system_v, clock FROM vehicle WHERE unit = '9'"
        assert con.execute(left).fetchall() == [(12.0, "distance")]


def test_an_older_one_is_upgraded_and_kept(server, address, tmp_path):
    newest = max(scripts())
    old = tmp_path / "old.duckdb"
    with connect_once(old, read_only=False) as con:
        for number, script in scripts().items():
            if number < newest:
                apply_script(con, number, script)
        con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES ('7', now())")
    where = server_of(address)
    with engine.turn(where, 5.0) as talk, pytest.MonkeyPatch.context() as patch:
        patch.setattr(carrying, "views", list)  # those of then are not told by today's scripts
        carrying.bring(talk, where, old)
    with open_ledger(address) as con:
        assert con.execute("SELECT max(version) FROM schema_version").fetchall() == [(newest,)]
        assert con.execute("SELECT unit, clock FROM vehicle").fetchall() == [("7", "distance")]
        assert con.execute("SELECT count(*) FROM visit_detail").fetchall() == [(0,)]
    with engine.talk(where) as talk:
        kept = f"{where.schema}_schema_{newest - 1}"
        assert talk.execute(f"SELECT unit FROM {kept}.vehicle").fetchall() == [("7",)]
        talk.execute(f"INSERT INTO {where.schema}.schema_version VALUES (999, 'x', now())")
    with pytest.raises(LedgerError) as said, open_ledger(address):
        pass
    assert "newer pumpledger" in words_of(said)


def test_writers_take_turns(moved):
    """One alone, or any number of different units' beside each other."""
    where = server_of(moved)

    def has_to_wait(unit):
        with pytest.raises(LedgerError) as said, engine.turn(where, 0.2, unit):
            pass
        assert "in use by another program" in words_of(said)

    with open_ledger(moved, read_only=False):
        has_to_wait(None)
        has_to_wait("501")
    with open_ledger(moved, read_only=False, unit="501"):
        has_to_wait(None)
        has_to_wait("501")
        with engine.turn(where, 0.2, "502"):
            pass


def test_the_same_capture_for_two_units_at_once_is_one_visit(server, address, monkeypatch):
    """Neither sees the other's; the server refuses the second its capture, and it then finds the first."""
    for unit in ("501", "502"):
        assert log(address, unit, 5.0).stored
    both, met, done = Barrier(2), set(), {}
    real = logging_visit.store_waveform

    def store_waveform(ledger, capture):
        if get_ident() not in met:  # the first time both have looked before either has stored
            met.add(get_ident())
            both.wait(timeout=20)
        return real(ledger, capture)

    monkeypatch.setattr(logging_visit, "store_waveform", store_waveform)
    capture = Capture(np.round(5 + np.random.default_rng(1).normal(0, 0.1, 2000), 3), 20_000.0)

    def store(unit):
        entry = VisitEntry(unit, odometer_km=1100.0)
        done[unit] = log_visit(address, entry, capture, meter_reading(5.0), author=ANYBODY)

    writers = [Thread(target=store, args=(unit,)) for unit in ("501", "502")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    first, second = sorted(done.values(), key=lambda one: not one.stored)
    assert (first.stored, second.stored) == (True, False)
    assert first.visit_id == second.visit_id
    assert "already in the ledger" in second.text
    with open_ledger(address, read_only=False) as con:
        kind = "SELECT current_setting(''transaction_isolation'')"
        con.execute("BEGIN")
        seen = con.execute(f"FROM postgres_query('{engine.NAME}', '{kind}')").fetchall()
        assert seen == [("repeatable read",)]
        numbers = con.execute("SELECT visit_id FROM visit ORDER BY 1").fetchall()
    assert len(numbers) == len(set(numbers)) == 3


def test_what_a_user_can_get_wrong_is_a_sentence(server, moved, tmp_path, monkeypatch):
    def refused(text, **more):
        path = tmp_path / "wrong.toml"
        if text is None:
            server.address(path, **more)
        else:
            path.write_text(text)
        with pytest.raises(LedgerError) as said, open_ledger(path):
            pass
        assert str(path) in words_of(said)
        return said.value.code

    wrong = tmp_path / "passfile"
    wrong.write_text("*:*:*:*:another-word\n")
    wrong.chmod(0o600)
    words = server.words.rpartition(" ")[0]
    assert refused(None, connection=f"{words} passfile={wrong}") == "server-refused"
    assert refused(None, connection=server.words.replace("dbname=postgres", "dbname=none")) == "no-database"
    assert refused(None, connection=server.words.replace("user=fleet", "user=eve")) == "server-refused"
    assert refused(None, connection=server.words.replace("port=", "port=1")) == "server-away"
    assert refused(None, connection="service=nowhere") == "no-service"
    assert refused(None, connection="host") == "bad-address"
    for word in ("password", "sslpassword", "oauth_client_secret", "scram_client_key"):
        assert refused(None, connection=f"{server.words} {word}={PASSWORD}") == "bad-address"
    assert refused(None, connection=f"postgresql://fleet:{PASSWORD}@h/d") == "bad-address"
    assert refused(None, schema="Fleet; DROP") == "bad-address"
    assert refused(None, pasword="x") == "bad-address"
    assert refused("[other]\n") == "bad-address"
    assert refused("[server\n") == "bad-address"
    with engine.talk(server_of(moved)) as talk:
        talk.execute("CREATE SCHEMA others")
        talk.execute("CREATE TABLE others.mine (a integer)")
    assert refused(None, schema="others") == "not-a-ledger"
    monkeypatch.setattr(engine, "OLDEST", 99)
    assert refused(None) == "server-older"


def test_without_the_extra_it_says_so(server, tmp_path, monkeypatch):
    address = server.address(tmp_path / "fleet.toml")
    with monkeypatch.context() as patch:
        patch.setitem(sys.modules, "psycopg", None)
        with pytest.raises(LedgerError, match=r"isn't installed: pip install"), open_ledger(address):
            pass
    monkeypatch.setattr(engine, "ENGINE", "1.5.6")
    with pytest.raises(LedgerError, match=r"needs the database engine 1\.5\.6"), open_ledger(address):
        pass


def test_no_password_is_told_and_no_setting_can_be_changed(moved):
    said = io.StringIO()
    handler = logging.StreamHandler(said)
    logging.getLogger().addHandler(handler)
    try:
        with open_ledger(moved, read_only=False) as con:
            for view in ("duckdb_databases()", "duckdb_settings()", "duckdb_secrets()", "duckdb_logs"):
                assert PASSWORD not in str(con.execute(f"FROM {view}").fetchall())
            for text in (
                "SET threads = 1",
                "SET autoload_known_extensions = true",
                "RESET lock_configuration",
            ):
                with pytest.raises(duckdb.Error, match="locked"):
                    con.execute(text)
    finally:
        logging.getLogger().removeHandler(handler)
    assert PASSWORD not in said.getvalue()


WRITER = """
import sys
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
for i in range(1000):
    entry = VisitEntry(f"{sys.argv[2]}-{i}", odometer_km=1000.0, meter_a=5.0)
    stored = log_visit(sys.argv[1], entry, None, None, {"unit-new": "bench"}, author=ANYBODY)
    print(stored.visit_id, flush=True)
"""


def test_kill_9_of_client_and_server_loses_nothing_acknowledged(server, moved):
    acknowledged, ended = set(), []
    visits = "SELECT visit_id FROM visit"
    with open_ledger(moved) as con:
        before = {number for (number,) in con.execute(visits).fetchall()}
    for round_, victim in enumerate(("client", "server")):
        with tempfile.TemporaryFile("w+") as out:
            command = [sys.executable, "-c", WRITER, moved, f"u{round_}"]
            writer = subprocess.Popen(command, stdout=out, stderr=subprocess.PIPE, text=True)
            while out.seek(0) or len(out.read().splitlines()) < 2 + round_:
                assert writer.poll() is None, writer.stderr.read()
                time.sleep(0.01)
            time.sleep(0.013 * round_)  # somewhere in the next one's work
            if victim == "client":
                os.kill(writer.pid, signal.SIGKILL)
            else:
                server.kill()
            ended.append(writer.communicate(timeout=60)[1])
            out.seek(0)
            acknowledged |= {int(line) for line in out.read().split()}
            if victim == "server":
                server.start()
    assert "LedgerError" in ended[1]
    assert len(acknowledged) >= 5
    with open_ledger(moved) as con:
        there = {number for (number,) in con.execute(visits).fetchall()} - before
        half = "SELECT count(*) FROM visit WHERE visit_id NOT IN (SELECT visit_id FROM reading)"
        assert con.execute(half).fetchall() == [(0,)]
    assert acknowledged <= there
    assert len(there) <= len(acknowledged) + 2  # one under way at each end
    assert check_ledger(moved).sound
    assert log(moved, "after", 5.0).stored
