"""Many readings at once: one insert, however many there are."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import duckdb
import pyarrow as pa

from ingest.ledger.numbers import new_ids
from ingest.ledger.statements import statement
from ingest.ledger.visit_rows import reading_row
from ingest.reading import Reading

_WHOLE = {"visit_id", "method_version", "segments", "weakest_segment", "strongest_segment"}
_TEXT = {"capture_hash", "origin", "speed_candidates", "notes"}


def insert_readings(
    connection: duckdb.DuckDBPyConnection, measured: Sequence[tuple[int, str, Reading]]
) -> None:
    """Add a reading to each visit: (visit_id, capture_hash, reading), in the caller's transaction."""
    if not measured:
        return
    rows = [reading_row(visit, reading, "capture", capture) for visit, capture, reading in measured]
    table = pa.table({name: pa.array([row[name] for row in rows], _type(name)) for name in rows[0]})
    ids = new_ids(connection, "reading", len(rows))
    connection.register("new_rows", table.append_column("reading_id", pa.array(ids, pa.int64())))
    connection.execute(statement("ledger/insert_rows", table="reading"))
    connection.unregister("new_rows")


def _type(name: str) -> Any:
    if name in _WHOLE:
        return pa.int64()
    if name in _TEXT:
        return pa.string()
    if name == "recorded_at":
        return pa.timestamp("us")
    return pa.list_(pa.float64()) if name == "segment_profile_pct" else pa.float64()
