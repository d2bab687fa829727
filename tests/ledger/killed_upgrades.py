"""Kill an upgrade between any two of its statements, and look at what it leaves.

By hand: python -m tests.ledger.killed_upgrades FOLDER VERSION STRIDE. VERSION is the schema to upgrade from,
0 for a new ledger; with STRIDE 1 it is killed before every line of the upgrade's own code, hence before and
after every statement of every script. However long the stride, one more upgrade stops before each of these
lines and its files are looked at: a program that is killed leaves on the system's side what it has written
until then, no more and no less. A process of its own, since it forks: it never touches the engine, only its
children do. Prints one JSON object: kills, looks, old and new (how often the whole old, the whole new ledger
was found), wrong (sentences).
"""

from __future__ import annotations

import json
import logging
import os
import shutil
import signal
import sys
import traceback
from collections.abc import Callable, Sequence
from datetime import date
from itertools import count
from pathlib import Path
from types import FrameType
from typing import Any

import duckdb

import ingest.durable
import ingest.ledger.connection
from ingest.ledger import migrations
from ingest.ledger.connection import open_ledger
from ingest.ledger.damage import change_file

OURS = {m.__file__ for m in (migrations, ingest.ledger.connection, ingest.durable)}
LOOK_EVERY = 192
UNITS = [(str(n),) for n in range(3)]


def run_apart(work: Callable[[], object]) -> int:
    """Run `work` in a child process; returns its exit code, negative for a signal."""
    child = os.fork()
    if child == 0:
        try:
            work()
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def kill_before(line: int, files: set[str | None] = OURS) -> None:
    """Kill this process, as kill -9 does, before the code in `files` runs its `line`-th line."""
    left = line

    def on_line(frame: FrameType, event: str, argument: Any) -> Any:
        nonlocal left
        left -= event == "line"
        if left <= 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return on_line

    sys.settrace(lambda frame, event, argument: on_line if frame.f_code.co_filename in files else None)


def make_old(path: Path, version: int, settings: Sequence[tuple[str, date]] = ()) -> None:
    """Write a ledger of an earlier schema with three vehicles, three pumps and the limits of ripple set."""
    with duckdb.connect(str(path), config={"storage_compatibility_version": "v1.5.0"}) as connection:
        for number, script in migrations.scripts().items():
            if number <= version:
                migrations.apply_script(connection, number, script)
        connection.executemany("INSERT INTO vehicle (unit, recorded_at) VALUES (?, now())", UNITS)
        connection.executemany(
            "INSERT INTO pump (pump_id, unit, pump_type, recorded_at) VALUES (?::INTEGER + 1, ?, 'A', now())",
            [(unit, unit) for (unit,) in UNITS],
        )
        for value, entered_on in settings:
            connection.execute(
                "INSERT INTO setting (key, value, recorded_at) VALUES ('ripple_limit_pct', ?, ?)",
                [value, entered_on],
            )


def open_and_close(path: Path) -> None:
    """Open as any program does."""
    with open_ledger(path, read_only=False):
        pass


def demand_whole(path: Path, *, rows: bool) -> None:
    """Raise AssertionError unless the ledger opens, is of the newest schema, and has its rows."""
    with open_ledger(path) as connection:
        newest = connection.execute("SELECT max(version) FROM schema_version").fetchall()
        assert newest == [(max(migrations.scripts()),)]
        if rows:
            assert connection.execute("SELECT unit FROM vehicle ORDER BY unit").fetchall() == UNITS
            assert connection.execute("SELECT unit FROM pump ORDER BY pump_id").fetchall() == UNITS


def kill_upgrades(folder: Path, version: int, stride: int) -> dict[str, Any]:
    """Upgrade from `version`, killed before every `stride`-th line, until one run comes to its end; and look
    at what lay there before each line of it, which is what a kill just then would have left."""
    start, place = folder / "start.duckdb", folder / "here"
    found: dict[str, Any] = {"kills": 0, "looks": 0, "old": 0, "new": 0, "wrong": []}
    if version:
        assert run_apart(lambda: make_old(start, version)) == 0
    ledger = place / "fleet.duckdb"
    for line in count(stride, stride):
        _begin(place, start)
        ended = run_apart(lambda n=line: (kill_before(n), open_and_close(ledger)))
        if ended != -signal.SIGKILL:
            assert ended == 0
            break
        found["kills"] += 1
        place.rename(folder / f"kill-{line:05d}")
    _begin(place, start)
    looks = folder / "looks"
    assert run_apart(lambda: (look_before_each_line(place, looks), open_and_close(ledger))) == 0
    found["looks"] = int(looks.read_text())
    examined = folder / "examined"
    assert run_apart(lambda: _examine(folder, start, version, examined)) == 0
    found |= json.loads(examined.read_text())
    found["old"] += found["looks"] - found.pop("kept")  # nothing was written to these since the start
    return found


def _begin(place: Path, start: Path) -> None:
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    if start.exists():
        shutil.copyfile(start, place / "fleet.duckdb")


def look_before_each_line(place: Path, looks: Path) -> None:
    """Keep a copy of `place` before each line at which the ledger isn't as it was, and before every
    LOOK_EVERY-th at which it is; how many lines there were goes into the file `looks`."""
    ledger = place / "fleet.duckdb"
    lines = 0

    def state() -> tuple[int, ...]:
        files = (ledger, change_file(ledger))
        return tuple(n for f in files if f.exists() for n in (f.stat().st_ino, f.stat().st_mtime_ns))

    before = state()

    def on_line(frame: FrameType, event: str, argument: Any) -> Any:
        nonlocal lines
        if event == "line":
            lines += 1
            if lines % LOOK_EVERY == 0 or state() != before:
                shutil.copytree(place, looks.with_name(f"look-{lines:05d}"))
            looks.write_text(str(lines))
        return on_line

    sys.settrace(lambda frame, event, argument: on_line if frame.f_code.co_filename in OURS else None)


def _examine(folder: Path, start: Path, version: int, examined: Path) -> None:
    """Look at every place that a kill or a look left, open it, and write what was found to `examined`."""
    sys.settrace(None)
    before = start.read_bytes() if version else None
    found: dict[str, Any] = {"old": 0, "new": 0, "kept": 0, "wrong": []}
    for place in sorted([*folder.glob("kill-*"), *folder.glob("look-*")]):
        found["kept"] += place.name.startswith("look")
        ledger = place / "fleet.duckdb"
        left = ledger.read_bytes() if ledger.exists() else None
        is_old = left == before and not change_file(ledger).exists()
        found["old" if is_old else "new"] += 1
        what = "neither the old ledger nor the new"
        try:
            if not is_old:
                demand_new(ledger)
            what = "does not open"
            open_and_close(ledger)
            demand_whole(ledger, rows=version > 0)
        except Exception as error:
            found["wrong"].append(f"{place.name}: {what} ({error})")
        if list(place.glob("*.upgrading*")):
            found["wrong"].append(f"{place.name}: a copy is left over")
        shutil.rmtree(place)
    examined.write_text(json.dumps(found))


def demand_new(path: Path) -> None:
    """Raise AssertionError unless the file is of the newest schema before anything of ours opens it."""
    with duckdb.connect(str(path), read_only=True) as connection:
        newest = connection.execute("SELECT max(version) FROM schema_version").fetchall()
    assert newest == [(max(migrations.scripts()),)]


if __name__ == "__main__":
    logging.disable()
    if sys.argv[1] == "open":
        open_and_close(Path(sys.argv[2]))
        demand_whole(Path(sys.argv[2]), rows=False)
    else:
        at, from_version, every = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
        print(json.dumps({"engine": duckdb.__version__} | kill_upgrades(at, from_version, every)))
