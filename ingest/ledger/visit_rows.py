"""Rows of the tables that hold captures and their readings."""

from __future__ import annotations

import json
import math
from dataclasses import fields
from datetime import UTC
from pathlib import PurePath
from typing import Any

import duckdb

from ingest.capture import Capture, Note
from ingest.durable import utc_now
from ingest.ledger.numbers import new_id
from ingest.ledger.statements import statement
from ingest.ledger.waveform_home import ledger_id, mark
from ingest.reading import Reading
from ingest.waveforms import StoredWaveform
from ingest.wording.stored import stored_note

# Kept apart from the plain columns: as JSON.
_JSON_FIELDS = {"speed_candidates", "notes"}


def plain(value: Any) -> Any:
    """Return `value` as the database takes it: numpy scalars unwrapped, NaN and infinities as NULL."""
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, tuple):
        return [plain(v) for v in value]
    return value


def notes_json(notes: tuple[Note, ...]) -> str:
    """Return notes as the JSON list kept in the `notes` columns."""
    return json.dumps([stored_note(note) for note in notes], ensure_ascii=False)


def insert_capture(connection: duckdb.DuckDBPyConnection, capture: Capture, stored: StoredWaveform) -> None:
    """Add the row of a capture whose waveform is stored; no effect if it has one.

    Its folder is marked as this ledger's; LedgerError where it is another's.
    """
    mark(stored.path.parent, ledger_id(connection))
    captured_at = capture.captured_at
    if captured_at is not None and captured_at.tzinfo is not None:
        captured_at = captured_at.astimezone(UTC).replace(tzinfo=None)
    connection.execute(
        statement("visit/insert_capture"),
        {
            "capture_hash": stored.capture_hash,
            "file_name": PurePath(capture.source).name or None,
            "channel": capture.channel or None,
            "sample_rate_hz": float(capture.sample_rate_hz),
            "samples": stored.samples,
            "start_s": float(capture.start_s),
            "stored_as": stored.encoding.stored_as,
            "scale_a": stored.encoding.scale_a,
            "offset_a": stored.encoding.offset_a,
            "captured_at": captured_at,
            "notes": notes_json(capture.notes),
            "recorded_at": utc_now(),
        },
    )


def insert_reading(
    connection: duckdb.DuckDBPyConnection,
    visit_id: int,
    reading: Reading,
    *,
    origin: str,
    capture_hash: str | None = None,
) -> int:
    """Add a reading of a visit and return its id. origin: "capture", "meter" or "elsewhere"."""
    row = reading_row(visit_id, reading, origin, capture_hash) | {"reading_id": new_id(connection, "reading")}
    text = statement("ledger/insert_row", table="reading", columns=", ".join(row))
    connection.execute(text.replace("{marks}", ", ".join(f"${name}" for name in row)), row)
    return row["reading_id"]


def reading_row(visit_id: int, reading: Reading, origin: str, capture_hash: str | None) -> dict[str, Any]:
    """Return a reading as its row holds it, without its number."""
    row = {f.name: plain(getattr(reading, f.name)) for f in fields(reading) if f.name not in _JSON_FIELDS}
    return row | {
        "visit_id": visit_id,
        "capture_hash": capture_hash,
        "origin": origin,
        "segment_profile_pct": row["segment_profile_pct"] or None,
        "speed_candidates": json.dumps(
            [[plain(c.rpm), plain(c.probability)] for c in reading.speed_candidates]
        ),
        "notes": notes_json(reading.notes),
        "recorded_at": utc_now(),
    }


def meter_reading(mean_a: float) -> Reading:
    """Return the reading of a meter's average alone: everything else can't be told."""
    unknown = dict.fromkeys(f.name for f in fields(Reading) if f.name.endswith(("_a", "_pct", "_se", "_ms")))
    unknown |= dict.fromkeys(("rpm", "segments", "speed_confidence"))
    unknown.pop("segment_profile_pct")
    return Reading(**unknown | {"mean_a": mean_a, "method_version": 0})  # type: ignore[arg-type]
