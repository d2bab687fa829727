"""Read, measure and keep the captures a fleet folder names, up to two at a time.

Nothing here touches the database: waveform files that no visit comes to refer to are harmless. Workers are
programs of their own (`capture_worker`): a server that loads a folder must not be forked, and a file that
ends a worker is one refusal among the others' readings.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ingest.apart.child import Child, ChildEnded
from ingest.capture import Capture, Note, described, from_description
from ingest.errors import PumpledgerError, faults_refused
from ingest.known_pump import UNKNOWN_PUMP, KnownPump
from ingest.reading import Reading, SpeedCandidate
from ingest.thumbnail import thumbnail
from ingest.waveforms import Encoding, StoredWaveform

PROCESSES = 2
WALL_S = 120.0


@dataclass(frozen=True)
class CaptureJob:
    """One file to read, with what is known of its pump and how its visit says it is to be read."""

    name: str
    path: Path
    known: KnownPump = UNKNOWN_PUMP
    probe: str | None = None
    channel: str | None = None


@dataclass(frozen=True)
class CaptureResult:
    """A capture read. `reading` and `stored` are None where the ledger holds them already; `about` is the
    capture without its samples. `refused` is the sentence of a file that could not be taken."""

    name: str
    capture_hash: str | None = None
    about: Capture | None = None
    reading: Reading | None = None
    stored: StoredWaveform | None = None
    refused: str = ""
    picture: tuple[float, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the result as JSON holds it."""
        return {
            "name": self.name,
            "capture_hash": self.capture_hash,
            "about": described(self.about) if self.about else None,
            "reading": asdict(self.reading) if self.reading else None,
            "stored": asdict(self.stored) | {"path": str(self.stored.path)} if self.stored else None,
            "refused": self.refused,
            "picture": list(self.picture),
        }

    @classmethod
    def from_json(cls, told: dict[str, Any]) -> CaptureResult:
        """Return the result that `as_json` told of."""
        about, reading, stored = told["about"], told["reading"], told["stored"]
        return cls(
            told["name"],
            told["capture_hash"],
            from_description(about, np.empty(0)) if about else None,
            _reading(reading) if reading else None,
            StoredWaveform(
                **stored | {"path": Path(stored["path"]), "encoding": Encoding(**stored["encoding"])}
            )
            if stored
            else None,
            told["refused"],
            tuple(told["picture"]),
        )


def _reading(told: dict[str, Any]) -> Reading:
    return Reading(
        **told
        | {
            "notes": tuple(Note(**note) for note in told["notes"]),
            "speed_candidates": tuple(SpeedCandidate(**each) for each in told["speed_candidates"]),
            "segment_profile_pct": tuple(told["segment_profile_pct"]),
        }
    )


def take_captures(
    jobs: Iterable[CaptureJob],
    ledger: Path,
    *,
    known: frozenset[str],
    store: bool,
    progress: Callable[[int, int, str], None] | None = None,
) -> dict[str, CaptureResult]:
    """Return a result for each job's name; captures whose hash is in `known` are not measured again.

    progress is called with (done, of, file name). store=False keeps no waveform (a dry run).
    """
    work = list(jobs)
    if len(work) < 2 * PROCESSES:
        return _gather((take(job, ledger, known, store=store) for job in work), len(work), progress)
    workers = _Workers({"ledger": str(ledger.resolve()), "store": store}, "\n".join(known).encode())
    threads = ThreadPoolExecutor(PROCESSES)
    try:
        return _gather(threads.map(workers.take, work), len(work), progress)
    finally:
        threads.shutdown(wait=False, cancel_futures=True)
        workers.close()


def _gather(
    outcomes: Iterable[CaptureResult], total: int, progress: Callable[[int, int, str], None] | None
) -> dict[str, CaptureResult]:
    results: dict[str, CaptureResult] = {}
    for done, result in enumerate(outcomes, start=1):
        results[result.name] = result
        if progress:
            progress(done, total, result.name)
    return results


class _Workers:
    """A worker for each thread that asks, begun alike; one that died is replaced at the next file."""

    def __init__(self, beginning: dict[str, Any], known: bytes):
        self._beginning, self._known = beginning, known
        self._own = threading.local()
        self._all: list[Child] = []
        self._lock = threading.Lock()
        self._closed = False

    def take(self, job: CaptureJob) -> CaptureResult:
        asked = asdict(job) | {"path": str(job.path.absolute())}
        try:
            answer, _ = self._worker().ask(asked, b"", WALL_S)
        except ChildEnded as ended:
            self._own.child = None
            how = "takes too long" if ended.over_time else "ends the process that reads and measures it"
            return CaptureResult(job.name, refused=f"captures/{job.name} {how}; export or copy it again.")
        return CaptureResult.from_json(answer)

    def close(self) -> None:
        with self._lock:
            self._closed = True
            for child in self._all:
                child.close()

    def _worker(self) -> Child:
        child: Child | None = getattr(self._own, "child", None)
        if child is None:
            with self._lock:
                if self._closed:
                    raise ChildEnded("loading has ended")
                child = Child("ingest.fleet_folder.capture_worker")
                self._all.append(child)
            child.ask(self._beginning, self._known, WALL_S)
            self._own.child = child
        return child


def take(job: CaptureJob, ledger: Path, known: frozenset[str], *, store: bool) -> CaptureResult:
    """Read, measure and keep one capture, in this process."""
    from ingest.measuring.measurement import measure
    from ingest.readers.capture_file import read_capture
    from ingest.waveforms import store_waveform

    try:
        with faults_refused(job.name):
            capture = read_capture(job.path, probe=job.probe, channel=job.channel)
            about = replace(capture, current_a=np.empty(0))
            if capture.identity in known:
                return CaptureResult(job.name, capture.identity, about)
            reading = measure(capture, job.known)
            stored = store_waveform(ledger, capture) if store else None
            picture = thumbnail(capture.current_a)
            return CaptureResult(job.name, capture.identity, about, reading, stored, picture=picture)
    except PumpledgerError as error:
        return CaptureResult(job.name, refused=error.text)
