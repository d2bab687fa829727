"""The answers that take long on many pumps: ranking, plan, cost review, and the distance ahead.

As a program, `python -m dashboard.data.answers LEDGER` works out those whose names come in, a line each, at
low priority and writes them to its output for the server that started it (answer_store.py), so that pages
stay quick meanwhile. It ends when none is asked for: the next ones mostly follow the first at once, and rest
on the same fleet decided about.
"""

from __future__ import annotations

import os
import pickle
import select
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from ingest.apart.ending import end_with
from ingest.errors import PumpledgerError
from ingest.server_address import is_address

if TYPE_CHECKING:
    from analytics.risk.ranking import Decided

Stamp = tuple[int, ...]
GRID_KM = np.linspace(0, 60_000, 61)
IDLE_S = 10.0  # without a question, after which what a large fleet takes in memory is given back


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
    one thread at a time."""

    def __init__(self) -> None:
        self._kept: tuple[Stamp, date, Decided] | None = None

    def decided(self, ledger: Path) -> tuple[Stamp, Decided]:
        """Return the ledger's state and its fleet, decided about anew where that is another one."""
        from analytics.risk.ranking import decide_ledger

        shown, today = stamp(ledger), date.today()
        if self._kept is None or self._kept[:2] != (shown, today):
            self._kept = None  # the last one goes before the next is there
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
    """Return the answer `name` (ranking, plan, ahead, costs, record) and the state of the ledger that it
    shows.

    shared: what several answers rest on is kept there. Raises PumpledgerError.
    """
    shared = shared or Shared()
    if name in OF_DECIDED:
        shown, decided = shared.decided(ledger)
        made = OF_DECIDED[name](ledger, decided, shown)
        if name == "ranking" and shown == stamp(ledger) and _keep_told(ledger, made):
            shown = stamp(ledger)
            shared.shows(shown)
        return shown, made
    from analytics.past.history import load_history
    from analytics.risk.forecast import fit_for

    if not shared.is_of(stamp(ledger)):
        # Stores a fit that is due, which changes the file: before the stamp.
        fit_for(ledger, load_history(ledger))
    shown = stamp(ledger)
    return shown, MAKERS[name](ledger)


def _keep_told(ledger: Path, made: Ranking) -> int:
    """Keep the list as it was told, which changes the file, but nothing that an answer shows."""
    from analytics.record.told import keep_told

    return keep_told(ledger, made.pumps)


def _ranking(ledger: Path, decided: Decided, _shown: Stamp) -> Ranking:
    from analytics.risk.ranking import ranked
    from dashboard.data.queries import trends

    rows, groups = ranked(decided)
    pumps = rows.join(trends(ledger), on="pump_id")
    pumps.attrs = rows.attrs
    return Ranking(pumps, groups, tuple(rows.attrs["steps"]))


def _plan(ledger: Path, decided: Decided, shown: Stamp) -> Any:
    from analytics.scheduling.inputs import inputs_of, read_inputs
    from analytics.scheduling.planning import make_plan

    inputs = inputs_of(ledger, decided)
    # What somebody wrote meanwhile may not go with what was decided before it.
    return make_plan(inputs if stamp(ledger) == shown else read_inputs(ledger, None))


def _costs(ledger: Path) -> Any:
    from analytics.cost_review.costs import cost_review

    return cost_review(ledger)


def _ahead(_ledger: Path, decided: Decided, _shown: Stamp) -> Any:
    from analytics.risk.forecast import survival_on_grid

    made = survival_on_grid(decided.state, GRID_KM)
    small = {f: getattr(made, f).astype(np.float32) for f in ("survival", "new_pump_survival")}
    return replace(made, **small)


def _record(ledger: Path) -> Any:
    from analytics.record.backtest import backtest

    return backtest(ledger)


OF_DECIDED = {"ranking": _ranking, "plan": _plan, "ahead": _ahead}
MAKERS = {"costs": _costs, "record": _record}


def main(ledger: Path) -> None:
    """Write each pickled answer to the output, or None and the code and text of the PumpledgerError met."""
    if hasattr(os, "nice"):
        os.nice(10)
    end_with(os.getppid())
    shared = Shared()
    for name in _asked():
        try:
            result: Any = work_out(name, ledger, shared)
        except PumpledgerError as error:
            result = None, (error.code, error.text)
        pickle.dump(result, sys.stdout.buffer, protocol=pickle.HIGHEST_PROTOCOL)
        sys.stdout.buffer.flush()
        del result


def _asked() -> Iterator[str]:
    """Yield each line that comes in, until the server closes its end or IDLE_S pass without one."""
    with open(sys.stdin.fileno(), "rb", buffering=0, closefd=False) as lines:
        while select.select([lines], [], [], IDLE_S)[0]:
            name = lines.readline().decode().strip()
            if not name:
                return
            yield name


if __name__ == "__main__":
    from dashboard.data import answers  # so that the server finds the classes where it has them

    answers.main(Path(sys.argv[1]))
