"""A function of many parts, each by itself: here, in processes of this machine, or on a cluster.

What goes out and comes back is this program's own and goes from one of its processes to another, never
through a file. The processes are begun anew, not forked: a server's threads would be copied half-way.
"""

from __future__ import annotations

import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing, contextmanager
from contextvars import ContextVar
from importlib import import_module
from typing import Any

from ingest.apart.ending import end_with
from ingest.chains.processes import how_many
from ingest.chains.running import Where
from ingest.errors import LedgerError

AHEAD = 2  # parts sent for each process, so that none waits and few are held
_begun: ContextVar[ProcessPoolExecutor | None] = ContextVar("begun", default=None)


@contextmanager
def workers(where: Where | None, module: str) -> Iterator[None]:
    """Begin the processes of `where` once for all that is asked `in_parts` meanwhile, each importing the
    module while this one reads; none for a cluster, or where all is worked out here.

    Raises EntryRefused for a number of processes that can't be.
    """
    if where is None or where.cluster is not None:
        yield
        return
    count = how_many(where.processes)
    with _pool_of(count) as pool:
        for _ in range(count):
            _send(pool, _load, module)
        token = _begun.set(pool)
        try:
            yield
        finally:
            _begun.reset(token)


def in_parts(
    function: Callable[..., Any],
    parts: Iterable[tuple[Any, ...]],
    where: Where | None,
    method: Callable[[], Any] = tuple,
) -> Generator[Any]:
    """Yield function(*part) of each part, in their order. where: None works them out in this process.

    function and method: of a module, or partials of such. method: what a cluster's workers must answer as
    this process does, else their results would be another release's. Raises EntryRefused for a number of
    processes or an address that can't be, LedgerError where a process or the cluster is lost.
    """
    if where is None:
        for part in parts:
            yield function(*part)
    elif where.cluster is not None:
        from ingest.chains.cluster import parts_on_cluster

        yield from parts_on_cluster(where.cluster, function, parts, method)
    else:
        yield from _in_processes(function, parts, how_many(where.processes))


def _in_processes(
    function: Callable[..., Any], parts: Iterable[tuple[Any, ...]], processes: int
) -> Generator[Any]:
    begun = _begun.get()
    if begun is not None:
        yield from _by(begun, function, parts, processes)
        return
    with _pool_of(processes) as pool, closing(_by(pool, function, parts, processes)) as made:
        yield from made


def _load(module: str) -> None:
    import_module(module)


@contextmanager
def _pool_of(processes: int) -> Iterator[ProcessPoolExecutor]:
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, context, initializer=end_with, initargs=(os.getpid(),)) as pool:
        try:
            yield pool
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _by(
    pool: ProcessPoolExecutor, function: Callable[..., Any], parts: Iterable[tuple[Any, ...]], processes: int
) -> Generator[Any]:
    try:
        sent: deque[Any] = deque()
        for part in parts:
            sent.append(_send(pool, function, *part))
            if len(sent) >= AHEAD * processes:
                yield sent.popleft().result()
        while sent:
            yield sent.popleft().result()
    except BrokenProcessPool as error:
        raise _lost() from error


def _send(pool: ProcessPoolExecutor, function: Callable[..., Any], *part: Any) -> Future[Any]:
    """Give a part to the pool, which begins a process for it while it has fewer than it may."""
    try:
        return pool.submit(function, *part)
    except (BrokenProcessPool, OSError) as error:
        raise _lost() from error


def _lost() -> LedgerError:
    return LedgerError(
        "process-lost",
        "A process that works out a part was ended or could not begin, perhaps for want of memory; ask again"
        " with fewer --processes, nothing was changed.",
    )
