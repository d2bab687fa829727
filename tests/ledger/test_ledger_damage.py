"""After a crash or on a bad disk: the last good state, a copy kept, the loss named; never silence."""

import logging
import os
import shutil
import subprocess
import sys

import pytest

from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.damage import change_file, walk_frames

pytestmark = pytest.mark.of_a_file

VISITS = 12


@pytest.fixture(scope="module")
def crashed_once(tmp_path_factory):
    """A ledger whose writer was killed after VISITS acknowledged visits: all of them in the change file."""
    path = tmp_path_factory.mktemp("crashed") / "fleet.duckdb"
    with open_ledger(path, read_only=False):
        pass
    code = f"""
import os, sys
from ingest.ledger.connection import open_ledger
with open_ledger(sys.argv[1], read_only=False) as con:
    for i in range({VISITS}):
        con.execute("BEGIN")
        con.execute("INSERT INTO visit (visit_id, unit, pump_id, visited_on, note, recorded_at) VALUES"
                    " (1 + ?, ?, 1, DATE '2026-01-01', repeat('x', 200), now()::TIMESTAMP)", [i, str(i)])
        con.execute("COMMIT")
    os.kill(os.getpid(), 9)
"""
    subprocess.run([sys.executable, "-c", code, str(path)], check=False)
    assert change_file(path).exists()
    return path


@pytest.fixture
def crashed(crashed_once, tmp_path):
    for file in (crashed_once, change_file(crashed_once)):
        shutil.copyfile(file, tmp_path / file.name)
    return tmp_path / crashed_once.name


def units(path):
    with open_ledger(path) as con:
        return [u for (u,) in con.execute("SELECT unit FROM visit ORDER BY visit_id").fetchall()]


def kept(path):
    return list(path.parent.glob(f"{path.name}.wal.kept-*"))


def test_every_acknowledged_visit_survives_a_kill_without_a_word(crashed, caplog):
    assert units(crashed) == [str(i) for i in range(VISITS)]
    assert not change_file(crashed).exists()
    assert not caplog.records
    assert not kept(crashed)


def test_the_frames_of_a_sound_change_file_end_at_its_end(crashed):
    state = walk_frames(change_file(crashed).read_bytes())
    assert state.whole
    assert state.commits == VISITS


def cut_tail(content):
    return content[:-10]


def flip_last_payload(content):
    return content[:-5] + bytes([content[-5] ^ 255]) + content[-4:]


def flip_middle_payload(content):
    at = walk_frames(content).frames[VISITS] + 30
    return content[:at] + bytes([content[at] ^ 255]) + content[at + 1 :]


def flip_middle_size(content):
    at = walk_frames(content).frames[VISITS] + 4
    return content[:at] + bytes([content[at] ^ 255]) + content[at + 1 :]


def lose_header(content):
    return bytes(20) + content[20:]


def rubbish_at_the_end(content):
    return content + b"\x37" * 100


def nothing_at_the_end(content):
    return content + bytes(100)


@pytest.mark.parametrize(
    ("damage", "left"),
    [
        (cut_tail, VISITS - 1),
        (flip_last_payload, VISITS - 1),
        (flip_middle_payload, None),
        (flip_middle_size, None),
        (lose_header, 0),
        (rubbish_at_the_end, VISITS),
        (nothing_at_the_end, VISITS),
    ],
)
@pytest.mark.parametrize("read_only", [True, False])
def test_a_damaged_change_file_is_kept_and_the_loss_named(crashed, caplog, damage, left, read_only):
    found = damage(change_file(crashed).read_bytes())
    change_file(crashed).write_bytes(found)
    with caplog.at_level(logging.WARNING), open_ledger(crashed, read_only=read_only):
        pass
    now = units(crashed)
    assert now == [str(i) for i in range(len(now))]  # the earliest ones, without a gap
    assert len(now) == left if left is not None else 0 < len(now) < VISITS
    [copy] = kept(crashed)
    assert copy.read_bytes() == found
    assert copy.name in caplog.text
    assert "last good state" in caplog.text
    with open_ledger(crashed) as con:
        questions = con.execute("SELECT code, status FROM question").fetchall()
    assert questions == [("changes-lost", "open")]
    with open_ledger(crashed, read_only=False) as con:  # and work goes on
        con.execute(
            "INSERT INTO visit (visit_id, unit, pump_id, visited_on, recorded_at)"
            " VALUES (99, 'new', 1, DATE '2026-01-02', now()::TIMESTAMP)"
        )
    assert units(crashed) == [*now, "new"]
    assert len(caplog.records) == 1


def test_a_cut_ledger_file_is_refused_with_what_to_do(crashed):
    units(crashed)
    content = crashed.read_bytes()
    crashed.write_bytes(content[: len(content) // 2])
    with pytest.raises(LedgerError, match="pumpledger check --repair") as refused:
        units(crashed)
    assert refused.value.code == "ledger-damaged"
    assert crashed.read_bytes() == content[: len(content) // 2]


@pytest.mark.skipif(os.name != "posix", reason="needs file size limits")
def test_a_full_disk_is_one_sentence_and_loses_nothing(tmp_path):
    path = tmp_path / "fleet.duckdb"
    with open_ledger(path, read_only=False) as con:
        con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES ('1', now())")
    code = f"""
import resource, sys
from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
limit = {path.stat().st_size + 2_000_000}
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
done = 1
try:
    while True:
        with open_ledger(sys.argv[1], read_only=False) as con:
            con.execute("BEGIN")
            con.execute("INSERT INTO vehicle (unit, model, recorded_at) SELECT ? || '-' || range, (SELECT"
                        " string_agg(chr((65 + random() * 50)::INT), '') FROM range(200)) || range, now()"
                        " FROM range(4000)", [str(done)])
            con.execute("COMMIT")
        done += 4000
except LedgerError as error:
    print(done, error.code, error.text, sep="|")
"""
    run = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True)
    done, error_code, text = run.stdout.strip().split("|")
    assert error_code == "disk-full", run
    assert "disk is full" in text
    with open_ledger(path) as con:
        [(count,)] = con.execute("SELECT count(*) FROM vehicle").fetchall()
    assert count == int(done)


@pytest.mark.skipif(os.name != "posix", reason="needs file size limits")
def test_a_change_file_that_finds_no_room_in_the_ledger_is_read_where_it_is(crashed):
    code = """
import os, resource, sys
from ingest.ledger.connection import open_ledger
limit = os.stat(sys.argv[1]).st_size
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
with open_ledger(sys.argv[1]) as con:
    print(con.execute("SELECT count(*) FROM visit").fetchall())
"""
    run = subprocess.run(
        [sys.executable, "-c", code, str(crashed)], capture_output=True, text=True, timeout=60
    )
    assert run.stdout == f"[({VISITS},)]\n", run.stderr
    assert change_file(crashed).exists()
    assert units(crashed) == [str(i) for i in range(VISITS)]
    assert not change_file(crashed).exists()
