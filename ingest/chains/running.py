"""Run chains: go on from what a killed run left, measure the rest in processes or on a cluster, tell how far.

Nothing here touches the database. The caller publishes the rows in one transaction and then says so
(`Run.published`), which removes what waited.
"""

from __future__ import annotations

import os
import queue
from collections.abc import Callable, Generator, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from ingest.chains.chain import (
    CaptureResult,
    Chain,
    MeasureLink,
    Work,
    measure_link,
)
from ingest.chains.processes import Workers, how_many
from ingest.chains.resuming import finish
from ingest.waiting import drop_waiting
from ingest.waveforms import flush_waveforms

Progress = Callable[[int, int, str], None]
FEW = 6  # captures that are measured sooner than workers have started


@dataclass(frozen=True)
class Where:
    """Where chains are measured. processes: by default one a core; cluster: the address of a scheduler."""

    processes: int | None = None
    cluster: str | None = None


@dataclass(frozen=True)
class Run:
    """Rows by name, and the chains they came from."""

    rows: dict[str, CaptureResult] = field(default_factory=dict)
    chains: tuple[Chain, ...] = ()
    waiting: Path | None = None

    def published(self) -> None:
        """Remove what waited for a run that was killed: its rows are in the ledger now."""
        if self.waiting is not None:
            drop_waiting(self.waiting, (chain.name for chain in self.chains))


def run_chains(
    chains: Iterable[Chain],
    work: Work,
    *,
    where: Where | None = None,
    waiting: Path | None = None,
    progress: Progress | None = None,
    take: MeasureLink | None = None,
) -> Run:
    """Return the rows of all chains.

    waiting: the folder in which finished chains wait (`ingest.waiting`); None keeps none. progress(done, of,
    name) is called in this thread after each capture. take: measures each link in this thread instead.
    Raises EntryRefused for a number of processes or a cluster's address that can't be.
    """
    where = where or Where()
    processes = how_many(where.processes)
    # the longest first, so that no worker is left alone with one at the end
    ordered = sorted(chains, key=lambda chain: -chain.to_measure)
    total = sum(chain.to_measure for chain in ordered)
    if where.cluster is None:
        work = replace(work, flush=False)
    if take is None and total < FEW and where == Where() and os.environ.get("OPENBLAS_NUM_THREADS") == "1":
        take = partial(measure_link, work=work)
    if take is not None:
        measured = _here(ordered, work, waiting, take)
    elif where.cluster is not None:
        from ingest.chains.cluster import on_cluster

        measured = on_cluster(where.cluster, ordered, work, waiting)
    else:
        measured = _in_processes(ordered, total, work, max(1, min(processes, len(ordered))), waiting)
    rows: dict[str, CaptureResult] = {}
    with closing(measured):
        for done, row in enumerate(measured, start=1):
            rows[row.name] = row
            if progress:
                progress(done, total, row.name)
    if not work.flush:
        flush_waveforms(row.stored.path for row in rows.values() if row.stored is not None)
    return Run(rows, tuple(ordered), waiting)


def _here(
    chains: Sequence[Chain], work: Work, waiting: Path | None, take: MeasureLink
) -> Generator[CaptureResult]:
    for chain in chains:
        rows: list[CaptureResult] = []
        finish(chain, work, waiting, take, rows.append)
        yield from rows


def _in_processes(
    chains: Sequence[Chain], total: int, work: Work, processes: int, waiting: Path | None
) -> Generator[CaptureResult]:
    done: queue.SimpleQueue[CaptureResult | BaseException] = queue.SimpleQueue()

    def follow(chain: Chain) -> None:
        try:
            finish(chain, work, waiting, workers.take, done.put)
        except BaseException as error:
            done.put(error)

    with closing(Workers(work)) as workers:
        threads = ThreadPoolExecutor(processes)
        try:
            for chain in chains:
                threads.submit(follow, chain)
            for _ in range(total):
                row = done.get()
                if isinstance(row, BaseException):
                    raise row
                yield row
        finally:
            threads.shutdown(wait=False, cancel_futures=True)
