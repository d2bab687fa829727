"""Kill a repair between any two steps of putting the rebuilt ledger in the damaged one's place.

By hand: python -m tests.ledger.killed_repairs FOLDER. A process of its own, since it forks. Prints one JSON
object: kills, unmarked (the damaged ledger was left as it was), finished (by the next opening), wrong.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import shutil
import signal
import sys
from itertools import count
from pathlib import Path
from typing import Any

import duckdb

from ingest.durable import __file__ as durable_file
from ingest.ledger.connection import open_ledger
from ingest.ledger.damage import change_file
from ingest.ledger.numbers import new_ids
from ingest.ledger.repair_mark import __file__ as mark_file
from ingest.ledger.repair_mark import mark_of, take_place
from ingest.ledger.salvage import salvage
from ingest.ledger.upkeep import check_ledger
from tests.ledger.killed_upgrades import kill_before, run_apart

FILES = {mark_file, durable_file}
ROWS = 60_000


def make_damaged(path: Path) -> None:
    """Write a ledger with one unit and many readings, one block of which is damaged, and a change file."""
    whole = path.with_name("whole.duckdb")
    with open_ledger(whole, read_only=False) as connection:
        connection.execute("INSERT INTO vehicle (unit, recorded_at) VALUES ('214', now())")
        first = new_ids(connection, "reading", ROWS).start
        connection.execute(
            "INSERT INTO reading (reading_id, visit_id, origin, method_version, mean_a, rpm, recorded_at)"
            " SELECT ? + range, 1, 'elsewhere', range, random(), random(), now() FROM range(?)",
            [first, ROWS],
        )
    good = whole.read_bytes()
    for at in range(len(good) // 2, len(good), 100_000):
        path.write_bytes(good[:at] + bytes(b ^ 90 for b in good[at : at + 16]) + good[at + 16 :])
        if any(f.code == "table-unreadable" for f in check_ledger(path).findings) and _part_reads(path):
            return
    raise AssertionError("no block of the file holds a part of the readings")


def _part_reads(path: Path) -> bool:
    """Return whether the first or the last readings can be read, so that a repair has some to save."""
    for where in ("rowid < 2048", f"rowid >= {ROWS // 2048 * 2048}"):
        with contextlib.suppress(duckdb.Error), duckdb.connect(path, read_only=True) as connection:
            connection.execute(f"SELECT * FROM reading WHERE {where}").fetchall()
            return True
    return False


def demand_rebuilt(path: Path) -> None:
    """Raise AssertionError unless the ledger holds what could be read and names the loss."""
    with open_ledger(path, read_only=False) as connection:
        [(left,)] = connection.execute("SELECT count(*) FROM reading").fetchall()
        assert 0 < left < ROWS
        assert connection.execute("SELECT unit FROM vehicle").fetchall() == [("214",)]
        [(asked,)] = connection.execute(
            "SELECT count(*) FROM question WHERE code = 'changes-lost'"
        ).fetchall()
        assert asked == 1
        assert list(new_ids(connection, "reading")) == [ROWS + 1]


def kill_repairs(folder: Path) -> dict[str, Any]:
    """Take the place of a damaged ledger, killed before the 1st, 2nd, … line, until one run ends."""
    start, rebuilt, place = folder / "start.duckdb", folder / "rebuilt.duckdb", folder / "here"
    found: dict[str, Any] = {"kills": 0, "unmarked": 0, "finished": 0, "wrong": []}
    assert run_apart(lambda: make_damaged(start)) == 0
    shutil.copyfile(start, rebuilt)
    assert run_apart(lambda: salvage(rebuilt)) == 0
    before = start.read_bytes()
    ledger, fresh = place / "fleet.duckdb", place / "fleet.duckdb.repairing"
    kept = place / "fleet.duckdb.damaged-20260101T000000Z"
    for line in count(1):
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        shutil.copyfile(start, ledger)
        shutil.copyfile(rebuilt, fresh)
        change_file(ledger).touch()
        ended = run_apart(lambda n=line: (kill_before(n, FILES), take_place(ledger, fresh, kept)))
        if ended != -signal.SIGKILL:
            assert ended == 0
            break
        found["kills"] += 1
        if not ledger.exists():
            found["wrong"].append(f"before line {line}: nothing bears the ledger's name")
            continue
        if not mark_of(ledger).exists() and ledger.read_bytes() == before:
            found["unmarked"] += 1
            continue
        found["finished"] += 1
        if run_apart(lambda: demand_rebuilt(ledger)):
            found["wrong"].append(f"before line {line}: the next opening does not find it repaired")
        if not kept.exists() or kept.read_bytes() != before or not change_file(kept).exists():
            found["wrong"].append(f"before line {line}: the damaged ledger is not kept")
        if mark_of(ledger).exists() or fresh.exists():
            found["wrong"].append(f"before line {line}: it is not finished")
    return found


if __name__ == "__main__":
    logging.disable()
    assert os.name == "posix"
    print(json.dumps(kill_repairs(Path(sys.argv[1]))))
