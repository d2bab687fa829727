"""Kill each command, and each save of a page, at random moments: the ledger as before, as after, or between?

Beside tests.benchmarks.crash, which kills those that write most. Each job is run to its end once; then it is
begun on a fresh copy and killed (-9) at a random moment of the time that took, again and again. Afterwards
the ledger must open, `check` must find nothing wrong, and each table must hold its rows from before or from
after; where a job is one transaction, all tables alike. The job run again must leave it sound.

    python -m tests.benchmarks.crash_commands [--kills 300] [--seed 1] [--seconds 800]
"""

from __future__ import annotations

import argparse
import io
import multiprocessing
import random
import shutil
import tempfile
import time
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from analytics.scheduling import bookings
from dashboard.cli import COMMANDS, main
from ingest.fleet_folder.one_fact import CONNECTION_NOTES, add_facts, read_facts
from ingest.intake.setting_up import add_unit
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import set_setting
from ingest.ledger.tables import fingerprint, table_names
from ingest.ledger.upkeep import check_ledger
from ingest.visit import claims, corrections, holds, photos, pump_lives, settling
from ingest.visit.entry import VisitEntry
from ingest.visit.instrument_cluster import replace_cluster
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv

CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(  # what a command would bring in only when it is called
    ["tests.benchmarks.crash_commands", "ingest.measuring.measurement", "analytics.learning.fitting"]
    + [f"dashboard.commands.{name}" for name in COMMANDS]
)
Rows = dict[str, int]
SOON = date.today() + timedelta(days=20)


@dataclass(frozen=True)
class Job:
    """Work on the ledger `fleet.duckdb` of a folder; whole: in one transaction."""

    work: Callable[[Path], object]
    whole: bool = True


def _says(*words: str) -> Callable[[Path], object]:
    def command(folder: Path) -> None:
        with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()) as said:
            code = main([word.format(here=folder) for word in (*words, "--ledger", "{here}/fleet.duckdb")])
        if code:
            raise RuntimeError(f"{words}: {said.getvalue()}")

    return command


def _saves(function: Callable[..., object], *values: object, **more: object) -> Callable[[Path], object]:
    return lambda folder: function(folder / "fleet.duckdb", *values, author=ANYBODY, **more)


def _photo() -> bytes:
    made = io.BytesIO()
    dots = np.random.default_rng(1).integers(0, 255, (300, 400, 3), np.uint8)
    Image.fromarray(dots).save(made, "JPEG")
    return made.getvalue()


def _note(folder: Path) -> object:
    typed = read_facts(CONNECTION_NOTES, {"make": "Alder", "model": "Carrier", "fuse": "F3"}, "km")
    return add_facts(
        folder / "fleet.duckdb", CONNECTION_NOTES, typed, author=ANYBODY, reason="seen", command="page"
    )


def _visit(folder: Path) -> object:
    return log_visit(
        folder / "fleet.duckdb", VisitEntry("102", odometer_km=140_000.0, done=("filter",)),
        small_capture(mean_a=5.3), None, {}, author=ANYBODY, most_questions=0,
    )  # fmt: skip


JOBS: dict[str, Job] = {
    "log": Job(_says("log", "{here}/c.csv", "--unit=101", "--odometer=150000 km", "--done=filter")),
    "add": Job(_says("add", "unit", "999", "depot=North", "pump_type=FP-10")),
    "take": Job(_says("take", "{here}/captures", "--store"), whole=False),
    "clamp": Job(_says("clamp", "blue", "--factor=100mV/A", "--owner=Kim")),
    "hold": Job(_says("hold", "FP-10", "--why=seized")),
    "load": Job(_says("load", "{here}/folder"), whole=False),
    "cost": Job(_says("cost", "--set=failure_replacement=3100", "--confirm")),
    "rank --refit": Job(_says("rank", "--refit"), whole=False),
    "plan --book-all": Job(_says("plan", "--book-all"), whole=False),
    "backtest": Job(_says("backtest", "--cutoffs=2"), whole=False),
    "forget": Job(_says("forget", "TK", "--really")),
    "check --clean": Job(_says("check", "--clean")),
    "backup": Job(_says("backup", "--to={here}/copy.duckdb")),
    "export": Job(_says("export", "{here}/exported")),
    "reanalyse": Job(_says("reanalyse"), whole=False),
    "page: visit": Job(_visit),
    "page: correct": Job(_saves(corrections.correct_visit, 3, {"note": "read again"}, reason="slip")),
    "page: withdraw": Job(_saves(corrections.withdraw_visit, 4, reason="wrong unit")),
    "page: replace": Job(
        _saves(pump_lives.replace_pump, "103", pump_lives.Removal("failed"), on=date.today(), odometer_km=2e5)
    ),
    "page: service": Job(_saves(pump_lives.record_service, "103", "filter", on=date(2026, 1, 2))),
    "page: breakdown": Job(_saves(pump_lives.record_breakdown, "103", on=date(2026, 1, 2))),
    "page: cluster": Job(
        _saves(replace_cluster, "105", on=date.today(), old_km=200_000.0, new_km=10.0)
    ),
    "page: photo": Job(_saves(photos.add_photo, 5, "p.jpg", _photo())),
    "page: hold": Job(_saves(holds.begin_hold, "FP-20", None, "seized")),
    "page: claim": Job(_saves(claims.state_claim, 4, "sent", on=date.today())),
    "page: setting": Job(_saves(set_setting, "ripple_limit_pct", 17.0, reason="tried")),
    "page: question": Job(
        lambda folder: settling.settle_questions(
            folder / "fleet.duckdb", [1], "as-typed", "seen on the cluster", ANYBODY, command="page"
        )
    ),
    "page: note": Job(_note),
    "page: unit": Job(_saves(add_unit, {"unit": "998", "depot": "South"})),
    "page: booking": Job(_saves(bookings.pin, 2, SOON, reason="it is here then")),
}  # fmt: skip


def work(name: str, folder: Path) -> None:
    """Do a job, in a process of its own."""
    JOBS[name].work(folder)


def rows(ledger: Path) -> Rows:
    """Return how many rows each table has."""
    with open_ledger(ledger) as connection:
        return {name: fingerprint(connection, name)[0] for name in table_names(connection)}


def started(folder: Path) -> Path:
    """Put in a folder what the jobs need."""
    folder.mkdir()
    build_ledger(folder / "fleet.duckdb")
    write_capture_csv(folder / "c.csv", small_capture())
    (folder / "captures").mkdir()
    for i, unit in enumerate(("101", "102", "103")):
        write_capture_csv(folder / "captures" / f"{unit}.csv", small_capture(mean_a=5.1 + i / 10))
    (folder / "folder").mkdir()
    (folder / "folder" / "vehicles.csv").write_text(
        "unit,depot\n" + "".join(f"L{i},North\n" for i in range(40))
    )
    lines = [f"L{i},2026-01-{1 + i % 28:02d},{1000 + i},{5 + i / 100}" for i in range(40)]
    (folder / "folder" / "visits.csv").write_text(
        "unit,visited_on,odometer,mean_a\n" + "\n".join(lines) + "\n"
    )
    log_visit(
        folder / "fleet.duckdb", VisitEntry("101", odometer_km=140_000.0), small_capture(mean_a=6.1),
        author=ANYBODY, most_questions=0,
    )  # fmt: skip
    return folder


def killed(name: str, folder: Path, after_s: float) -> bool:
    """Begin the job and kill it; returns whether it was still at work."""
    child = CONTEXT.Process(target=work, args=(name, folder))
    child.start()
    child.join(after_s)
    at_work = child.is_alive()
    child.kill()
    child.join()
    return at_work


def wrong_with(job: Job, folder: Path, before: Rows, after: Rows) -> list[str]:
    """Say what is wrong after a kill, and after a second run to the end."""
    ledger = folder / "fleet.duckdb"
    there = rows(ledger)
    wrong = [
        f.text for f in check_ledger(ledger).findings if f.level == "problem" or f.code == "changes-lost"
    ]
    if job.whole and there not in (before, after):
        wrong.append(f"neither before nor after: {_between(there, before, after)}")
    if not all(min(before[n], after[n]) <= there[n] <= max(before[n], after[n]) for n in before):
        wrong.append(f"rows of neither: {_between(there, before, after)}")
    for copy in folder.glob("copy.duckdb"):
        if rows(copy) != before:
            wrong.append("a backup that is not whole")
    return wrong


def _between(there: Rows, before: Rows, after: Rows) -> str:
    return ", ".join(
        f"{n} {before[n]}/{there[n]}/{after[n]}" for n in before if not before[n] == there[n] == after[n]
    )


def report() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=800)
    parser.add_argument("--only", nargs="*", default=list(JOBS))
    args = parser.parse_args()
    draw = random.Random(args.seed)
    until = time.monotonic() + args.seconds
    kills = at_work = 0
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as there:
        folder = Path(there)
        start, here = started(folder / "start"), folder / "here"
        before = rows(start / "fleet.duckdb")
        for number, name in enumerate(args.only):
            job = JOBS[name]

            def afresh() -> None:
                shutil.rmtree(here, ignore_errors=True)
                shutil.copytree(start, here)

            afresh()
            began = time.monotonic()
            child = CONTEXT.Process(target=work, args=(name, here))
            child.start()
            child.join()
            took = time.monotonic() - began
            if child.exitcode:
                print(f"{name}: ended with {child.exitcode}", flush=True)
                continue
            after = rows(here / "fleet.duckdb")
            mine = (args.kills - kills) // (len(args.only) - number)
            for kill in range(mine):
                if time.monotonic() > until:
                    break
                afresh()
                at_work += killed(name, here, draw.uniform(0.1 * took, 1.05 * took))
                kills += 1
                wrong += [f"{name}: {text}" for text in wrong_with(job, here, before, after)]
                if kill:
                    continue
                again = CONTEXT.Process(target=work, args=(name, here))
                again.start()
                again.join()
                wrong += [f"{name}, again: {f.text}" for f in check_ledger(here / "fleet.duckdb").findings
                          if f.level == "problem"]  # fmt: skip
            changed = _between(after, before, after)
            print(
                f"{name} ({took:.1f} s; {changed or 'no rows'}): {kills} kills in all, wrong {wrong}",
                flush=True,
            )
    print(f"{kills} kills, {at_work} while at work, wrong: {wrong or 'nothing'}")


if __name__ == "__main__":
    report()
