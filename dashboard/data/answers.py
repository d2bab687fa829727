"""The answers that take long on many pumps: ranking, plan, cost review, and the distance ahead.

As a program, `python -m dashboard.data.answers plan LEDGER` works one out at low priority and writes it to
its output for the server that started it (answer_store.py), so that pages stay quick meanwhile.
"""

from __future__ import annotations

import os
import pickle
import sys
import threading
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ingest.errors import PumpledgerError
from ingest.server_address import is_address

Stamp = tuple[int, ...]
GRID_KM = np.linspace(0, 60_000, 61)
LOOK_S = 2.0  # between two looks at whether the server is still there


@dataclass(frozen=True)
class Ranking:
    """Pumps in service as ranked, types and lots held against the rest, and what is said of readings that
    many pumps changed together.

    pumps: as analytics.risk.ranking.rank, and currents_a, the last readings, oldest first. groups: as
    analytics.past.lots.early_failures.
    """

    pumps: pd.DataFrame
    groups: pd.DataFrame
    steps: tuple[str, ...] = ()


def stamp(ledger: Path) -> Stamp:
    """Return what changes whenever the ledger does: size and time of its files; () when there is none.

    On a server: which transactions one that begins now would see.
    """
    if is_address(ledger):
        from ingest.ledger.server_engine import change_mark

        return change_mark(ledger)
    marks: list[int] = []
    for path in (ledger, ledger.with_name(ledger.name + ".wal")):
        try:
            state = path.stat()
            marks += [state.st_mtime_ns, state.st_size]
        except FileNotFoundError:
            marks += [0, 0]
    return tuple(marks) if marks[0] else ()


def work_out(name: str, ledger: Path) -> tuple[Stamp, Any]:
    """Return the answer `name` (ranking, plan, costs, ahead) and the state of the ledger that it shows.

    Raises PumpledgerError.
    """
    from analytics.past.history import load_history
    from analytics.record.told import keep_told
    from analytics.risk.forecast import fit_for

    fit_for(
        ledger, load_history(ledger)
    )  # stores a fit that is due, which changes the file: before the stamp
    shown = stamp(ledger)
    made = MAKERS[name](ledger)
    # The list is kept as it was told, which changes the file, but nothing that an answer shows.
    if name == "ranking" and shown == stamp(ledger) and keep_told(ledger, made.pumps):
        shown = stamp(ledger)
    return shown, made


def _ranking(ledger: Path) -> Ranking:
    from analytics.risk.ranking import rank_and_groups
    from dashboard.data.queries import trends

    rows, groups = rank_and_groups(ledger)
    pumps = rows.join(trends(ledger), on="pump_id")
    pumps.attrs = rows.attrs
    return Ranking(pumps, groups, tuple(rows.attrs["steps"]))


def _plan(ledger: Path) -> Any:
    from analytics.scheduling.planning import plan

    return plan(ledger)


def _costs(ledger: Path) -> Any:
    from analytics.cost_review.costs import cost_review

    return cost_review(ledger)


def _ahead(ledger: Path) -> Any:
    from analytics.risk.forecast import forecast

    made = forecast(ledger, grid_km=GRID_KM)
    small = {f: getattr(made, f).astype(np.float32) for f in ("survival", "new_pump_survival")}
    return replace(made, **small)


def _record(ledger: Path) -> Any:
    from analytics.record.backtest import backtest

    return backtest(ledger)


def _end_with(server: int) -> None:
    """End this process soon after the server that started it: nobody is left to take its answer."""
    while os.getppid() == server:
        time.sleep(LOOK_S)
    os._exit(1)


MAKERS = {"ranking": _ranking, "plan": _plan, "costs": _costs, "ahead": _ahead, "record": _record}


def main(name: str, ledger: Path) -> None:
    """Write the pickled answer to the output, or None and the code and text of the PumpledgerError met."""
    if hasattr(os, "nice"):
        os.nice(10)
    threading.Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()
    try:
        result: Any = work_out(name, ledger)
    except PumpledgerError as error:
        result = None, (error.code, error.text)
    pickle.dump(result, sys.stdout.buffer, protocol=pickle.HIGHEST_PROTOCOL)


if __name__ == "__main__":
    from dashboard.data import answers  # so that the server finds the classes where it has them

    answers.main(sys.argv[1], Path(sys.argv[2]))
