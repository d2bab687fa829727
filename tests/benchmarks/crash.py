"""Kill a program at random points of its work, many times: is anything acknowledged lost, or half written?

Run by hand: python -m tests.benchmarks.crash [--log 120] [--load 60] [--reanalyse 60] [--migrate 60]
"""

from __future__ import annotations

import argparse
import atexit
import logging
import multiprocessing
import random
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from ingest.capture import Capture
from ingest.fleet_folder.loading import load_folder
from ingest.known_pump import KnownPump
from ingest.ledger import migrations
from ingest.ledger.connection import open_ledger
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.visit.reanalysis import reanalyse
from ingest.waiting import waiting_folder
from tests.authors import ANYBODY

log = logging.getLogger(__name__)
CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(["tests.benchmarks.crash"])
VISITS_PER_FOLDER = 40
STORED_VISITS = 30
NEXT_SCRIPT = """
ALTER TABLE vehicle ADD COLUMN colour VARCHAR;
CREATE TABLE extra AS SELECT range AS i FROM range(200000);
"""


@dataclass
class Tally:
    """Kills, work acknowledged before them, and what was found wrong afterwards."""

    kills: int = 0
    acknowledged: int = 0
    before_the_end: int = 0  # kills that came while the program was still at work
    wrong: list[str] = field(default_factory=list)


def acknowledge(acks: Path, text: str) -> None:
    """Write a line the way a program tells its user: after the work is done."""
    with acks.open("a") as file:
        file.write(text + "\n")


def log_on(ledger: Path, acks: Path, seed: int) -> None:
    """Log visits until killed."""
    rng = np.random.default_rng(seed)
    for i in range(10_000):
        capture = Capture(np.round(5 + rng.normal(0, 0.1, 4000), 3), 20_000.0)
        entry = VisitEntry(f"unit {seed}", odometer_km=1000.0 + i, done=("filter",))
        logged = log_visit(ledger, entry, capture, meter_reading(5.0), {"unit-new": "bench"}, author=ANYBODY)
        acknowledge(acks, str(logged.capture_hash))


def load_on(ledger: Path, acks: Path, seed: int) -> None:
    """Load fleet folders, each its own unit, until killed."""
    for i in range(100):
        name = f"{seed}-{i}"
        folder = ledger.parent / f"folder-{name}"
        folder.mkdir()
        (folder / "vehicles.csv").write_text(f"unit,depot\n{name},North\n")
        lines = [f"{name},2026-01-01,{1000 + k},{5 + k / 100}" for k in range(VISITS_PER_FOLDER)]
        lines = [
            line.replace("2026-01-01", str(date.fromordinal(738_000 + k))) for k, line in enumerate(lines)
        ]
        (folder / "visits.csv").write_text("unit,visited_on,odometer,mean_a\n" + "\n".join(lines) + "\n")
        load_folder(ledger, folder, author=ANYBODY)
        acknowledge(acks, name)


def second_method(capture: Capture, known: KnownPump) -> Any:
    """Stand for a newer way of measuring."""
    time.sleep(0.002)
    return replace(meter_reading(float(capture.current_a.mean())), method_version=2)


def reanalyse_on(ledger: Path, acks: Path, seed: int) -> None:
    """Measure everything again; each visit has a pump of its own, so that many chains wait soon."""
    reanalyse(ledger, method_version=2, measure_with=second_method)
    acknowledge(acks, "all")


def migrate_on(ledger: Path, acks: Path, seed: int) -> None:
    """Open the ledger with a program that knows one script more."""
    migrations.SCRIPTS = ledger.parent / "sql"
    with open_ledger(ledger):
        pass
    acknowledge(acks, "upgraded")


def wait_for(acks: Path, lines: int, child: Any) -> None:
    """Let the child get so far, however slow the machine is."""
    while child.is_alive() and len(lines_of(acks)) < lines:
        time.sleep(0.002)


def lines_of(acks: Path) -> list[str]:
    """Return the whole lines that were written."""
    return (
        [line[:-1] for line in acks.read_text().splitlines(keepends=True) if line.endswith("\n")]
        if acks.exists()
        else []
    )


def after_log(ledger: Path, acks: list[str]) -> list[str]:
    """Every acknowledged capture once; each visit with its reading and service."""
    with open_ledger(ledger) as con:
        rows = con.execute("SELECT capture_hash FROM visit").fetchall()
        [(services,)] = con.execute("SELECT count(*) FROM service").fetchall()
    stored = [h for (h,) in rows]
    wrong = [f"lost {h[:8]}" for h in acks if stored.count(h) != 1]
    if services != len(stored):
        wrong.append(f"{len(stored)} visits, {services} services")
    return wrong


def after_load(ledger: Path, acks: list[str]) -> list[str]:
    """Every acknowledged folder whole; no other folder in part."""
    with open_ledger(ledger) as con:
        counts = dict(con.execute("SELECT unit, count(*) FROM visit GROUP BY unit").fetchall())
    wrong = [f"folder {n}: {counts.get(n, 0)} visits" for n in acks if counts.get(n) != VISITS_PER_FOLDER]
    return wrong + [f"part of {n}: {c}" for n, c in counts.items() if c != VISITS_PER_FOLDER]


def after_reanalyse(ledger: Path, acks: list[str]) -> list[str]:
    """No old reading gone, no new one twice, and a second run finishes the work."""
    with open_ledger(ledger) as con:
        done = dict(con.execute("SELECT method_version, count(*) FROM reading GROUP BY 1").fetchall())
    wrong = [] if done.get(0) == STORED_VISITS else ["an old reading is gone"]
    if acks and done.get(2) != STORED_VISITS:
        wrong.append(f"acknowledged, but {done.get(2)} new readings")
    if done.get(2, 0) not in (0, STORED_VISITS):
        wrong.append(f"{done[2]} new readings of {STORED_VISITS}")
    made = reanalyse(ledger, method_version=2, measure_with=second_method)
    if made.measured + done.get(2, 0) != STORED_VISITS:
        wrong.append(f"{made.measured} more after {done.get(2, 0)}")
    if waiting_folder(ledger).exists():
        wrong.append("rows are left waiting")
    return wrong


def after_migrate(ledger: Path, acks: list[str]) -> list[str]:
    """The old schema or the new one, whole; and the next opening ends with the new one and all the data."""
    before = migrations.SCRIPTS
    migrations.SCRIPTS = ledger.parent / "sql"
    try:
        with open_ledger(ledger) as con:
            [(extra,)] = con.execute("SELECT count(*) FROM extra").fetchall()
            [(visits,)] = con.execute("SELECT count(*) FROM visit").fetchall()
            con.execute("SELECT colour FROM vehicle").fetchall()
            checked = []
    finally:
        migrations.SCRIPTS = before
    return checked + (
        [] if (extra, visits) == (200_000, STORED_VISITS) else [f"{extra} rows, {visits} visits"]
    )


@dataclass(frozen=True)
class Job:
    """What to kill: the work, how far it may get, whether it starts from stored visits, the verdict."""

    work: Callable[[Path, Path, int], None]
    steps: int  # acknowledgements waited for, at most
    longest_s: float  # and then this long, at most
    from_visits: bool
    afterwards: Callable[[Path, list[str]], list[str]]


JOBS = {
    "log": Job(log_on, 3, 0.5, False, after_log),
    "load": Job(load_on, 1, 1.0, False, after_load),
    "reanalyse": Job(reanalyse_on, 0, 0.6, True, after_reanalyse),
    "migrate": Job(migrate_on, 0, 1.5, True, after_migrate),
}


@cache
def ledger_with_visits() -> Path:
    """Return a folder with a ledger of STORED_VISITS units with a visit each, and the next program's scripts
    beside it: made once, to be copied."""
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    ledger = folder / "fleet.duckdb"
    rng = np.random.default_rng(0)
    for i in range(STORED_VISITS):
        capture = Capture(np.round(5 + rng.normal(0, 0.1, 400), 3), 20_000.0)
        log_visit(
            ledger,
            VisitEntry(str(i), odometer_km=1e3),
            capture,
            meter_reading(5.0),
            {"unit-new": "bench"},
            author=ANYBODY,
        )
    (folder / "sql").mkdir()
    for script in migrations.scripts().values():
        shutil.copy(script, folder / "sql")
    (folder / "sql" / f"{max(migrations.scripts()) + 1:03d}_next.sql").write_text(NEXT_SCRIPT)
    return folder


def kill_many(name: str, kills: int, folder: Path, seed: int = 1) -> Tally:
    """Start the work, kill it at a random moment, look; `kills` times, on one ledger or fresh ones."""
    job = JOBS[name]
    draw = random.Random(seed)
    tally = Tally()
    place = folder / name
    for number in range(kills):
        if job.from_visits:
            shutil.rmtree(place, ignore_errors=True)
            shutil.copytree(ledger_with_visits(), place)
        place.mkdir(exist_ok=True)
        ledger, acks = place / "fleet.duckdb", place / "acks"
        child = CONTEXT.Process(target=job.work, args=(ledger, acks, number))
        child.start()
        wait_for(acks, len(lines_of(acks)) + draw.randint(0, job.steps), child)
        time.sleep(draw.uniform(0, job.longest_s))
        tally.before_the_end += child.is_alive()
        child.kill()
        child.join()
        tally.kills += 1
        if not ledger.exists():
            tally.wrong += ["acknowledged without a ledger"] if lines_of(acks) else []
            continue
        tally.wrong += [f"{name} {number}: {text}" for text in job.afterwards(ledger, lines_of(acks))]
        if name != "migrate":
            findings = check_ledger(ledger).findings
            tally.wrong += [f"{name} {number}: {f.text}" for f in findings if f.level == "problem"]
            tally.wrong += [f"{name} {number}: {f.text}" for f in findings if f.code == "changes-lost"]
        if job.from_visits:
            tally.acknowledged += len(lines_of(acks))
        log.info("%s: %d of %d kills, wrong so far: %s", name, number + 1, kills, tally.wrong or "nothing")
    if not job.from_visits:
        tally.acknowledged = len(lines_of(place / "acks"))
    return tally


def main() -> None:
    """Run and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name, default in (("log", 120), ("load", 60), ("reanalyse", 60), ("migrate", 60)):
        parser.add_argument(f"--{name}", type=int, default=default)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    with tempfile.TemporaryDirectory() as folder:
        for name in JOBS:
            tally = kill_many(name, getattr(args, name), Path(folder), args.seed)
            print(
                f"{name}: {tally.kills} kills ({tally.before_the_end} while at work),"
                f" {tally.acknowledged} acknowledged, wrong: {tally.wrong or 'nothing'}",
                flush=True,
            )


if __name__ == "__main__":
    main()
