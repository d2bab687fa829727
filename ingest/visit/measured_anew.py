"""A stored visit measured again from another capture of the same run; the reading before stays."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import duckdb

from ingest.capture import Capture
from ingest.checking.told_segments import ask_about_segments, contradicts
from ingest.known_pump import TOLD
from ingest.ledger.changes import change_cells
from ingest.ledger.transaction import Stamp
from ingest.ledger.visit_rows import insert_capture, insert_reading
from ingest.measuring.measurement import measure
from ingest.visit.clamp_factor import factor_used, written
from ingest.visit.measuring_context import measuring_context
from ingest.waveforms import store_waveform


def measured_as(
    connection: duckdb.DuckDBPyConnection,
    ledger: Path | str,
    visit: dict[str, Any],
    capture: Capture,
    stamp: Stamp,
    reason: str,
) -> None:
    """Store a capture as that of a visit (its row) and measure it as its pump's others are measured.

    In the caller's transaction. The capture before stays with its reading. Raises LedgerError where the
    waveform can't be kept.
    """
    known = measuring_context(
        connection,
        visit["pump_id"],
        visit["visited_on"],
        told={name: visit[name] for name in TOLD},
        **{name: visit[name] for name in ("state", "supply_v", "commanded", "duty_pct")},
    )
    reading = measure(capture, known)
    stored = store_waveform(ledger, capture)
    insert_capture(connection, capture, stored)
    insert_reading(connection, visit["visit_id"], reading, origin="capture", capture_hash=stored.capture_hash)
    used = factor_used(capture.notes)
    cells: dict[str, Any] = {"capture_hash": stored.capture_hash}
    if used is not None:
        cells["probe"] = written(used)
    change_cells(connection, "visit", visit["visit_id"], cells, stamp, reason=reason)
    if contradicts(reading):
        ask_about_segments(connection, visit["pump_id"])
