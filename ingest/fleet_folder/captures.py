"""Read, measure and keep the captures a fleet folder names, up to two at a time.

Nothing here touches the database: waveform files that no visit comes to refer to are harmless.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from ingest.capture import Capture
from ingest.errors import PumpledgerError
from ingest.known_pump import UNKNOWN_PUMP, KnownPump
from ingest.reading import Reading
from ingest.waveforms import StoredWaveform

PROCESSES = 2


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
    work = [(job, ledger, known, store) for job in jobs]
    results: dict[str, CaptureResult] = {}
    if len(work) < 2 * PROCESSES:
        outcomes = map(_take, work)
        return _gather(outcomes, results, len(work), progress)
    with ProcessPoolExecutor(PROCESSES) as pool:
        return _gather(pool.map(_take, work, chunksize=2), results, len(work), progress)


def _gather(
    outcomes: Iterable[CaptureResult],
    results: dict[str, CaptureResult],
    total: int,
    progress: Callable[[int, int, str], None] | None,
) -> dict[str, CaptureResult]:
    for done, result in enumerate(outcomes, start=1):
        results[result.name] = result
        if progress:
            progress(done, total, result.name)
    return results


def _take(work: tuple[CaptureJob, Path, frozenset[str], bool]) -> CaptureResult:
    from dataclasses import replace

    import numpy as np

    from ingest.measuring.measurement import measure
    from ingest.readers.capture_file import read_capture
    from ingest.waveforms import store_waveform

    job, ledger, known, store = work
    try:
        capture = read_capture(job.path, probe=job.probe, channel=job.channel)
        about = replace(capture, current_a=np.empty(0))
        if capture.identity in known:
            return CaptureResult(job.name, capture.identity, about)
        reading = measure(capture, job.known)
        stored = store_waveform(ledger, capture) if store else None
        return CaptureResult(job.name, capture.identity, about, reading, stored)
    except FileNotFoundError:
        return CaptureResult(job.name, refused=f"there is no file captures/{job.name}")
    except PumpledgerError as error:
        return CaptureResult(job.name, refused=error.text)
