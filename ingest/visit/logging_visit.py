"""Store one visit: its waveform first, then everything else in one transaction, once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from math import isclose
from pathlib import Path
from typing import Any

import duckdb

from ingest.author import Author
from ingest.capture import Capture
from ingest.checking.told_segments import ask_about_segments, contradicts
from ingest.durable import utc_now
from ingest.errors import AnswerNeeded, EntryRefused, Question
from ingest.known_pump import TOLD, UNKNOWN_PUMP, KnownPump
from ingest.ledger.changes import change_cells, row_of
from ingest.ledger.clamps import clamp_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.depots import demand_own_unit, names_others
from ingest.ledger.numbers import new_id
from ingest.ledger.questions import KEEPS_OUT_OF_TREND, raise_question
from ingest.ledger.retried import retried
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp, transaction
from ingest.ledger.visit_rows import insert_capture, insert_reading, meter_reading, plain
from ingest.reading import Reading
from ingest.typed import tidy
from ingest.visit.checks import check_visit
from ingest.visit.choices import settled_by
from ingest.visit.completing import complete
from ingest.visit.entry import VisitEntry
from ingest.visit.instrument_cluster import count_on
from ingest.visit.measuring_context import measuring_context
from ingest.visit.pump_of_visit import (
    before_this,
    change_or_add_pump,
    find_pump,
    keep_serial,
    position_meant,
    pump_in_place,
)
from ingest.vocabulary import PARTS
from ingest.waveforms import store_waveform
from ingest.wording import questions as words
from ingest.wording.language import phrase
from ingest.wording.stored import stored_question

SAME_SAMPLES = (
    "These samples are already in the ledger as visit {visit} of unit {unit} on {day}; nothing was changed."
)
SAME_ENTRY = (
    "This entry is already in the ledger as visit {visit} of unit {unit} on {day}; nothing was changed."
)
ADDED = "This is visit {visit} of unit {unit} on {day} already; what it lacked is added to it: {names}."
OTHERS_STAND = (
    "Other values than typed stand there for {names}: where those are wrong, correct that visit on Pump "
    "history."
)
# What a technician reads beside a capture; none of it changes how the samples are measured.
_BESIDE_CAPTURE = (
    "odometer_km", "hours", "state", "commanded", "duty_pct", "fuel", "supply_v", "supply_v_at",
    "drop_supply_v", "drop_ground_v",
    "fuel_pressure_kpa", "delivery_l_min", "delivery_at", "pressure_hold_kpa", *PARTS, "fuel_temp_c",
    "fuel_level_pct", "zero_checked", "clamp_point", "technician", "note",
)  # fmt: skip
# What makes an entry without a capture the same as one that is there.
_SAME_METER = ("unit", "position", "visited_on", "odometer_km", "meter_a")
_SAME_CHECK = (
    "unit", "position", "visited_on", "odometer_km", "reason", "check_result", "closes", *PARTS,
    "fuel_pressure_kpa", "pressure_hold_kpa", "delivery_l_min", "supply_v",
)  # fmt: skip
# Entries of a visit that have no column of their own in the table `visit`.
_NOT_COLUMNS = {"serial", "same_pump", "pump_type", "done"}


@dataclass(frozen=True)
class LoggedVisit:
    """What became of one entry, in words; the questions a reason settled, and those that stay open."""

    stored: bool
    visit_id: int
    pump_id: int
    capture_hash: str | None
    text: str
    confirmed: tuple[Question, ...] = ()
    left_open: tuple[Question, ...] = ()


def log_visit(
    ledger: Path | str,
    entry: VisitEntry,
    capture: Capture | None = None,
    reading: Reading | None = None,
    answers: Mapping[str, str] | None = None,
    *,
    author: Author,
    most_questions: int | None = None,
    wait_s: float = 15.0,
) -> LoggedVisit:
    """Store one visit with its capture and reading, a meter's average amps alone, or what a check found.

    author: who stores it. answers: question code -> reason. most_questions: ask no more than so many, most
    basic first; the rest are stored open, and keep the visit out of the trend where they put its reading or
    mileage in doubt. A visit that is there already changes nothing (`stored` False).
    Raises AnswerNeeded when a question has no reason yet (typing the same value again is none, and a bare yes
    where the question offers another value: see `choices`),
    EntryRefused for an entry that can't be taken, LedgerError when the ledger can't be written.
    """
    answers = answers or {}
    if capture is None and entry.meter_a is None and not entry.examined:
        raise EntryRefused(
            "nothing-measured",
            "Neither a capture nor a meter's average amps nor anything examined was given.",
        )
    entry = complete(entry)
    if capture is not None and reading is None:
        reading = _measure(ledger, entry, capture, wait_s)
    return retried(
        lambda: _store(ledger, entry, capture, reading, answers, author, most_questions, wait_s),
        wait_s=wait_s,
    )


def _store(
    ledger: Path | str,
    entry: VisitEntry,
    capture: Capture | None,
    reading: Reading | None,
    answers: Mapping[str, str],
    author: Author,
    most_questions: int | None,
    wait_s: float,
) -> LoggedVisit:
    with open_ledger(ledger, read_only=False, wait_s=wait_s, unit=entry.unit) as connection:
        demand_own_unit(connection, author.depots, entry.unit)
        with transaction(connection, author, "work", command="log") as stamp:
            entry = replace(entry, position=position_meant(connection, entry.unit, entry.position))
            entry = _count_on(connection, entry)
            known = _same_visit(connection, entry, capture)
            if known:
                return _completed(connection, known, entry, reading, answers, stamp)
            pump_id, new_questions = find_pump(connection, entry)
            questions = (
                *new_questions,
                *check_visit(connection, entry, reading),
                *_second_reading(connection, entry),
            )
            if author.depots:  # who are asked about what they may see
                questions = tuple(q for q in questions if not names_others(q.text, (entry.unit,)))
            unanswered = [q for q in questions if not settled_by(q, answers.get(q.code, ""))]
            room = len(questions) if most_questions is None else most_questions
            ask = tuple(q for q in questions[:room] if q in unanswered)
            if ask:
                raise AnswerNeeded(ask)
            left_open = tuple(q for q in questions[room:] if q in unanswered)
            confirmed = tuple(q for q in questions if q not in left_open)
            stored = store_waveform(ledger, capture) if capture is not None else None
            if pump_id is None:
                pump_id = change_or_add_pump(connection, entry, stamp)
            keep_serial(connection, pump_id, entry.serial, stamp)
            if capture is not None and stored is not None:
                insert_capture(connection, capture, stored)
            capture_hash = stored.capture_hash if stored else None
            clamp = clamp_of(connection, entry.clamp)
            overdue = clamp.overdue(entry.visited_on) if clamp and entry.visited_on else ""
            entry = _with_told(connection, pump_id, entry)
            visit_id = _insert_visit(connection, entry, pump_id, capture_hash)
            if capture_hash is not None and reading is not None:
                insert_reading(connection, visit_id, reading, origin="capture", capture_hash=capture_hash)
                if contradicts(reading):
                    ask_about_segments(connection, pump_id)
            elif entry.meter_a is not None:
                insert_reading(connection, visit_id, meter_reading(entry.meter_a), origin="meter")
            _insert_services(connection, entry, visit_id)
            _keep_answers(connection, entry, visit_id, confirmed, answers, author)
            _leave_open(connection, entry, visit_id, left_open)
    text = phrase("Stored as visit {visit} of unit {unit}.", visit=visit_id, unit=entry.unit)
    if overdue:
        text += f" {overdue}"
    if left_open:
        more = "One more question about it is in the list of open questions."
        if len(left_open) > 1:
            more = "{count} more are in the list of open questions."
        text += f" {phrase(more, count=len(left_open))}"
    return LoggedVisit(True, visit_id, pump_id, capture_hash, text, confirmed, left_open)


def known_before_measuring(ledger: Path | str, entry: VisitEntry, *, wait_s: float = 15.0) -> KnownPump:
    """Return what the ledger tells `measure` about this visit's pump (see `measuring_context`)."""
    if not Path(ledger).exists():
        return UNKNOWN_PUMP
    entry = complete(entry)
    with open_ledger(ledger, wait_s=wait_s) as connection:
        entry = replace(entry, position=position_meant(connection, entry.unit, entry.position))
        pump_id = pump_in_place(connection, entry)
        entry = _with_told(connection, pump_id, entry)
        assert entry.visited_on is not None
        # Of a pump that may have been changed, the type is taken to be the same, but not its last speed.
        old = None if pump_id is not None else before_this(connection, entry)
        alike = old and entry.pump_type in (None, old["pump_type"])
        known = measuring_context(
            connection,
            old["pump_id"] if old and alike else pump_id,
            entry.visited_on,
            state=entry.state,
            supply_v=entry.supply_v,
            commanded=entry.commanded,
            duty_pct=entry.duty_pct,
            told={name: getattr(entry, name) for name in TOLD},
        )
    return known if old is None else replace(known, previous_rpm=None, previous_supply_v=None)


def _with_told(connection: duckdb.DuckDBPyConnection, pump_id: int | None, entry: VisitEntry) -> VisitEntry:
    """Fill in what was told of this pump's motor and supply at an earlier visit and not anew."""
    if pump_id is None:
        return entry
    asked = {"pump_id": pump_id, "visited_on": entry.visited_on}
    before = connection.execute(statement("visit/told_before"), asked).fetchall()[0]
    return replace(entry, **{
        name: value for name, value in zip(TOLD, before, strict=True) if getattr(entry, name) is None
    })  # fmt: skip


def _measure(ledger: Path | str, entry: VisitEntry, capture: Capture, wait_s: float) -> Reading:
    from ingest.measuring.measurement import measure

    return measure(capture, known_before_measuring(ledger, entry, wait_s=wait_s))


def _count_on(connection: duckdb.DuckDBPyConnection, entry: VisitEntry) -> VisitEntry:
    """Add to the odometer what the unit had driven before its instrument cluster was replaced."""
    if entry.odometer_km is None:
        return entry
    return replace(entry, odometer_km=count_on(connection, entry.unit, entry.visited_on, entry.odometer_km))


def _same_visit(
    connection: duckdb.DuckDBPyConnection, entry: VisitEntry, capture: Capture | None
) -> LoggedVisit | None:
    """Return the visit that holds these very samples, or this very meter entry, if there is one."""
    if capture is not None:
        query, said = "visit/same_capture", {"capture_hash": capture.identity}
    else:
        query = "visit/same_check" if entry.meter_a is None else "visit/same_meter_entry"
        names = _SAME_METER if entry.meter_a is not None else _SAME_CHECK
        said = {name: plain(getattr(entry, name)) for name in names}
    row = connection.execute(statement(query), said).fetchall()
    if not row:
        return None
    visit_id, pump_id, unit, visited_on = row[0]
    same = SAME_SAMPLES if capture is not None else SAME_ENTRY
    text = phrase(same, visit=visit_id, unit=unit, day=visited_on)
    if unit != entry.unit:
        right = phrase("If unit {unit} is the right one, withdraw that visit first.", unit=entry.unit)
        text += f" {right}"
    return LoggedVisit(False, visit_id, pump_id, capture.identity if capture is not None else None, text)


def _completed(
    connection: duckdb.DuckDBPyConnection,
    known: LoggedVisit,
    entry: VisitEntry,
    reading: Reading | None,
    answers: Mapping[str, str],
    stamp: Stamp,
) -> LoggedVisit:
    """Add to a visit that is there what was read beside its capture and it has nothing of; nothing that
    stands there changes. Another unit's or day's visit, and a check's, stay as they are."""
    there = row_of(connection, "visit", known.visit_id) or {}
    same = (there.get("unit"), there.get("visited_on")) == (entry.unit, entry.visited_on)
    lacks = [name for name in _BESIDE_CAPTURE if there.get(name, 0) is None]
    typed = [name for name in lacks if getattr(entry, name) is not None]
    if not same or (reading is None and entry.meter_a is None):
        return known
    if not typed:
        return _with_others(known, there, entry)
    beside = {"odometer" if name == "odometer_km" else name for name in typed}
    asked = tuple(q for q in check_visit(connection, entry, reading) if q.field in beside)
    if open_still := tuple(q for q in asked if not settled_by(q, answers.get(q.code, ""))):
        raise AnswerNeeded(open_still)
    shown = ("odometer_entered", "odometer_unit") if "odometer_km" in typed else ()
    values = {name: getattr(entry, name) for name in (*typed, *shown)}
    change_cells(connection, "visit", known.visit_id, values, stamp, reason="added by log")
    _keep_answers(connection, entry, known.visit_id, asked, answers, stamp.author)
    told = {"visit": known.visit_id, "unit": entry.unit, "day": entry.visited_on, "names": ", ".join(typed)}
    return _with_others(replace(known, text=phrase(ADDED, **told)), there, entry)


def _with_others(known: LoggedVisit, there: Mapping[str, Any], entry: VisitEntry) -> LoggedVisit:
    """Name what was typed and stands otherwise in the visit that is there already."""
    others = []
    for name in _BESIDE_CAPTURE:
        stands, typed = there.get(name), getattr(entry, name)
        if stands is None or typed is None:
            continue
        alike = isclose(stands, typed, rel_tol=1e-6) if isinstance(typed, float) else stands == typed
        others += [] if alike else [name]
    if not others:
        return known
    return replace(known, text=f"{known.text} {phrase(OTHERS_STAND, names=', '.join(others))}")


def _second_reading(connection: duckdb.DuckDBPyConnection, entry: VisitEntry) -> tuple[Question, ...]:
    """Ask before a second meter reading of the same pump on the same day."""
    if entry.meter_a is None:
        return ()
    rows = connection.execute(
        statement("visit/meter_that_day"),
        {"unit": entry.unit, "position": entry.position, "visited_on": entry.visited_on},
    ).fetchall()
    if not rows:
        return ()
    visit_id, meter_a = rows[0]
    day = str(entry.visited_on)
    return (words.second_meter_reading(entry.unit, day, visit_id, meter_a, entry.meter_a),)


def _insert_visit(
    connection: duckdb.DuckDBPyConnection, entry: VisitEntry, pump_id: int, capture_hash: str | None
) -> int:
    row = {name: plain(value) for name, value in asdict(entry).items() if name not in _NOT_COLUMNS}
    row |= {
        "visit_id": new_id(connection, "visit"),
        "pump_id": pump_id,
        "capture_hash": capture_hash,
        "recorded_at": utc_now(),
    }
    connection.execute(statement("visit/insert_visit"), row)
    return row["visit_id"]


def _insert_services(connection: duckdb.DuckDBPyConnection, entry: VisitEntry, visit_id: int) -> None:
    for work in dict.fromkeys(entry.done):
        connection.execute(
            statement("visit/insert_service"),
            {
                "service_id": new_id(connection, "service"),
                "unit": entry.unit,
                "done_on": entry.visited_on,
                "odometer_km": plain(entry.odometer_km),
                "work": work,
                "visit_id": visit_id,
                "recorded_at": utc_now(),
            },
        )


def _keep_answers(
    connection: duckdb.DuckDBPyConnection,
    entry: VisitEntry,
    visit_id: int,
    questions: tuple[Question, ...],
    answers: Mapping[str, str],
    author: Author,
) -> None:
    for question in questions:
        connection.execute(
            statement("visit/insert_answer"),
            {
                "question_id": new_id(connection, "question"),
                "at": utc_now(),
                "row_key": str(visit_id),
                "unit": entry.unit,
                "field": question.field,
                "code": question.code,
                "answer": tidy(answers[question.code].strip(), "answer"),
                "answered_by": entry.technician or author.name,
            }
            | stored_question(question),
        )


def _leave_open(
    connection: duckdb.DuckDBPyConnection, entry: VisitEntry, visit_id: int, questions: tuple[Question, ...]
) -> None:
    for question in questions:
        raise_question(connection, "visit", str(visit_id), question, unit=entry.unit)
    if any(q.code in KEEPS_OUT_OF_TREND for q in questions):
        connection.execute(statement("visit/out_of_trend"), [visit_id])
