"""A file that comes again, longer: its first copy was held up on its way, and was its beginning only."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import duckdb
import numpy as np

from ingest.chains.chain import CaptureResult
from ingest.errors import LedgerError
from ingest.ledger.changes import row_of
from ingest.ledger.rows import as_dicts
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.visit.clamp_factor import scaled
from ingest.visit.measured_anew import measured_as
from ingest.waveforms import load_waveform, read_waveform

LAST_SAMPLES = 2  # of a copy cut off: a number may have lost its last digits
SAME_RATE = 1e-3  # share by which the rate of a beginning may differ, worked out from fewer times


@dataclass(frozen=True)
class OtherCopy:
    """A file of the same name in the tray whose samples begin alike. `longer`: it is the longer of the two;
    `status`, `unit`: of its row; `visit_id`: the visit it was stored as, `visit_capture`: that visit's."""

    tray_id: int
    status: str
    capture_hash: str
    samples: int
    longer: bool
    visit_id: int | None
    unit: str | None
    visit_capture: str | None

    @property
    def where(self) -> str:
        """What it is, as a sentence names it."""
        if self.visit_id is not None:
            return f"visit {self.visit_id} of unit {self.unit}"
        return f"file {self.tray_id} of the tray" + (", which was let go" if self.status == "dropped" else "")


def other_copy(
    connection: duckdb.DuckDBPyConnection, ledger: Path, file_name: str, result: CaptureResult
) -> OtherCopy | None:
    """Return the copy of a file in the tray that it goes on from, or that goes on from it; None without.

    result: of the file, measured and kept just now.
    """
    if result.stored is None:
        return None
    asked = {"file_name": file_name, "capture_hash": result.capture_hash}
    rows = as_dicts(connection.execute(statement("intake/same_name"), asked))
    if not rows:
        return None
    mine = read_waveform(result.stored.path)
    for row in rows:
        rate = row.pop("sample_rate_hz")
        if abs(rate / mine.sample_rate_hz - 1) > SAME_RATE or row["samples"] == len(mine.current_a):
            continue
        try:
            other = load_waveform(ledger, row["capture_hash"])
        except LedgerError:  # damaged or cleared away, which `pumpledger check` tells
            continue
        if _begins(mine.current_a, other.current_a):
            return OtherCopy(**row, longer=len(other.current_a) > len(mine.current_a))
    return None


def _begins(a: np.ndarray, b: np.ndarray) -> bool:
    """Return whether the shorter of two records is the beginning of the longer, and not flat."""
    same = min(len(a), len(b)) - LAST_SAMPLES
    return same > 0 and bool(np.array_equal(a[:same], b[:same], equal_nan=True) and np.ptp(a[:same]) > 0)


def measure_longer(
    connection: duckdb.DuckDBPyConnection,
    ledger: Path,
    before: OtherCopy,
    capture_hash: str,
    stamp: Stamp,
) -> None:
    """Measure the visit of a shorter copy again from the longer one, in the caller's transaction.

    Where its factor was put right since, the longer copy is read with that. LedgerError where a waveform is
    missing or can't be kept.
    """
    assert before.visit_id is not None
    assert before.visit_capture is not None
    visit = row_of(connection, "visit", before.visit_id)
    assert visit is not None
    capture = load_waveform(ledger, capture_hash)
    if before.visit_capture != before.capture_hash:
        capture = scaled(capture, _times(ledger, before))
    said = f"a longer copy of its file came: {len(capture.current_a):,} samples, not {before.samples:,}"
    measured_as(connection, ledger, visit, capture, stamp, said)


def _times(ledger: Path, before: OtherCopy) -> float:
    assert before.visit_capture is not None
    first = load_waveform(ledger, before.capture_hash)
    now = load_waveform(ledger, before.visit_capture)
    return float(np.nanmean(now.current_a) / np.nanmean(first.current_a))
