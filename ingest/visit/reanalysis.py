"""Measure stored waveforms again with today's method: a new reading beside the old, never over it.

A pump's visits are a chain, so that each is measured knowing the speed found anew at the visit before. What
is measured waits beside the ledger; one transaction stores all of it, and a run that was broken off goes on
where it stopped.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

import duckdb

from ingest.author import PROGRAM
from ingest.chains.chain import CaptureResult, Chain, Link, Measure, Work, measure_link
from ingest.chains.running import Where, run_chains
from ingest.checking.told_segments import ask_about_segments, contradicts
from ingest.known_pump import KnownPump
from ingest.ledger.connection import open_ledger
from ingest.ledger.reading_rows import insert_readings
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.measuring.measurement import METHOD_VERSION
from ingest.object_path import Place
from ingest.waiting import drop_waiting, waiting_folder
from ingest.waveforms import waveform_folder, waveform_in

Progress = Callable[[int, int], None]


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
    is_due: bool
    state: str | None
    supply_v: float | None
    commanded: str | None
    duty_pct: float | None
    motor: str | None
    supply: str | None
    segments: int | None
    poles: int | None
    rpm_low: float | None
    rpm_high: float | None
    rpm: float | None
    in_trend: bool


_OF_THE_PUMP = ("state", "supply_v", "commanded", "duty_pct", "motor", "supply", "segments", "poles")


def reanalyse(
    ledger: Path | str,
    *,
    method_version: int = METHOD_VERSION,
    measure_with: Measure | None = None,
    progress: Progress | None = None,
    where: Where | None = None,
) -> Reanalysed:
    """Add a reading by the current method, and the segments told now, to every visit whose capture has none.

    So a speed that was left open is looked for again once the segments of its pump are told.

    progress(done, of) follows the captures. measure_with: instead of today's method, in this process; where:
    where they are measured (default: a process on each core). A capture that is missing or now refused is
    named and left alone.
    """
    waiting = waiting_folder(ledger)
    with open_ledger(ledger) as connection:
        rows = connection.execute(
            statement("upkeep/to_measure_again"), {"method_version": method_version}
        ).fetchall()
        pumps = connection.execute(statement("upkeep/pumps")).fetchall() if waiting.exists() else []
        visits = [_Visit(*row) for row in rows]
        usual = {day: _usual_band(connection, day) for day in {v.visited_on for v in visits if v.is_due}}
    work = Work()
    run = run_chains(
        _chains(visits, usual, waveform_folder(ledger)),
        work,
        where=where,
        waiting=waiting,
        progress=(lambda done, of, _name: progress(done, of)) if progress else None,
        take=partial(measure_link, work=work, measure_with=measure_with) if measure_with else None,
    )
    due = sorted((v for v in visits if v.is_due), key=lambda v: (v.visited_on, v.visit_id))
    measured = _store(ledger, due, run.rows, method_version)
    run.published()
    # A run that was killed once its rows were stored left them waiting, and nothing of such a pump is due.
    drop_waiting(waiting, (_name(pump_id) for (pump_id,) in pumps))
    failed = tuple(
        f"Visit {visit.visit_id} of unit {visit.unit}: {run.rows[str(visit.visit_id)].refused}"
        for visit in due
        if run.rows[str(visit.visit_id)].refused
    )
    return Reanalysed(method_version, measured, failed)


def _usual_band(connection: duckdb.DuckDBPyConnection, day: date) -> dict[str, float | None]:
    settings = settings_at(connection, day)
    return {name: settings[name] for name in ("rpm_low", "rpm_high")}


def _chains(visits: list[_Visit], usual: dict[date, dict[str, float | None]], folder: Place) -> list[Chain]:
    return [
        Chain(_name(pump_id), tuple(_link(visit, usual, folder) for visit in of_pump))
        for pump_id, of_pump in groupby(visits, key=lambda visit: visit.pump_id)
    ]


def _name(pump_id: int) -> str:
    return f"pump {pump_id}"


def _link(visit: _Visit, usual: dict[date, dict[str, float | None]], folder: Place) -> Link:
    known = KnownPump(**{name: getattr(visit, name) for name in _OF_THE_PUMP})
    link = Link(str(visit.visit_id), None, known, rpm=visit.rpm, in_trend=visit.in_trend)
    if not visit.is_due:
        return link
    band: dict[str, Any] = {
        name: getattr(visit, name) or value for name, value in usual[visit.visited_on].items()
    }
    path = waveform_in(folder, visit.capture_hash)
    return replace(link, path=path, known=replace(known, **band), stored=True)


def _store(ledger: Path | str, due: list[_Visit], rows: dict[str, CaptureResult], method_version: int) -> int:
    """Store what is measured in one transaction; what another run has stored meanwhile is left as it is."""
    readings = [
        (visit.visit_id, visit.capture_hash, reading)
        for visit in due
        if (reading := rows[str(visit.visit_id)].reading) is not None
    ]
    if not readings:
        return 0
    with open_ledger(ledger, read_only=False) as connection, transaction(connection, PROGRAM, "work"):
        told = {visit.visit_id for visit in due if visit.segments is not None}
        rows_there = connection.execute(statement("upkeep/measured_by"), [method_version]).fetchall()
        there = {
            (number, segments)
            for number, segments, open_untold in rows_there
            if not (open_untold and number in told)
        }
        fresh = [one for one in readings if (one[0], one[2].segments) not in there]
        insert_readings(connection, fresh)
        if any(contradicts(reading) for _, _, reading in fresh):
            ask_about_segments(connection)
    return len(fresh)
