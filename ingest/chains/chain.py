"""A chain: a pump's captures in order with what is known of it, measured without any ledger.

Each capture is measured knowing the speed found at the one before (see `ingest.last_speed`), so a chain is
measured in order by one worker, and chains in any order by as many as there are. The rows are the same
whoever measures.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

import numpy as np

from ingest.capture import Capture
from ingest.errors import PumpledgerError, faults_refused
from ingest.known_pump import UNKNOWN_PUMP, KnownPump
from ingest.last_speed import outweighed, speed_too_far
from ingest.object_path import Place
from ingest.reading import Reading
from ingest.thumbnail import thumbnail
from ingest.waveforms import StoredWaveform, keep_waveform, read_waveform

Measure = Callable[[Capture, KnownPump], Reading]


@dataclass(frozen=True)
class Link:
    """One visit of a chain: a capture to measure, or only the speed that is known of it already.

    path: a file to read, or with `stored` a waveform file of ours; None: nothing to measure. probe, channel,
    sample_rate, full_scale: how a file is to be read. rpm: the visit's speed as long as its capture is not
    measured anew. in_trend: whether the next visit may know this one's speed.
    """

    name: str
    path: Place | None
    known: KnownPump = UNKNOWN_PUMP
    stored: bool = False
    probe: str | None = None
    channel: str | None = None
    sample_rate: float | None = None
    full_scale: float | None = None
    rpm: float | None = None
    in_trend: bool = True


@dataclass(frozen=True)
class Chain:
    """The links of one pump, in order. `name` tells it from other chains of the same work."""

    name: str
    links: tuple[Link, ...]

    @property
    def to_measure(self) -> int:
        """How many captures it has to measure."""
        return sum(link.path is not None for link in self.links)


@dataclass(frozen=True)
class Work:
    """What all chains of one run share.

    keep_in: the folder that waveforms of files are kept in; None keeps none. known: captures by hash that
    need no reading, with the speed that is known of each. flush: whether each waveform is flushed to the disk
    at once; who says no flushes them all before the ledger refers to one.
    """

    keep_in: Place | None = None
    known: Mapping[str, float | None] = field(default_factory=dict)
    flush: bool = True


@dataclass(frozen=True)
class CaptureResult:
    """A capture read. `reading` and `stored` are None where the ledger holds them already; `about` is the
    capture without its samples. `refused` is the sentence of a file that could not be taken. `made_of` is the
    hash of all that the row follows from (see `made_of`)."""

    name: str
    capture_hash: str | None = None
    about: Capture | None = None
    reading: Reading | None = None
    stored: StoredWaveform | None = None
    refused: str = ""
    picture: tuple[float, ...] = ()
    made_of: str = ""


MeasureLink = Callable[[Link], CaptureResult]


def measure_chain(
    chain: Chain, work: Work | None = None, *, take: MeasureLink | None = None
) -> tuple[CaptureResult, ...]:
    """Return a row for each capture of `chain`, in order. Without `take`, all of it is done in this process.

    take: measures one link, for instance in a process of its own. What can't be read or measured is a row
    that says why, never an error.
    """
    work = work or Work()
    take = take or (lambda link: measure_link(link, work))
    rows: list[CaptureResult] = []
    before: dict[str | None, tuple[float, float | None]] = {}  # by engine state: speed and its volts
    untold: dict[str | None, list[float | None]] = {}  # by engine state: speeds too far from it, since
    for link in chain.links:
        rpm = link.rpm
        if link.path is not None:
            last = before.get(link.known.state)
            if last and not outweighed(untold[link.known.state]):
                link = replace(
                    link, known=replace(link.known, previous_rpm=last[0], previous_supply_v=last[1])
                )
            row = take(link)
            rows.append(row)
            if row.reading is not None:
                rpm = row.reading.rpm
                if rpm is None and last and link.in_trend:
                    untold[link.known.state].append(speed_too_far(row.reading.notes))
            elif row.capture_hash is not None:
                rpm = work.known.get(row.capture_hash)
        if rpm is not None and link.in_trend:
            before[link.known.state], untold[link.known.state] = (rpm, link.known.supply_v), []
    return tuple(rows)


def measure_link(link: Link, work: Work, measure_with: Measure | None = None) -> CaptureResult:
    """Read, measure and keep one capture, in this process; measure_with: instead of today's method."""
    from ingest.measuring.measurement import measure

    measure_with = measure_with or measure
    assert link.path is not None
    try:
        with faults_refused(link.name):
            if link.stored:
                capture = read_waveform(link.path)
                reading = measure_with(capture, link.known)
                return CaptureResult(link.name, capture.identity, reading=reading, made_of=made_of(link))
            return _from_file(link, work, measure_with)
    except PumpledgerError as error:
        return CaptureResult(link.name, refused=error.text)


def _from_file(link: Link, work: Work, measure_with: Measure) -> CaptureResult:
    from ingest.readers.capture_file import read_capture

    assert isinstance(link.path, Path)
    capture = read_capture(
        link.path,
        probe=link.probe,
        channel=link.channel,
        sample_rate_hz=link.sample_rate,
        full_scale=link.full_scale,
    )
    about = replace(capture, current_a=np.empty(0))
    if capture.identity in work.known:
        return CaptureResult(link.name, capture.identity, about)
    return CaptureResult(
        link.name,
        capture.identity,
        about,
        measure_with(capture, link.known),
        keep_waveform(work.keep_in, capture, flush=work.flush) if work.keep_in else None,
        picture=thumbnail(capture.current_a),
        made_of=made_of(link),
    )


def made_of(link: Link) -> str:
    """Return the hash of all that a link's row follows from: samples or file, what was known, the method.

    Empty where the file can't be read.
    """
    from ingest.measuring.measurement import METHOD_VERSION

    assert link.path is not None
    try:
        content = link.path.stem if link.stored else hashlib.sha256(link.path.read_bytes()).hexdigest()
    except OSError:
        return ""
    read_as = (link.probe, link.channel, link.sample_rate, link.full_scale)
    told = [METHOD_VERSION, content, link.name, link.stored, *read_as, asdict(link.known)]
    return hashlib.sha256(json.dumps(told, sort_keys=True, default=lambda n: n.item()).encode()).hexdigest()
