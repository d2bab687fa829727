"""The speeds of everyday work, each beside something that everyone has, and how they grow with size.

Each function returns figures; `python -m tests.benchmarks` runs them and keeps the results.
"""

from __future__ import annotations

import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from functools import cache, partial
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
from pyarrow import csv

from tests.authors import ANYBODY
from tests.benchmarks.results import Figure

SMALL, LARGE = 2_000, 20_000  # pumps
_scratch = tempfile.TemporaryDirectory()
SCRATCH = Path(_scratch.name)


def cpu(job: Callable[[], object], rounds: int = 1) -> float:
    """Least processor time of a few rounds, all threads of this process, s."""
    least = math.inf
    for _ in range(rounds):
        began = time.process_time()
        job()
        least = min(least, time.process_time() - began)
    return least


def growth(small: float, large: float, times: float) -> float:
    """Return the exponent with which time grows where size grows `times` times."""
    return math.log(large / small) / math.log(times)


@cache
def many(pumps: int) -> Path:
    """Return a ledger of so many pumps with ten visits each, and its fit."""
    from analytics.learning.fitting import fit
    from tests.benchmarks.many_pumps import build

    path = SCRATCH / f"{pumps}.duckdb"
    build(path, pumps, 10)
    fit(path)
    return path


def both(name: str, about: str, job: Callable[[Path], object]) -> list[Figure]:
    """Return a job's processor time on the larger ledger, and its growth."""
    few, lot = many(SMALL), many(LARGE)
    job(few)  # imports
    small, large = cpu(partial(job, few), 2), cpu(partial(job, lot))
    exponent = growth(small, large, LARGE / SMALL)
    return [
        Figure(f"{name}.cpu", large, "s CPU", f"{about}, {LARGE:,} pumps with ten visits each"),
        Figure(f"{name}.growth", exponent, "", f"from {SMALL:,} to {LARGE:,} pumps"),
    ]


def read() -> list[Figure]:
    """A capture as text, against the fastest general CSV engine alone."""
    from ingest.readers.capture_file import read_capture
    from tests.benchmarks.read_speed import best_of, write_file

    took = {}
    for rows in (100_000, 1_000_000):
        path = SCRATCH / f"{rows}.csv"
        write_file(path, rows)
        took[rows] = best_of(
            {
                "ours": lambda path=path: read_capture(path),
                "pyarrow": lambda path=path: csv.read_csv(path),
                "pandas": lambda path=path: pd.read_csv(path),
            }
        )
    large = took[1_000_000]
    fastest = min(large["pyarrow"], large["pandas"])
    ratio, about = large["ours"] / fastest, "a million rows of text read, to the fastest CSV engine alone"
    exponent = growth(took[100_000]["ours"], large["ours"], 10)
    return [
        Figure("read.csv_ratio", ratio, "×", about),
        Figure("read.growth", exponent, "", "from 100,000 to 1,000,000 rows"),
    ]


def measure() -> list[Figure]:
    """A healthy pump's capture, bars told, against one FFT of its length."""
    from tests.benchmarks.measure_speed import timed

    timed("healthy", 90_000, 50_000)
    (small, ffts), _ = timed("healthy", 90_001, 100_000)
    (large, _), _ = timed("healthy", 90_001, 1_000_000)
    return [
        Figure("measure.ffts", ffts, "×", "100,000 samples measured, to one FFT of them"),
        Figure("measure.cpu", 1000 * small, "ms CPU", "100,000 samples measured, bars told"),
        Figure("measure.growth", growth(small, large, 10), "", "from 100,000 to 1,000,000 samples"),
    ]


def log() -> list[Figure]:
    """A visit logged, against one row written by the engine alone."""
    from ingest.ledger.connection import open_ledger
    from ingest.visit.entry import VisitEntry
    from ingest.visit.logging_visit import log_visit
    from tests.ledger_fixture import small_capture

    spent = {}
    for pumps in (SMALL, LARGE):
        with open_ledger(many(pumps)) as connection:
            units = connection.execute(
                "SELECT unit FROM pump WHERE removed_on IS NULL ORDER BY unit LIMIT 8"
            ).fetchall()

        costs = []
        for k, (unit,) in enumerate(units):
            entry = VisitEntry(unit, visited_on=date(2026, 1, 5), odometer_km=90_000.0)
            capture = small_capture(mean_a=5 + k / 100)
            one = partial(log_visit, many(pumps), entry, capture, author=ANYBODY, most_questions=0)
            costs.append(cpu(one))
        spent[pumps] = float(np.median(costs))

    def bare() -> None:
        with duckdb.connect(str(SCRATCH / "bare.duckdb")) as connection:
            connection.execute("CREATE TABLE IF NOT EXISTS visit (a INTEGER)")
            connection.execute("INSERT INTO visit VALUES (1)")

    about = f"one visit measured and stored, {LARGE:,} pumps on record"
    exponent = growth(spent[SMALL], spent[LARGE], LARGE / SMALL)
    return [
        Figure("log.cpu", 1000 * spent[LARGE], "ms CPU", about),
        Figure("log.ratio", spent[LARGE] / cpu(bare, 7), "×", "to a file opened, one row written, closed"),
        Figure("log.growth", exponent, "", f"from {SMALL:,} to {LARGE:,} pumps"),
    ]


def load() -> list[Figure]:
    """A fleet folder without captures, against a bare read and insert of its visits."""
    from ingest.fleet_folder.loading import load_folder
    from tests.benchmarks.load_speed import bare_insert, write_fleet

    spent = {}
    for vehicles in (300, 3_000):
        folder, ledger = SCRATCH / f"fleet{vehicles}", SCRATCH / f"fleet{vehicles}.duckdb"
        write_fleet(folder, vehicles)
        bare = cpu(partial(bare_insert, folder, SCRATCH / f"bare{vehicles}.duckdb"))
        first, again = (cpu(partial(load_folder, ledger, folder, author=ANYBODY)) for _ in range(2))
        spent[vehicles] = first, again, bare
    first, again, bare = spent[3_000]
    return [
        Figure(
            "load.ratio", first / bare, "×", "60,000 visits loaded and checked, to a bare read and insert"
        ),
        Figure("load.cpu", first, "s CPU", "60,000 visits of 3,000 vehicles loaded the first time"),
        Figure("load.again", again / first, "×", "a second load that changes nothing, to the first"),
        Figure("load.growth", growth(spent[300][0], first, 10), "", "from 300 to 3,000 vehicles"),
    ]


def chains(pumps: int = 20, visits: int = 5, samples: int = 100_000) -> list[Figure]:
    """Captures of pumps measured and kept by one worker and by two, in turns."""
    from ingest.capture import Capture
    from ingest.chains.chain import Chain, Link, Work
    from ingest.chains.running import Where, run_chains
    from ingest.known_pump import KnownPump
    from ingest.waveforms import keep_waveform
    from tests.benchmarks.study_captures import draw

    made = []
    for pump in range(pumps):
        links = []
        for visit in range(visits):
            study = draw("healthy", 91_000 + visits * pump + visit, samples=samples)
            made_from = Capture(study.samples, study.sample_rate_hz)
            path = keep_waveform(SCRATCH / "bulk", made_from).path
            links.append(Link(f"{pump}-{visit}", path, KnownPump(segments=study.bars), stored=True))
        made.append(Chain(str(pump), tuple(links)))
    wall: dict[int, list[float]] = {1: [], 2: []}
    busiest: dict[int, list[float]] = {1: [], 2: []}
    core_s: dict[int, list[float]] = {1: [], 2: []}
    own_s: list[float] = []
    for _ in range(2):
        for workers, times in wall.items():
            began, spent, own = time.perf_counter(), _children_s(), time.process_time()
            seen: list[float] = []

            def look(done: int, of: int, _name: str, seen: list[float] = seen) -> None:
                if done == of:  # while they are still there
                    seen.extend(_each_childs_s())

            run_chains(made, Work(), where=Where(workers), progress=look)
            times.append(time.perf_counter() - began)
            busiest[workers].append(max(seen))
            core_s[workers].append(_children_s() - spent)
            own_s.append(time.process_time() - own)
    total = pumps * visits
    kept = sum(path.stat().st_size for path in (SCRATCH / "bulk").iterdir())
    one, two = (min(times) for times in wall.values())
    alone_s, busier_s = (min(times) for times in busiest.values())
    what = f"{total} captures of {samples:,} samples"
    each = "of the workers for each of these captures, starts counted"
    alone = "of the asking process for each, which nobody shares"
    return [
        Figure("chains.two_workers", one / two, "×", f"{what} by two workers, to one; starts counted"),
        Figure(
            "chains.busier",
            alone_s / busier_s,
            "×",
            f"{what}: processor time of one worker, to the busier of two",
        ),
        Figure("chains.core_s", min(core_s[2]) / total, "s CPU", each),
        Figure("chains.alone", min(own_s) / total, "s CPU", alone),
        Figure("chains.kb", kept / total / 1000, "kB", f"the waveform file of one, {samples:,} samples"),
        Figure("chains.extra", min(core_s[2]) / min(core_s[1]), "×", "processor time of two workers, to one"),
    ]


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _each_childs_s() -> list[float]:
    """Return the processor time that each of this process's children has used so far, s."""
    spent = []
    for task in Path("/proc/self/task").iterdir():
        for pid in (task / "children").read_text().split():
            with suppress(OSError):
                times = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
                spent.append((int(times[11]) + int(times[12])) / os.sysconf("SC_CLK_TCK"))
    return spent


def rank() -> list[Figure]:
    """All pumps by risk, the fit at hand."""
    from analytics.risk.ranking import rank as ranked

    return both("rank", "all pumps ranked", ranked)


def refit() -> list[Figure]:
    """The fleet's constants learnt anew."""
    from analytics.learning.fitting import fit_history
    from analytics.past.history import read_history
    from ingest.ledger.connection import open_ledger

    def job(ledger: Path) -> None:
        with open_ledger(ledger) as connection:
            history = read_history(connection, None)
        fit_history(history)

    return both("refit", "constants learnt anew from the past", job)


def plan() -> list[Figure]:
    """A replacement plan, inputs read and assigned."""
    from analytics.scheduling.inputs import read_inputs
    from analytics.scheduling.planning import make_plan

    return both("plan", "a plan made", lambda ledger: make_plan(read_inputs(ledger, None), 120, 0.95))


def cost() -> list[Figure]:
    """The cost review."""
    from analytics.cost_review.costs import cost_review

    return both("cost", "policies compared", cost_review)


def report() -> list[Figure]:
    """The month's report as HTML."""
    from analytics.cost_review.month import month_of
    from analytics.scheduling.planning import plan as planned
    from dashboard.parts import report as paper

    def job(ledger: Path) -> None:
        month = month_of(ledger, None, None)
        paper.html(month, planned(ledger, as_of=month.last), [])

    job(many(LARGE))  # what was known before the month is learnt once
    return both("report", "the month's report, its plan made anew", job)


def sizes() -> list[Figure]:
    """Ledgers of 1,000, 10,000 and 100,000 pumps with eight visits measured elsewhere: their bytes."""
    from ingest.ledger.connection import open_ledger
    from tests.benchmarks.many_pumps import build

    figures = []
    for pumps, word in ((1_000, "1k"), (10_000, "10k"), (100_000, "100k")):
        ledger = SCRATCH / f"sizes{word}.duckdb"
        build(ledger, pumps, 8)
        with open_ledger(ledger) as connection:
            [(visits,)] = connection.execute("SELECT count(*) FROM visit").fetchall()
        size, of = ledger.stat().st_size, f"{pumps:,} pumps, eight visits each"
        figures += [
            Figure(f"sizes.{word}.mb", size / 1e6, "MB", f"the ledger file, {of}"),
            Figure(f"sizes.{word}.visit_bytes", size / visits, "bytes", f"of it for each visit, {of}"),
        ]
    return figures


def memory() -> list[Figure]:
    """What a first ranking takes at two sizes, the constants learnt, each in a process of its own."""
    from tests.benchmarks.many_pumps import build

    # Not getrusage: its figure outlives exec, so that a child is told what its parent holds.
    code = (
        "import re, sys; from pathlib import Path; from analytics.risk.ranking import rank;"
        " rank(Path(sys.argv[1]));"
        r" print(int(re.search(r'VmHWM:\s*(\d+)', Path('/proc/self/status').read_text())[1]) / 2**20)"
    )
    figures = []
    for pumps, word in ((20_000, "20k"), (40_000, "40k")):  # judged and decided 15,000 at a time
        ledger = SCRATCH / f"memory{word}.duckdb"
        build(ledger, pumps, 8)
        command = [sys.executable, "-c", code, str(ledger)]
        done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
        about = f"most memory of a first ranking, constants learnt, {pumps:,} pumps with eight visits each"
        figures.append(Figure(f"memory.rank_{word}", float(done.stdout), "GB", about))
    return figures


def pages() -> list[Figure]:
    """The risk list in a browser, against a bare page of the same framework."""
    from playwright.sync_api import sync_playwright

    from tests.benchmarks.pages_speed import HELLO, PAGES, build, open_page, wait_for_long_answers
    from tests.browser.browsing import FLAGS, chromium, served

    ledger, hello = SCRATCH / "pages.duckdb", SCRATCH / "hello.py"
    hello.write_text(HELLO)
    build(ledger, 10_000)
    seen: dict[str, list[float]] = {"bare": [], "risk": [], "pump": []}
    with served(ledger) as ours, served(ledger, hello) as bare, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        wait_for_long_answers(browser, ours)
        for _ in range(3):
            seen["bare"].append(open_page(browser, bare, None, None)[0])
            seen["risk"].append(open_page(browser, f"{ours}/pumps-by-risk", *PAGES["pumps-by-risk"])[0])
            seen["pump"].append(open_page(browser, f"{ours}/pump?pump=12", *PAGES["pump?pump=12"])[0])
        browser.close()
    base, risk, pump = (float(np.median(times)) for times in seen.values())
    return [
        Figure(
            "pages.risk", risk / base, "×", "first paint of Pumps by risk with 10,000 pumps, to a bare page"
        ),
        Figure("pages.pump", pump / base, "×", "first paint of one pump's page, to a bare page"),
    ]


ALL: dict[str, tuple[Callable[[], list[Figure]], str | None]] = {
    "read": (read, None),
    "measure": (measure, "measuring"),
    "log": (log, None),
    "load": (load, None),
    "chains": (chains, "measuring"),
    "rank": (rank, "risk"),
    "refit": (refit, "risk"),
    "plan": (plan, "decision"),
    "cost": (cost, "review"),
    "report": (report, "decision"),
    "sizes": (sizes, None),
    "memory": (memory, "risk"),
    "pages": (pages, None),
}
