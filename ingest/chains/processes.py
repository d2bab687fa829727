"""Workers in processes of their own, begun alike; a file that ends one is one refusal among the others' rows.

They are programs of their own (`ingest.chains.worker`): a server that loads a folder must not be forked.
"""

from __future__ import annotations

import json
import os
import threading
from pathlib import Path

from ingest.apart.child import BUSY, Child, ChildEnded
from ingest.chains.chain import CaptureResult, Link, Work
from ingest.chains.told import link_as_json, row_from_json, work_as_json
from ingest.errors import EntryRefused

WALL_S = 120.0
MOST_PROCESSES = 256


def usable_cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def how_many(processes: int | None) -> int:
    """Return how many processes to measure in, by default one a core; EntryRefused for none or too many."""
    if processes is None:
        return usable_cores()
    if not 1 <= processes <= MOST_PROCESSES:
        raise EntryRefused(
            "bad-processes", f"{processes} processes: give a number from 1 to {MOST_PROCESSES}."
        )
    return processes


class Workers:
    """A worker for each thread that asks; one that died is replaced at the next file."""

    def __init__(self, work: Work):
        self._beginning = json.dumps(work_as_json(work)).encode()
        self._own = threading.local()
        self._all: list[Child] = []
        self._lock = threading.Lock()
        self._closed = False

    def take(self, link: Link) -> CaptureResult:
        """Return the row of one link, measured by this thread's worker; ChildEnded once closed."""
        try:
            answer, _ = self._worker().ask(link_as_json(link), b"", WALL_S)
        except ChildEnded as ended:
            if self._closed:
                raise
            self._own.child = None
            if ended.starved:
                return CaptureResult(link.name, refused=f"{Path(link.name).name}: {BUSY}.")
            how = "takes too long" if ended.over_time else "ends the process that reads and measures it"
            do = "restore it from a backup" if link.stored else "export or copy it again"
            name = link.path if link.stored else Path(link.name).name
            return CaptureResult(link.name, refused=f"{name} {how}; {do}.")
        return row_from_json(answer)

    def close(self) -> None:
        """End all workers, whatever they do."""
        with self._lock:
            self._closed = True
            for child in self._all:
                child.close()

    def _worker(self) -> Child:
        child: Child | None = getattr(self._own, "child", None)
        if child is None:
            with self._lock:
                if self._closed:
                    raise ChildEnded("the run has ended")
                child = Child("ingest.chains.worker")
                self._all.append(child)
            child.ask({}, self._beginning, WALL_S)
            self._own.child = child
        return child
