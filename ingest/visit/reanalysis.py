"""Measure stored waveforms again with today's method: a new reading beside the old, never over it.

Visits are taken in order of time, so that each is measured knowing the speed found anew at the visit before.
What is done is stored as it goes: an interrupted run goes on where it stopped.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import duckdb

from ingest.author import PROGRAM
from ingest.capture import Capture
from ingest.errors import CaptureRefused, LedgerError
from ingest.known_pump import TOLD, KnownPump
from ingest.ledger.connection import open_ledger
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.ledger.visit_rows import insert_reading
from ingest.measuring.measurement import METHOD_VERSION, measure
from ingest.reading import Reading
from ingest.visit.measuring_context import measuring_context
from ingest.waveforms import load_waveform

Measure = Callable[[Capture, KnownPump], Reading]
Progress = Callable[[int, int], None]
STORE_EVERY_S = 2.0


@dataclass(frozen=True)
class Reanalysed:
    """How many visits got a new reading, and the sentences of those that couldn't be measured."""

    method_version: int
    measured: int
    failed: tuple[str, ...] = field(default_factory=tuple)


@dataclass(frozen=True)
class _Visit:
    visit_id: int
    pump_id: int
    unit: str
    visited_on: date
    capture_hash: str
    state: str | None
    supply_v: float | None
    commanded: str | None
    duty_pct: float | None
    motor: str | None
    supply: str | None
    segments: int | None
    poles: int | None


def reanalyse(
    ledger: Path | str,
    *,
    method_version: int = METHOD_VERSION,
    measure_with: Measure = measure,
    progress: Progress | None = None,
) -> Reanalysed:
    """Add a reading by the current method to every visit whose capture has none yet.

    progress(done, of) follows the visits. A capture that is missing or now refused is named and left alone.
    """
    with open_ledger(ledger) as connection:
        rows = connection.execute(
            statement("upkeep/to_measure_again"), {"method_version": method_version}
        ).fetchall()
    visits = [_Visit(*row) for row in rows]
    waiting: dict[int, tuple[_Visit, Reading]] = {}  # by pump: measured, not stored yet
    failed: list[str] = []
    measured = 0
    stored_at = time.monotonic()
    for done, visit in enumerate(visits, start=1):
        if visit.pump_id in waiting or time.monotonic() - stored_at > STORE_EVERY_S:
            measured += _store(ledger, waiting)
            stored_at = time.monotonic()
        try:
            capture, known = _prepared(ledger, visit)
            waiting[visit.pump_id] = visit, measure_with(capture, known)
        except (LedgerError, CaptureRefused) as error:
            failed.append(f"Visit {visit.visit_id} of unit {visit.unit}: {error.text}")
        if progress:
            progress(done, len(visits))
    measured += _store(ledger, waiting)
    return Reanalysed(method_version, measured, tuple(failed))


def _prepared(ledger: Path | str, visit: _Visit) -> tuple[Capture, KnownPump]:
    capture = load_waveform(ledger, visit.capture_hash)
    with open_ledger(ledger) as connection:
        known = measuring_context(
            connection,
            visit.pump_id,
            visit.visited_on,
            state=visit.state,
            supply_v=visit.supply_v,
            commanded=visit.commanded,
            duty_pct=visit.duty_pct,
            told={name: getattr(visit, name) for name in TOLD},
            before_visit_id=visit.visit_id,
        )
    return capture, known


def _store(ledger: Path | str, waiting: dict[int, tuple[_Visit, Reading]]) -> int:
    """Store what waits in one transaction; what another run has stored meanwhile is left as it is."""
    if not waiting:
        return 0
    stored = 0
    with open_ledger(ledger, read_only=False) as connection, transaction(connection, PROGRAM, "work"):
        for visit, reading in waiting.values():
            if _has_reading(connection, visit.visit_id, reading.method_version):
                continue
            insert_reading(
                connection, visit.visit_id, reading, origin="capture", capture_hash=visit.capture_hash
            )
            stored += 1
    waiting.clear()
    return stored


def _has_reading(connection: duckdb.DuckDBPyConnection, visit_id: int, method_version: int) -> bool:
    return bool(
        connection.execute(
            statement("upkeep/has_reading"),
            [visit_id, method_version],
        ).fetchall()
    )
