"""Kill writers and the server itself (-9) while several log to a ledger on it: is anything acknowledged lost?

    python -m tests.benchmarks.server_kills [--seconds 120] [--writers 6] [--every 4]

At each turn, after a random pause, one writer is killed, or, one time in four, the server, which is started
again; whoever has ended is followed by a new writer of another unit. Afterwards each acknowledged visit must
be there once, with its service and its reading, and `check` must find nothing wrong.
"""

from __future__ import annotations

import argparse
import os
import random
import tempfile
import time
from pathlib import Path
from typing import Any

from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.upkeep import check_ledger
from tests.benchmarks.crash import CONTEXT, after_log, lines_of, log_on
from tests.postgres import running

CONTEXT.set_forkserver_preload(
    ["tests.benchmarks.server_kills", "ingest.ledger.server_opening", "ingest.visit.checks", "psycopg"]
)


def write(address: Path, acks: Path, number: int) -> None:
    """Log until killed, or until the server is gone."""
    try:
        log_on(address, acks, number)
    except LedgerError:
        return


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument("--writers", type=int, default=6)
    parser.add_argument("--every", type=float, default=4, help="seconds between kills, in the mean")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    draw = random.Random(args.seed)
    of_writers = of_server = number = 0
    at_work: list[Any] = []
    with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as postgres:
        address = postgres.address(Path(folder) / "fleet.toml")
        with open_ledger(address, read_only=False):
            pass
        until = time.monotonic() + args.seconds
        while time.monotonic() < until:
            at_work = [one for one in at_work if one.is_alive()]
            while len(at_work) < args.writers:
                acks = Path(folder) / f"acks-{number}"
                at_work.append(CONTEXT.Process(target=write, args=(address, acks, number)))
                at_work[-1].start()
                number += 1
            time.sleep(draw.uniform(0, 2 * args.every))
            if draw.random() < 0.25:
                postgres.kill()
                postgres.start()
                of_server += 1
            else:
                one = draw.choice(at_work)
                of_writers += one.is_alive()
                one.kill()
                one.join()
        for one in at_work:
            one.kill()
            one.join()
        acknowledged = [line for path in Path(folder).glob("acks-*") for line in lines_of(path)]
        wrong = after_log(address, acknowledged)
        with open_ledger(address) as con:
            half = "SELECT count(*) FROM visit WHERE visit_id NOT IN (SELECT visit_id FROM reading)"
            wrong += ["half a visit"] * con.execute(half).fetchall()[0][0]
        wrong += [found.text for found in check_ledger(address).findings if found.level == "problem"]
    print(
        f"{of_writers} kills of writers, {of_server} of the server, {len(acknowledged)} acknowledged,"
        f" wrong: {wrong or 'nothing'}; load average {os.getloadavg()[0]:.1f}"
    )


if __name__ == "__main__":
    main()
