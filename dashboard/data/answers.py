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
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ingest.errors import PumpledgerError
from ingest.server_address import is_address

if TYPE_CHECKING:
    from analytics.risk.ranking import Decided

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


class Shared:
    """A fleet decided about once for all answers that rest on it, until its ledger or the day changes; for
    one thread at a time, and fleets small enough to be held whole."""

    def __init__(self) -> None:
        self._kept: tuple[Stamp, date, Decided] | None = None

    def decided(self, ledger: Path) -> tuple[Stamp, Decided]:
        """Return the ledger's state and its fleet, decided about anew where that is another one."""
        from analytics.risk.ranking import decide_ledger

        shown, today = stamp(ledger), date.today()
        if self._kept is None or self._kept[:2] != (shown, today):
            made = decide_ledger(ledger)
            if made.learned:  # its fit was stored, which changes the file: what it shows is told before
                shown = stamp(ledger)
                made = decide_ledger(ledger)
            self._kept = shown, today, made
        return shown, self._kept[2]

    def is_of(self, shown: Stamp) -> bool:
        """Return whether a fleet in this state of its ledger was decided about, so that no fit is due."""
        return self._kept is not None and self._kept[0] == shown

    def shows(self, shown: Stamp) -> None:
        """Tell the ledger's state after a change of nothing that an answer shows."""
        if self._kept is not None:
            self._kept = shown, *self._kept[1:]


def work_out(name: str, ledger: Path, shared: Shared | None = None) -> tuple[Stamp, Any]:
    """Return the answer `name` (ranking, plan, costs, ahead) and the state of the ledger that it shows.

    shared: what several answers rest on is taken from there. Raises PumpledgerError.
    """
    if shared is not None and name in OF_DECIDED:
        shown, decided = shared.decided(ledger)
        made = OF_DECIDED[name](ledger, decided, shown)
        if name == "ranking" and shown == stamp(ledger) and _keep_told(ledger, made):
            shown = stamp(ledger)
            shared.shows(shown)
        return shown, made
    from analytics.past.history import load_history
    from analytics.risk.forecast import fit_for

    if shared is None or not shared.is_of(stamp(ledger)):
        # Stores a fit that is due, which changes the file: before the stamp.
        fit_for(ledger, load_history(ledger))
    shown = stamp(ledger)
    made = MAKERS[name](ledger)
    if name == "ranking" and shown == stamp(ledger) and _keep_told(ledger, made):
        shown = stamp(ledger)
    return shown, made


def _keep_told(ledger: Path, made: Ranking) -> int:
    """Keep the list as it was told, which changes the file, but nothing that an answer shows."""
    from analytics.record.told import keep_told

    return keep_told(ledger, made.pumps)


def _ranking(ledger: Path) -> Ranking:
    from analytics.risk.by_size import where_by_size
    from analytics.risk.ranking import rank_and_groups

    return _with_trends(ledger, *rank_and_groups(ledger, where=where_by_size(ledger)))


def _ranking_of(ledger: Path, decided: Decided, _shown: Stamp) -> Ranking:
    from analytics.risk.ranking import ranked

    return _with_trends(ledger, *ranked(decided))


def _with_trends(ledger: Path, rows: pd.DataFrame, groups: pd.DataFrame) -> Ranking:
    from dashboard.data.queries import trends

    pumps = rows.join(trends(ledger), on="pump_id")
    pumps.attrs = rows.attrs
    return Ranking(pumps, groups, tuple(rows.attrs["steps"]))


def _plan(ledger: Path) -> Any:
    from analytics.risk.by_size import where_by_size
    from analytics.scheduling.planning import plan

    return plan(ledger, where=where_by_size(ledger))


def _plan_of(ledger: Path, decided: Decided, shown: Stamp) -> Any:
    from analytics.scheduling.inputs import inputs_of, read_inputs
    from analytics.scheduling.planning import make_plan

    inputs = inputs_of(ledger, decided)
    # What somebody wrote meanwhile may not go with what was decided before it.
    return make_plan(inputs if stamp(ledger) == shown else read_inputs(ledger, None))


def _costs(ledger: Path) -> Any:
    from analytics.cost_review.costs import cost_review

    return cost_review(ledger)


def _ahead(ledger: Path) -> Any:
    from analytics.risk.forecast import forecast

    return _small(forecast(ledger, grid_km=GRID_KM))


def _ahead_of(_ledger: Path, decided: Decided, _shown: Stamp) -> Any:
    from analytics.risk.forecast import survival_on_grid

    return _small(survival_on_grid(decided.state, GRID_KM))


def _small(made: Any) -> Any:
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
OF_DECIDED = {"ranking": _ranking_of, "plan": _plan_of, "ahead": _ahead_of}


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
