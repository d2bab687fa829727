"""The tray: capture files that were taken in and wait until a unit is named, or a person lets them go."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import duckdb

from ingest.author import Author
from ingest.chains.chain import CaptureResult
from ingest.checking.clamp_shift import Shift
from ingest.errors import EntryRefused
from ingest.intake.clamp_checks import hold_shifts
from ingest.intake.longer_copy import OtherCopy, measure_longer, other_copy
from ingest.intake.matching import Match
from ingest.ledger.changes import row_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp, transaction
from ingest.ledger.visit_rows import insert_capture
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import LoggedVisit, log_visit
from ingest.waveforms import load_waveform

SHIFT_DAYS = 31  # how far back a clamp that was off is looked for when a morning is stored
_OF_AN_ENTRY = {f.name for f in fields(VisitEntry)} - {"unit", "same_pump", "visited_on", "done"}


@dataclass(frozen=True)
class Arrival:
    """One file taken in. `status`: matched, waiting, refused, known (there before, see `reason`), or longer:
    a copy whose beginning is visit `visit_id` already, which was measured again."""

    file_name: str
    file_hash: str
    match: Match
    result: CaptureResult
    captured_on: date
    clamp: str | None = None
    probe: str | None = None
    status: str = ""
    reason: str = ""
    tray_id: int | None = None
    visit_id: int | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain data for --json."""
        reading = self.result.reading
        return {
            "file": self.file_name, "status": self.status, "unit": self.match.unit,
            "position": self.match.position, "matched_by": self.match.matched_by, "reason": self.reason,
            "captured_on": self.captured_on.isoformat(), "clamp": self.clamp, "tray_id": self.tray_id,
            "visit_id": self.visit_id,
            "capture_hash": self.result.capture_hash,
            "mean_a": reading.mean_a if reading else None,
            "ripple_pct": reading.ripple_pct if reading else None,
            "rpm": reading.rpm if reading else None,
        }  # fmt: skip


@dataclass(frozen=True)
class Named:
    """A person's word on one file of the tray. Blank odometers stay blank; `more` are further columns of a
    visit as entered."""

    tray_id: int
    unit: str
    position: str | None = None
    more: Mapping[str, Any] = field(default_factory=dict)


def put_in_tray(ledger: Path, arrivals: Sequence[Arrival], *, author: Author) -> list[Arrival]:
    """Put files into the tray in one transaction; returns them with what became of each.

    Samples that are a visit's already, or in the tray, are known: nothing is added; one that waits without a
    unit gets it where it is told by now. A file that could not be
    read and now can takes the place of its refusal; a longer copy that of its beginning, whose visit is
    measured again from it.
    """
    done: list[Arrival] = []
    told: dict[int | None, str] = {}  # by number in the tray: which file of these it was told of
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "work", command="take") as stamp,
    ):
        for arrival in arrivals:
            put = _put(connection, ledger, arrival, author, stamp)
            if put.status == "matched" and put.tray_id in told:  # to be confirmed once, not twice
                said = f"These samples are in the tray as {put.tray_id} already, from {told[put.tray_id]}."
                put = replace(put, status="known", reason=said)
            told.setdefault(put.tray_id, put.file_name)
            done.append(put)
    return done


def _put(
    connection: duckdb.DuckDBPyConnection, ledger: Path, arrival: Arrival, author: Author, stamp: Stamp
) -> Arrival:
    result, found = arrival.result, arrival.match
    there = connection.execute(
        statement("intake/there_already"),
        {"capture_hash": result.capture_hash, "file_hash": arrival.file_hash},
    ).fetchall()
    if there:
        tray_id, visit_id, unit, status = there[0]
        if status == "waiting" and visit_id is None and found.unit:
            if unit is None:
                return _match_now(connection, arrival, tray_id)
            if unit == found.unit and not found.reason:  # still to be confirmed
                return replace(arrival, status="matched", tray_id=tray_id)
        where = f"visit {visit_id} of unit {unit}" if visit_id else f"in the tray as {tray_id} ({status})"
        return replace(arrival, status="known", reason=f"These samples are {where} already.", tray_id=tray_id)
    if before := other_copy(connection, ledger, arrival.file_name, result):
        return _of_one_run(connection, ledger, arrival, before, stamp)
    refused = bool(result.refused)
    status = "refused" if refused else "waiting"
    reason = result.refused or found.reason or None
    connection.execute(
        statement("intake/drop_refusal"), {"file_name": arrival.file_name, "file_hash": arrival.file_hash}
    )
    if result.stored is not None and result.about is not None:
        insert_capture(connection, result.about, result.stored)
    row = _seen(arrival) | {
        "status": status, "file_name": arrival.file_name, "unit": found.unit, "position": found.position,
        "matched_by": found.matched_by, "reason": reason, "captured_on": arrival.captured_on,
        "entry": json.dumps(dict(found.entry), default=str) if found.entry else None,
        "taken_by": author.name, "recorded_at": stamp.at,
    }  # fmt: skip
    tray_id = insert_row(connection, "tray", row)
    told = "refused" if refused else "matched" if found.unit and not found.reason else "waiting"
    return replace(arrival, status=told, reason=reason or "", tray_id=tray_id)


def _seen(arrival: Arrival) -> dict[str, Any]:
    """Return what a row of the tray holds of the file itself."""
    reading = arrival.result.reading
    return {
        "file_hash": arrival.file_hash, "capture_hash": arrival.result.capture_hash, "clamp": arrival.clamp,
        "probe": arrival.probe, "mean_a": reading.mean_a if reading else None,
        "ripple_pct": reading.ripple_pct if reading else None, "rpm": reading.rpm if reading else None,
        "picture": list(arrival.result.picture) or None,
    }  # fmt: skip


def _of_one_run(
    connection: duckdb.DuckDBPyConnection, ledger: Path, arrival: Arrival, before: OtherCopy, stamp: Stamp
) -> Arrival:
    """Put a longer copy in the place of its beginning, and leave a shorter one."""
    result = arrival.result
    assert result.stored is not None
    assert result.about is not None
    arrival = replace(arrival, tray_id=before.tray_id)
    if before.longer:
        return replace(arrival, status="known", reason=f"It is the beginning of {before.where}.")
    insert_capture(connection, result.about, result.stored)
    row = _seen(arrival) | {"tray_id": before.tray_id, "recorded_at": stamp.at}
    connection.execute(statement("intake/longer"), row)
    if before.visit_id is not None:
        measure_longer(connection, ledger, before, result.stored.capture_hash, stamp)
        found = replace(arrival.match, unit=before.unit, reason="")
        said = f"A longer copy of {before.where}, which is measured again from it."
        return replace(arrival, status="longer", reason=said, visit_id=before.visit_id, match=found)
    said = f"A longer copy of {before.where}."
    if before.status == "dropped":
        return replace(arrival, status="known", reason=said)
    found = arrival.match
    if before.unit is None and found.unit:
        return replace(
            _match_now(connection, arrival, before.tray_id), reason=f"{said} {found.reason}".strip()
        )
    told = "matched" if found.unit and not found.reason else "waiting"
    return replace(arrival, status=told, reason=f"{said} {found.reason}".strip())


def _match_now(connection: duckdb.DuckDBPyConnection, arrival: Arrival, tray_id: int) -> Arrival:
    """Give a file that waits the unit that is told by now: it, or its pump, was not on record before."""
    found = arrival.match
    said = {
        "tray_id": tray_id, "unit": found.unit, "position": found.position, "matched_by": found.matched_by,
        "reason": found.reason or None, "captured_on": arrival.captured_on, "clamp": arrival.clamp,
        "entry": json.dumps(dict(found.entry), default=str) if found.entry else None,
    }  # fmt: skip
    connection.execute(statement("intake/match"), said)
    status = "waiting" if found.reason else "matched"
    return replace(arrival, status=status, reason=found.reason, tray_id=tray_id)


def store_named(
    ledger: Path,
    named: Sequence[Named],
    *,
    author: Author,
    each: Callable[[LoggedVisit], None] = lambda _logged: None,
) -> tuple[list[LoggedVisit], dict[int, str], list[Shift]]:
    """Store files of the tray as visits of the units named; returns the visits, why others were not, and the
    clamps that were found to have shifted.

    Each is measured anew knowing its pump. What is asked of an entry goes to the open questions, and keeps
    the visit out of the trend where it must; nothing is guessed. A unit has to be on record with a pump.
    each: is told of each visit once it is stored.
    """
    stored: list[LoggedVisit] = []
    failed: dict[int, str] = {}
    for one in named:
        try:
            stored.append(_store(ledger, one, author))
        except EntryRefused as refused:
            failed[one.tray_id] = refused.text
        else:
            each(stored[-1])
    since = date.today() - timedelta(days=SHIFT_DAYS)
    shifts = hold_shifts(ledger, author=author, since=since) if stored else []
    return stored, failed, shifts


def _store(ledger: Path, one: Named, author: Author) -> LoggedVisit:
    with open_ledger(ledger) as connection:
        row = _waiting(connection, one.tray_id)
        if not one.unit.strip():
            raise EntryRefused("unit-missing", f"File {row['file_name']}: name its unit first.")
        if not connection.execute(statement("visit/unit_known"), [one.unit.strip()]).fetchall():
            raise EntryRefused(
                "unknown-unit", f"Unit {one.unit} is not on record; add it first, or correct its number."
            )
    said = {k: v for k, v in json.loads(row["entry"] or "{}").items() if k in _OF_AN_ENTRY}
    said |= {k: row[k] for k in ("clamp", "probe", "position") if row[k] is not None and not said.get(k)}
    said |= {k: v for k, v in one.more.items() if v is not None}
    if one.position:
        said["position"] = one.position
    entry = VisitEntry(
        **{"unit": one.unit.strip(), "visited_on": row["captured_on"], "technician": author.name} | said
    )
    capture = load_waveform(ledger, row["capture_hash"])
    logged = log_visit(ledger, entry, capture, author=author, most_questions=0)
    _mark(ledger, one.tray_id, "stored", author, visit_id=logged.visit_id)
    return logged


def drop(ledger: Path, tray_id: int, reason: str, *, author: Author) -> None:
    """Let a file of the tray go, with a reason; EntryRefused without one, or where it no longer waits."""
    if not reason.strip():
        raise EntryRefused("missing", "Give a reason first: why this file is no visit.")
    with open_ledger(ledger) as connection:
        _waiting(connection, tray_id, also="refused")
    _mark(ledger, tray_id, "dropped", author, reason=reason.strip())


def _waiting(connection: duckdb.DuckDBPyConnection, tray_id: int, also: str = "waiting") -> dict[str, Any]:
    row = row_of(connection, "tray", tray_id)
    if row is None or row["status"] not in ("waiting", also):
        raise EntryRefused("not-waiting", f"File {tray_id} does not wait in the tray (any more); look again.")
    return row


def _mark(
    ledger: Path,
    tray_id: int,
    status: str,
    author: Author,
    *,
    visit_id: int | None = None,
    reason: str | None = None,
) -> None:
    said = {"tray_id": tray_id, "status": status, "visit_id": visit_id, "reason": reason, "by": author.name}
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "work", command="take"),
    ):
        connection.execute(statement("intake/mark"), said)
