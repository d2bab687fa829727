"""Keep waveforms as Parquet files beside the ledger, so that they come back sample for sample.

`pumpledger.duckdb` keeps its waveforms in `pumpledger.waveforms/`, `other.db` in `other.db-waveforms/`, each
named by its capture's hash. A file in that folder's place holds the address of an object store instead.
A file is written whole under another name, flushed to disk (a run of many flushes all at its end) and
renamed, so one that bears its name is complete; one that no visit refers to is harmless. Each is sealed: the
hash of its bytes is checked before a library parses them (`ingest.sealed`).
"""

from __future__ import annotations

import json
import os
import uuid
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from ingest.apart.child import ChildEnded, Children
from ingest.capture import Capture, Note, from_description
from ingest.durable import flush_content, flush_file, flush_folder
from ingest.errors import LedgerError
from ingest.object_path import Place, is_object, object_path
from ingest.sealed import seal_holds, sealed_parquet
from ingest.server_address import is_address, server_of

if TYPE_CHECKING:
    import pyarrow as pa

StoredAs = Literal["int16", "int32", "float32", "float64"]
COLUMN = "current_a"
TEMPORARY = ".part"
PARSED_WITHIN_S = 30.0
FLUSHED_AT_ONCE = 16
_children = Children("ingest.waveform_child")
# Distinct values looked at when a step size is sought; a sound converter record has far fewer.
_LEVELS_CONSIDERED = 4096
_ADDRESS_BYTES = 4096


@dataclass(frozen=True)
class Encoding:
    """How samples are kept. Integers k stand for k * scale_a + offset_a, or k / steps_per_a + offset_a."""

    stored_as: StoredAs
    scale_a: float | None = None
    offset_a: float | None = None
    steps_per_a: float | None = None

    def decode(self, stored: np.ndarray) -> np.ndarray:
        """Return amperes, float64, shape (n,)."""
        values = stored.astype(np.float64)
        if self.steps_per_a is not None:
            values = values / self.steps_per_a
        elif self.scale_a is not None:
            values = values * self.scale_a
        return values + self.offset_a if self.offset_a else values


@dataclass(frozen=True)
class StoredWaveform:
    """Where and how one capture's samples were kept."""

    capture_hash: str
    path: Place
    encoding: Encoding
    samples: int
    written: bool  # False: it was there already


def waveform_folder(ledger: Path | str) -> Place:
    """Return the folder beside `ledger`, links followed, that holds its waveforms; no two names share one.

    Or the place in an object store that is named there; LedgerError where its address is no sound one.
    """
    path = Path(ledger).resolve()
    if is_address(path) and path.exists() and (server := server_of(path)) and server.waveforms:
        return server.waveforms
    if path.suffix == ".duckdb":
        folder = path.with_suffix(".waveforms")
    else:
        folder = path.with_name(f"{path.name}-waveforms")
    if not folder.is_file():
        return folder
    with folder.open("rb") as file:
        told = file.read(_ADDRESS_BYTES).decode(errors="replace").strip()
    if not is_object(told):  # whatever it is, writing there says so
        return folder
    try:
        return object_path(told)
    except LedgerError as error:
        raise LedgerError(error.code, f"{folder}: {error.text}") from None


def waveform_path(ledger: Path | str, capture_hash: str) -> Place:
    """Return the file that holds (or would hold) one capture."""
    return waveform_in(waveform_folder(ledger), capture_hash)


def waveform_in(folder: Place, capture_hash: str) -> Place:
    """As `waveform_path`, where the folder is at hand: finding it asks the disk."""
    return folder / f"{capture_hash}.parquet"


def store_waveform(ledger: Path | str, capture: Capture) -> StoredWaveform:
    """Write the samples of `capture` beside `ledger`, as `keep_waveform` does."""
    return keep_waveform(waveform_folder(ledger), capture)


def keep_waveform(folder: Place, capture: Capture, *, flush: bool = True) -> StoredWaveform:
    """Write the samples of `capture` into a folder of waveforms, durably, unless they are there already.

    flush: False leaves making it durable to `flush_waveforms`, before anything refers to it: a file at a time
    waits for the disk twice, a thousand together hardly longer than one.

    Raises LedgerError (one sentence) when the folder can't be written or the disk is full.
    """
    path = waveform_in(folder, capture.identity)
    with suppress(OSError, KeyError, TypeError, ValueError):  # missing or damaged
        content = path.read_bytes()
        # one without a seal, or with a broken one, is written afresh below
        if seal_holds(content):
            stored, encoding, _ = _read_parquet(content)
            if Capture(encoding.decode(stored), capture.sample_rate_hz).identity == capture.identity:
                path.touch()  # young again: nobody cleans it away before a visit refers to it
                if flush and isinstance(path, Path):  # who wrote it may not have come to that
                    flush_file(path)
                return StoredWaveform(capture.identity, path, encoding, len(stored), written=False)
    samples, encoding = encode(capture.current_a)
    try:
        _write(path, _table(capture, samples, encoding), encoding, flush)
    except OSError as error:
        raise LedgerError(
            "waveform-not-stored",
            f"The waveform can't be written to {path.parent} ({error.strerror or error}); nothing was stored:"
            " free some space or allow writing there, then try again.",
        ) from error
    return StoredWaveform(capture.identity, path, encoding, len(samples), written=True)


def flush_waveforms(paths: Iterable[Place]) -> None:
    """Make waveforms that were kept without flushing survive a power cut; LedgerError where one can't be.

    Their order on disk doesn't matter, so that the disk is given all at once. What a store has said it holds
    lasts already.
    """
    wanted = sorted({path for path in paths if isinstance(path, Path)})
    if not wanted:
        return
    try:
        with ThreadPoolExecutor(FLUSHED_AT_ONCE) as pool:
            for _ in pool.map(flush_content, wanted):
                pass
        for folder in sorted({path.parent for path in wanted}):
            flush_folder(folder)
    except OSError as error:
        raise LedgerError(
            "waveform-not-stored",
            f"Waveforms can't be flushed to {wanted[0].parent} ({error.strerror or error}); nothing was"
            " stored: free some space or allow writing there, then try again.",
        ) from error


def still_whole(path: Place) -> bool:
    """Return whether a waveform that an earlier run wrote is there unharmed, and make it young again.

    Nobody cleans it away before a visit refers to it. It may not have been flushed before a power cut.
    """
    try:
        content = path.read_bytes()
        if not seal_holds(content):
            return False
        path.touch()
    except OSError:
        return False
    return True


def rename_source(ledger: Path | str, capture_hash: str, source: str) -> None:
    """Write one capture's file anew under another source: the name of the file it was read from."""
    capture = replace(load_waveform(ledger, capture_hash), source=source)
    samples, encoding = encode(capture.current_a)
    _write(waveform_path(ledger, capture_hash), _table(capture, samples, encoding), encoding, True)


def load_waveform(ledger: Path | str, capture_hash: str) -> Capture:
    """Return the capture kept under `capture_hash`, exactly as it was stored.

    Raises LedgerError when its file is missing or its samples no longer match the hash.
    """
    return read_waveform(waveform_path(ledger, capture_hash))


def read_waveform(path: Place) -> Capture:
    """Return the capture in one waveform file; LedgerError unless its name is the hash of its samples.

    A sealed file is parsed here, once its seal is seen to hold; any other in a child.
    """
    damaged = LedgerError(
        "waveform-damaged", f"The waveform file {path} can't be read; restore it from a backup."
    )
    try:
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise LedgerError(
            "waveform-missing", f"The waveform file {path} is missing; restore it from a backup."
        ) from error
    except OSError as error:
        raise damaged from error
    sealed = seal_holds(content)
    if sealed is False:
        raise damaged
    capture = parse_waveform(content) if sealed else _parsed_apart(content)
    if capture is None:
        raise damaged
    if capture.identity != path.stem:
        raise LedgerError(
            "waveform-damaged",
            f"The waveform file {path} is damaged: its samples don't match its name; restore a copy.",
        )
    return capture


def parse_waveform(content: bytes) -> Capture | None:
    """Return the capture in the content of a waveform file of ours, or None if it is another Parquet file.

    For a child, or for bytes whose seal holds: what is damaged may end the process.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        if b"capture" not in (pq.read_schema(pa.BufferReader(content)).metadata or {}):
            return None
        return _capture(*_read_parquet(content))
    except (pa.ArrowException, OSError, KeyError, TypeError, ValueError):
        return None


def _parsed_apart(content: bytes) -> Capture | None:
    try:
        answer, body = _children.ask({}, content, PARSED_WITHIN_S, sound=lambda told: "capture" in told)
    except ChildEnded:
        return None
    if "capture" not in answer:
        return None
    return from_description(answer["capture"], np.frombuffer(body, "<f8").astype(np.float64))


def _capture(stored: np.ndarray, encoding: Encoding, about: dict) -> Capture:
    captured_at = about["captured_at"]
    return Capture(
        current_a=encoding.decode(stored),
        sample_rate_hz=float.fromhex(about["sample_rate_hz"]),
        start_s=float.fromhex(about["start_s"]),
        source=about["source"],
        channel=about["channel"],
        captured_at=datetime.fromisoformat(captured_at) if captured_at else None,
        notes=tuple(Note(**note) for note in about["notes"]),
    )


def encode(current_a: np.ndarray) -> tuple[np.ndarray, Encoding]:
    """Return the samples in the smallest form that gives back every bit, and how to read it.

    current_a: shape (n,), amperes. Integers are tried as decimal steps (a text file's digits) and as the
    smallest step seen (a converter's counts); then float32; float64 always holds.
    """
    values = np.ascontiguousarray(current_a, dtype=np.float64)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # absurd values fall to float64
        return _encode(values)


def _encode(values: np.ndarray) -> tuple[np.ndarray, Encoding]:
    levels = np.unique(values[: 4 * _LEVELS_CONSIDERED])[:_LEVELS_CONSIDERED]
    if len(levels) and np.isfinite(levels).all():
        candidates = [c for c in _integer_candidates(levels) if _integers(levels, c) is not None]
        for encoding in candidates:
            counts = _integers(values, encoding)
            if counts is not None:
                fits_16 = counts.min() >= -(2**15) and counts.max() < 2**15
                kind: StoredAs = "int16" if fits_16 else "int32"
                return counts.astype(kind), Encoding(
                    kind, encoding.scale_a, encoding.offset_a, encoding.steps_per_a
                )
    single = values.astype(np.float32)
    if _same_bits(single.astype(np.float64), values):
        return single, Encoding("float32")
    return values, Encoding("float64")


def _integer_candidates(levels: np.ndarray) -> list[Encoding]:
    decimals = [Encoding("int32", 10.0**-d, 0.0, 10.0**d) for d in range(7)]
    if len(levels) < 2:
        return decimals
    smallest = float(np.diff(levels).min())
    steps = [smallest]
    for origin in (0.0, float(levels[0])):
        span = levels[-1] - origin
        count = np.rint(span / smallest)
        if count:
            steps.append(float(span / count))
    return decimals + [
        Encoding("int32", step, offset) for step in dict.fromkeys(steps) for offset in (0.0, float(levels[0]))
    ]


def _integers(values: np.ndarray, encoding: Encoding) -> np.ndarray | None:
    """Return the integers that `encoding` decodes to exactly these values, or None."""
    assert encoding.scale_a is not None
    if encoding.scale_a <= 0:
        return None
    shifted = values - (encoding.offset_a or 0.0)
    counts = np.rint(shifted * encoding.steps_per_a if encoding.steps_per_a else shifted / encoding.scale_a)
    if not (np.abs(counts) < 2**31).all():
        return None
    whole = counts.astype(np.int32)  # before comparing: an integer can't keep -0.0
    return whole if _same_bits(encoding.decode(whole), values) else None


def _same_bits(a: np.ndarray, b: np.ndarray) -> bool:
    return bool(np.array_equal(a.view(np.int64), b.view(np.int64)))


def _dictionary_is_exact(samples: np.ndarray) -> bool:
    """A dictionary takes -0.0 for 0.0 and one NaN for another; the hash of the samples does not."""
    return not (np.isnan(samples).any() or (np.signbit(samples) & (samples == 0)).any())


def _table(capture: Capture, samples: np.ndarray, encoding: Encoding) -> pa.Table:
    import pyarrow as pa

    about = {
        "sample_rate_hz": float(capture.sample_rate_hz).hex(),
        "start_s": float(capture.start_s).hex(),
        "source": capture.source,
        "channel": capture.channel,
        "captured_at": capture.captured_at.isoformat() if capture.captured_at else None,
        "notes": [asdict(note) for note in capture.notes],
        "encoding": asdict(encoding),
    }
    return pa.table({COLUMN: pa.array(samples)}).replace_schema_metadata(
        {"capture": json.dumps(about, ensure_ascii=False)}
    )


def _write(path: Place, table: pa.Table, encoding: Encoding, flush: bool) -> None:
    whole = encoding.stored_as in ("int16", "int32")
    content = sealed_parquet(
        table,
        compression="zstd",
        # Quantised floats repeat a few values, which a dictionary packs as well as counts.
        use_dictionary=not whole and _dictionary_is_exact(table[COLUMN].to_numpy()),
        column_encoding={COLUMN: "DELTA_BINARY_PACKED"} if whole else None,
        store_schema=True,
    )
    if not isinstance(path, Path):
        path.write_bytes(content)
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.stem}.{uuid.uuid4().hex[:8]}{TEMPORARY}")
    try:
        with part.open("wb") as file:
            file.write(content)
            if flush:
                file.flush()
                os.fsync(file.fileno())
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    if flush:
        flush_folder(path.parent)


def _read_parquet(content: bytes) -> tuple[np.ndarray, Encoding, dict]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pq.ParquetFile(pa.BufferReader(content)).read()
    about = json.loads(table.schema.metadata[b"capture"])
    return table[COLUMN].to_numpy(), Encoding(**about["encoding"]), about
