"""Does the text that says where the server is ever reach the client library garbled?

Many processes that open a ledger on a server once each, then one process whose threads open it again and
again, half of them to write; every error is printed. A PostgreSQL of the run's own is started. With
--unsigned processes don't look at the extension's signature: reading its 42 MB for that is .30 of the .37 s
that an opening takes, and has no part in the question.

    python -m tests.benchmarks.server_openings [--processes N] [--cursors N] [--threads 8] [--seconds 800]
        [--unsigned]
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Lock
from typing import Any

import duckdb

from ingest.ledger import server_engine
from ingest.ledger.connection import open_ledger
from ingest.ledger.server_engine import cursor
from ingest.ledger.statements import statement
from ingest.server_address import server_of
from tests.postgres import running

CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(["ingest.ledger.server_opening", "psycopg", "tests.postgres"])
AT_ONCE = 4


def once(address: Path, out: Any, unsigned: bool) -> None:
    """Open the ledger as a new process does, and tell what was said if it failed."""
    if unsigned:
        server_engine.ON_ITS_OWN = {**server_engine.ON_ITS_OWN, "allow_unsigned_extensions": True}
    try:
        with open_ledger(address) as connection:
            connection.execute(statement("ledger/version")).fetchall()
        out.put("")
    except Exception as error:  # whatever it is, it is counted
        out.put(f"{type(error).__name__}: {error}")


def processes(address: Path, count: int, until: float, unsigned: bool) -> Counter[str]:
    """Open it from so many processes, a few at a time, once each; returns what was said."""
    said: Counter[str] = Counter()
    out = CONTEXT.Queue()
    started = 0
    while said.total() < count:
        while started < count and started - said.total() < AT_ONCE and time.monotonic() < until:
            CONTEXT.Process(target=once, args=(address, out, unsigned), daemon=True).start()
            started += 1
        if said.total() == started:
            break
        said[out.get(timeout=120)] += 1
    return said


def cursors(address: Path, threads: int, count: int, until: float) -> Counter[str]:
    """Let threads of this process take so many cursors each, to read and to write in turns."""
    server = server_of(address)
    assert server is not None
    said: Counter[str] = Counter()
    one_counts = Lock()

    def work(number: int) -> None:
        mine: Counter[str] = Counter()
        for i in range(count):
            if time.monotonic() > until:
                break
            try:
                connection = cursor(server, read_only=bool((i + number) % 2))
                connection.execute(statement("ledger/version")).fetchall()
                connection.close()
                mine[""] += 1
            except duckdb.Error as error:
                mine[f"{type(error).__name__}: {error}"] += 1
        with one_counts:
            said.update(mine)

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(work, range(threads)))
    return said


def main() -> None:
    """Run both and print how many openings there were, and what went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--processes", type=int, default=5000)
    parser.add_argument("--threads", type=int, default=8)
    parser.add_argument("--cursors", type=int, default=5000)
    parser.add_argument("--seconds", type=float, default=800, help="at most, half of it for each")
    parser.add_argument("--unsigned", action="store_true", help="leave the extension's signature unread")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as postgres:
        address = postgres.address(Path(folder) / "fleet.toml")
        with open_ledger(address, read_only=False):
            pass
        for name, found in (
            (
                f"{args.threads} threads, cursors",
                lambda until: cursors(address, args.threads, args.cursors, until),
            ),
            (
                "processes, one opening each",
                lambda until: processes(address, args.processes, until, args.unsigned),
            ),
        ):
            started = time.monotonic()
            said = found(started + args.seconds / 2)
            took = time.monotonic() - started
            good = said.pop("", 0)
            print(f"{name}: {good} in {took:.0f} s, load average {os.getloadavg()[0]:.1f}", flush=True)
            for text, times in said.items():
                print(f"  {times} times: {text}", flush=True)


if __name__ == "__main__":
    main()
