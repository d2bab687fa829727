"""Several bays log while pages read: is every acknowledged visit there, once, and who waits how long?

Run by hand: python -m tests.benchmarks.concurrency [--seconds 60] [--writers 6] [--readers 4] [--browsers 0]
[--on-server]. With --browsers so many Chromiums go from page to page of a server of that ledger, which then
begins as a small fleet's. With --on-server the ledger lies on a PostgreSQL of the run's own (the extra
`server` must be installed).
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import tempfile
import time
from collections import Counter
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np

from ingest.capture import Capture
from ingest.errors import PumpledgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.browser.browsing import DESKTOP, FLAGS, chromium, served, settle
from tests.ledger_fixture import build_ledger
from tests.postgres import running

PAGES = ("", "pumps-by-risk", "pump?pump=1", "log-visit", "open-questions", "costs", "fleet-data")
ANSWERS = {"unit-new": "bench"}


CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(["tests.benchmarks.concurrency", "ingest.visit.checks", "pandas"])


def write(ledger: Path, number: int, seconds: float, start: Any, out: Any) -> None:
    """Log visits without a pause; report (hash, seconds) of each acknowledged one and every sentence."""
    rng = np.random.default_rng(number)
    done: list[tuple[str, float]] = []
    said: list[str] = []
    count = 0
    with open_ledger(ledger):  # what a process does once is not measured
        pass
    start.wait()
    until = time.time() + seconds
    while time.time() < until:
        count += 1
        capture = Capture(np.round(5 + rng.normal(0, 0.1, 2000), 3), 20_000.0)
        entry = VisitEntry(f"bay {number}", odometer_km=1000.0 + count)
        started = time.monotonic()
        try:
            logged = log_visit(ledger, entry, capture, meter_reading(5.0), ANSWERS, author=ANYBODY)
            done.append((str(logged.capture_hash), time.monotonic() - started))
        except PumpledgerError as error:
            said.append(error.text)
    out.put(("write", done, said))


def read(ledger: Path, seconds: float, start: Any, out: Any) -> None:
    """Open, look, close, as a page does; a visit without its reading would be half written."""
    waits: list[tuple[str, float]] = []
    said: list[str] = []
    seen = 0
    with open_ledger(ledger):  # what a process does once is not measured
        pass
    start.wait()
    until = time.time() + seconds
    while time.time() < until:
        started = time.monotonic()
        try:
            with open_ledger(ledger) as con:
                waits.append(("", time.monotonic() - started))
                [(visits, half)] = con.execute(
                    "SELECT count(*), count(*) FILTER (WHERE mean_a IS NULL) FROM visit_detail"
                ).fetchall()
            if half or visits < seen:
                said.append(f"{half} half-written visits, {seen - visits} gone")
            seen = visits
            time.sleep(0.05)
        except PumpledgerError as error:
            said.append(error.text)
    out.put(("read", waits, said))


def browse(address: str, seconds: float, start: Any, out: Any) -> None:
    """Go from page to page in a Chromium without a rest; report seconds until each stands still."""
    from playwright.sync_api import sync_playwright

    waits: list[tuple[str, float]] = []
    said: list[str] = []
    with sync_playwright() as playwright:
        page = playwright.chromium.launch(executable_path=chromium(), args=FLAGS).new_page(viewport=DESKTOP)
        page.goto(address)
        settle(page)
        start.wait()
        until = time.time() + seconds
        while time.time() < until:
            where = PAGES[len(waits) % len(PAGES)]
            started = time.monotonic()
            page.goto(f"{address}/{where}")
            settle(page)
            waits.append((where.partition("?")[0] or "today", time.monotonic() - started))
            text = page.inner_text("body")
            said += [
                f"{where}: {one}" for one in ("Something went wrong", "in use by another") if one in text
            ]
    out.put(("browse", waits, said))


def run(
    ledger: Path, *, writers: int, readers: int, seconds: float, served_at: str = "", browsers: int = 0
) -> dict:
    """Return counts, waits and what went wrong."""
    with open_ledger(ledger, read_only=False) as con:
        before = Counter(h for (h,) in con.execute("SELECT capture_hash FROM visit").fetchall())
    out = CONTEXT.Queue()
    start = CONTEXT.Barrier(writers + readers + browsers)
    processes = [CONTEXT.Process(target=write, args=(ledger, i, seconds, start, out)) for i in range(writers)]
    processes += [CONTEXT.Process(target=read, args=(ledger, seconds, start, out)) for _ in range(readers)]
    processes += [
        CONTEXT.Process(target=browse, args=(served_at, seconds, start, out)) for _ in range(browsers)
    ]
    for process in processes:
        process.start()
    results = [out.get(timeout=seconds + 300) for _ in processes]
    for process in processes:
        process.join()
    acknowledged = [h for kind, done, _ in results if kind == "write" for h, _ in done]
    log_s = np.array([s for kind, done, _ in results if kind == "write" for _, s in done])
    open_s = np.array([s for kind, done, _ in results if kind == "read" for _, s in done])
    page_s = np.array([s for kind, done, _ in results if kind == "browse" for _, s in done])
    with open_ledger(ledger) as con:
        stored = Counter(h for (h,) in con.execute("SELECT capture_hash FROM visit").fetchall()) - before
    checked = check_ledger(ledger)
    return {
        "acknowledged": len(acknowledged),
        "stored": sum(stored.values()),
        "lost": sum(stored[h] == 0 for h in acknowledged),
        "twice": sum(n > 1 for n in stored.values()),
        "problems": [f.text for f in checked.findings if f.level == "problem"],
        "sentences": [text for _, _, said in results for text in said],
        "log_s": log_s,
        "open_s": open_s,
        "page_s": page_s,
    }


def main() -> None:
    """Run and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--writers", type=int, default=6)
    parser.add_argument("--readers", type=int, default=4)
    parser.add_argument("--browsers", type=int, default=0)
    parser.add_argument("--on-server", action="store_true")
    args = parser.parse_args()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        ledger = folder / "fleet.duckdb"
        if args.on_server:
            ledger = stack.enter_context(running(folder)).address(folder / "fleet.toml")
        address = ""
        if args.browsers:
            build_ledger(ledger, fitted=True)
            address = stack.enter_context(served(ledger))
        found = run(
            ledger, writers=args.writers, readers=args.readers, seconds=args.seconds, served_at=address,
            browsers=args.browsers,
        )  # fmt: skip
    load = " ".join(f"{one:.1f}" for one in os.getloadavg())
    who = f"{args.writers} writers, {args.readers} readers, {args.browsers} browsers"
    print(f"{who}, {args.seconds:.0f} s; load average {load}")
    for name in ("acknowledged", "stored", "lost", "twice", "problems"):
        print(f"  {name}: {found[name]}")
    print(f"  sentences: {Counter(found['sentences'])}")
    for name, what in (
        ("log_s", "a visit logged, waiting included"),
        ("open_s", "a reader's wait"),
        ("page_s", "a page in a browser at rest"),
    ):
        if not len(found[name]):
            continue
        p50, p99 = np.quantile(found[name], [0.5, 0.99])
        longest = found[name].max()
        print(
            f"  {what}: median {p50:.3f} s, p99 {p99:.3f} s, longest {longest:.3f} s (n {len(found[name])})"
        )


if __name__ == "__main__":
    main()
