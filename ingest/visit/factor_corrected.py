"""A stored visit whose clamp factor was wrong: measured again with the right one, the reading before kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import duckdb

from ingest.ledger.changes import change_cells, row_of
from ingest.ledger.clamps import clamp_of
from ingest.ledger.rows import as_dicts
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.metrics import METRICS
from ingest.readers.options import parse_probe
from ingest.visit.clamp_factor import factor_used, scaled
from ingest.waveforms import load_waveform
from ingest.wording.stored import notes_from

# What a reading without a capture tells of the current itself, in A.
_OF_CURRENT = tuple(name for m in METRICS if m.folder and m.unit == "A" for name in (m.name, m.error) if name)


def read_with(connection: duckdb.DuckDBPyConnection, visit_id: int) -> dict[str, Any]:
    """Return what the answers about a stored visit's factor are made from; see `right_times`."""
    visit = row_of(connection, "visit", visit_id)
    rows = as_dicts(connection.execute(statement("visit/newest_reading"), [visit_id]))
    if visit is None or not rows:
        return {}
    clamp = clamp_of(connection, visit["clamp"])
    return {
        "ripple_a": rows[0]["ripple_a"],
        "v_per_a": factor_used(notes_from(rows[0]["notes"])) if visit["capture_hash"] else None,
        "clamp_v_per_a": parse_probe(clamp.factor) if clamp and clamp.factor else None,
        "metered": False,
    }


def measure_again(
    connection: duckdb.DuckDBPyConnection,
    ledger: Path | str,
    visit_id: int,
    times: float,
    stamp: Stamp,
    reason: str,
) -> None:
    """Put right a visit whose current is `times` what was read, in the caller's transaction.

    Its waveform is stored so and measured as the pump's others are; the one before stays with its reading. A
    figure without a capture is multiplied. Raises LedgerError where the waveform is missing or can't be kept.
    """
    visit = row_of(connection, "visit", visit_id)
    assert visit is not None
    if visit["capture_hash"] is None:
        _multiply(connection, visit, times, stamp, reason)
        return
    from ingest.visit.measured_anew import measured_as

    measured_as(
        connection, ledger, visit, scaled(load_waveform(ledger, visit["capture_hash"]), times), stamp, reason
    )


def _multiply(
    connection: duckdb.DuckDBPyConnection, visit: dict[str, Any], times: float, stamp: Stamp, reason: str
) -> None:
    if visit["meter_a"] is not None:
        right = {"meter_a": visit["meter_a"] * times}
        change_cells(connection, "visit", visit["visit_id"], right, stamp, reason=reason)
    for (number,) in connection.execute(statement("visit/told_reading"), [visit["visit_id"]]).fetchall():
        row = row_of(connection, "reading", number)
        assert row is not None
        cells = {name: row[name] * times for name in _OF_CURRENT if row[name] is not None}
        change_cells(connection, "reading", number, cells, stamp, reason=reason)
