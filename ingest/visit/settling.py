"""Open questions settled by one of the answers they offer, many of one kind together, in one transaction."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb

from ingest.author import Author
from ingest.dates import read_day
from ingest.errors import EntryRefused
from ingest.ledger.changes import change_cells, log_change, row_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import return_to_trend
from ingest.ledger.rows import as_dicts
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp, transaction
from ingest.typed import tidy
from ingest.visit.came_off import came_off, take_off
from ingest.visit.choices import AS_TYPED, WITHDRAW, Choice, choices, column_of, says_yes
from ingest.visit.clamp_scaled import CODES as OF_CLAMPS
from ingest.visit.clamp_scaled import scale, scalings, since_day
from ingest.visit.corrections import take_out
from ingest.visit.factor_corrected import measure_again, read_with
from ingest.visit.instrument_cluster import odometer_as_typed
from ingest.visit.moving import give_to_pump, merge_unit, move_visit
from ingest.wording.sentence import READ_WITH

# Columns that an answer may put right, by table.
_ODOMETER = ("odometer_km",)
_OF_READING = ("rpm",)  # which stand in a visit's newest reading
_MAY_CHANGE = {
    "visit": (
        *_ODOMETER,
        "odometer_entered",
        "odometer_unit",
        "visited_on",
        "fuel_pressure_kpa",
        "delivery_l_min",
        "fuel_temp_c",
        "drop_supply_v",
        "drop_ground_v",
        "supply_v",
        "hours",
        *_OF_READING,
    ),
    "service": (*_ODOMETER, "done_on"),
    "breakdown": (*_ODOMETER, "happened_on"),
    "vehicle": ("vin",),
    "pump": ("fitted_on", "removed_on", "fitted_odometer_km", "removed_odometer_km"),
    "pump_type": ("segments",),
}
# What can be typed anew: a question's field -> column.
_DAYS = ("visited_on", "done_on", "happened_on", "fitted_on", "removed_on")
_COLUMN_OF = {
    "odometer": "odometer_km",
    "fitted_odometer": "fitted_odometer_km",
    "removed_odometer": "removed_odometer_km",
} | {day: day for day in _DAYS}
_READ_ON = {"fitted_odometer_km": "fitted_on", "removed_odometer_km": "removed_on"}  # its day, of a pump
_OF_ANOTHER_PUMP = ("not-removed", "serial-twice")  # what they ask is not the day of the row they stand at
_BY_NAME = ("vehicle", "pump_type")  # whose key is what they are called, digits or not
# Answers that any question may have: it doesn't matter, or it was put right by other means.
PLAIN = {"dismiss": "It doesn't matter", "corrected": "It is corrected"}

_STATUS = {"dismiss": "dismissed", "corrected": "corrected"}


def offered(connection: duckdb.DuckDBPyConnection, row: Mapping[str, Any]) -> tuple[Choice, ...]:
    """Return the answers to a stored question: a row with table_name, row_key, field, code and details."""
    table = row["table_name"]
    details = row["details"]
    told = json.loads(details) if isinstance(details, str) and details else None
    found = []
    about = column_of(row["field"]) if isinstance(row["field"], str) else None
    if row["code"] == "probe-factor" and table == "visit" and told:
        told[READ_WITH] = read_with(connection, int(row["row_key"]))
    for choice in choices(row["code"], told, about):
        meant = {
            _COLUMN_OF.get(str(about), k) if k == "odometer_km" else k: v for k, v in choice.values.items()
        }
        values = {k: v for k, v in meant.items() if k in _MAY_CHANGE.get(table, ())}
        if choice.values and not values and choice.times is None:
            continue
        if choice.unit is not None and table not in ("visit", "vehicle"):
            continue
        found.append(replace(choice, values=values))
    if row["code"] in OF_CLAMPS and told:
        found = [*scalings(connection, row), *found]
    if row["code"] == "implied-pump" and table == "pump":
        found = [*_pumps(connection, "lives_there", row), Choice(AS_TYPED, "A pump of unknown age")]
    if row["code"] == "between-pumps" and table == "visit":
        found = [*_pumps(connection, "lives_at_visit", row), *found]
    if row["code"] == "not-removed" and table == "pump":
        found = [*came_off(connection, int(row["row_key"])), *found]
    if table == "visit":
        found.append(Choice(WITHDRAW, "Withdraw the visit", needs_reason=True))
    return tuple(found)


def _pumps(connection: duckdb.DuckDBPyConnection, among: str, row: Mapping[str, Any]) -> list[Choice]:
    known = connection.execute(statement(f"visit/{among}"), [int(row["row_key"])]).fetchall()
    return [Choice(f"pump:{i}", f"It is the pump {said}", pump_id=i) for i, said in known]


def settle_questions(
    ledger: Path | str,
    question_ids: Sequence[int],
    key: str,
    reason: str,
    author: Author,
    *,
    command: str,
) -> int:
    """Settle questions by the answer `key` that each offers, or one of PLAIN; returns how many.

    All or none. Raises EntryRefused where one has been answered meanwhile, offers no such answer, or the
    answer wants a reason and none, or a bare yes, is given.
    """
    with open_ledger(ledger, read_only=False) as connection:
        rows = [_open_row(connection, question_id) for question_id in question_ids]
        answers = [_answer(connection, row, key, reason) for row in rows]
        return _settle(connection, rows, answers, reason, author, command, ledger)


def settle_by_value(
    ledger: Path | str, question_id: int, text: str, reason: str, author: Author, *, command: str
) -> None:
    """Settle a question about an odometer or a day by the right one, typed as the instrument shows it, or one
    about a clamp by the day since when it has been off.

    What was driven before a replaced instrument cluster is added. A bare number is in the fleet's unit.
    Raises EntryRefused where the question has been answered meanwhile or is about something else, and without
    a readable value or a reason.
    """
    with open_ledger(ledger, read_only=False) as connection:
        row = _open_row(connection, question_id)
        choice = _typed(connection, row, text)
        _demand_reason(choice, reason)
        _settle(connection, [row], [choice], reason, author, command, ledger)


_UNCHANGED = "This {what} stands there already; is it right as it stands?"


def takes_value(row: Mapping[str, Any]) -> str:
    """Return what the right value of a question's row is: "odometer", "day", or "since", the day since when a
    clamp has been off; "" where none can be typed."""
    if row["code"] == "clamp-off":
        return "since"
    column = _COLUMN_OF.get(column_of(row["field"]) or "", "")
    if column not in _MAY_CHANGE.get(row["table_name"], ()) or row["code"] in _OF_ANOTHER_PUMP:
        return ""
    return "day" if column in _DAYS else "odometer"


def _typed(connection: duckdb.DuckDBPyConnection, row: Mapping[str, Any], text: str) -> Choice:
    what = takes_value(row)
    if not what:
        raise EntryRefused(
            "no-such-answer",
            f"Question {row['question_id']} is about no odometer or day; take one of its answers.",
        )
    if what == "since":
        return since_day(connection, row, read_day(text, field="Day"))
    column = _COLUMN_OF[str(column_of(row["field"]))]
    table = row["table_name"]
    fact = row_of(connection, table, int(row["row_key"]))
    if fact is None:
        raise EntryRefused("no-row", f"There is no '{row['row_key']}' in {table}.")
    if what == "day":
        typed = read_day(text, field="Day")
        if fact[column] == typed:
            raise EntryRefused("unchanged", _UNCHANGED.format(what=what))
        return Choice("typed", f"It was {text}", {column: typed}, needs_reason=True)
    on = fact[_READ_ON.get(column) or next(day for day in _MAY_CHANGE[table] if day in _DAYS)]
    told = odometer_as_typed(connection, fact["unit"], on, text)
    values = told if table == "visit" else {column: told["odometer_km"]}
    if fact[column] is not None and math.isclose(fact[column], values[column], abs_tol=0.05):
        raise EntryRefused("unchanged", _UNCHANGED.format(what=what))
    return Choice("typed", f"It is {text}", values, needs_reason=True)


def _settle(
    connection: duckdb.DuckDBPyConnection,
    rows: Sequence[Mapping[str, Any]],
    answers: Sequence[Choice],
    reason: str,
    author: Author,
    command: str,
    ledger: Path | str,
) -> int:
    what = "correct" if any(a.changes or a.key == WITHDRAW for a in answers) else "work"
    settled = 0
    with transaction(connection, author, what, command=command) as stamp:
        for row, answer in zip(rows, answers, strict=True):
            if not _is_open(connection, row["question_id"]):
                continue  # an answer to one before it settled it too
            said = reason.strip() or answer.label
            back: list[int] = []
            if answer.times is not None and row["code"] in OF_CLAMPS:
                back = scale(connection, ledger, row, answer, stamp, said)
                answer = replace(answer, values={})  # the factor among them is put right
            elif answer.times is not None:
                measure_again(connection, ledger, int(row["row_key"]), answer.times, stamp, said)
            _apply(connection, row, answer, said, stamp)
            return_to_trend(connection, back)
            settled += 1
    return settled


def _open_row(connection: duckdb.DuckDBPyConnection, question_id: int) -> dict[str, Any]:
    rows = as_dicts(connection.execute(statement("visit/open_question"), [question_id]))
    if not rows:
        raise EntryRefused("answered", "This question was answered by someone else meanwhile; look again.")
    return rows[0]


def _is_open(connection: duckdb.DuckDBPyConnection, question_id: int) -> bool:
    return bool(connection.execute(statement("visit/open_question"), [question_id]).fetchall())


def _answer(connection: duckdb.DuckDBPyConnection, row: Mapping[str, Any], key: str, reason: str) -> Choice:
    if key in PLAIN:
        choice = Choice(key, PLAIN[key], needs_reason=True)
    else:
        known = {choice.key: choice for choice in offered(connection, row)}
        if key not in known:
            raise EntryRefused(
                "no-such-answer",
                f"Question {row['question_id']} has no answer '{key}'; it has {', '.join(known)}.",
            )
        choice = known[key]
    _demand_reason(choice, reason)
    return choice


def _demand_reason(choice: Choice, reason: str) -> None:
    if choice.needs_reason and (not reason.strip() or says_yes(reason)):
        raise EntryRefused("missing", "Give a reason first: why it is right, in a few words.")


def _apply(
    connection: duckdb.DuckDBPyConnection, row: Mapping[str, Any], choice: Choice, answer: str, stamp: Stamp
) -> None:
    table, key, status = row["table_name"], row["row_key"], "corrected"
    number: Any = int(key) if table not in _BY_NAME and str(key).isdigit() else key
    if choice.key == WITHDRAW:
        take_out(connection, int(key), answer, stamp)
        return
    if row["code"] == "not-removed" and choice.values:
        take_off(connection, int(key), choice, stamp, answer)
    elif choice.values:
        mine = {name: value for name, value in choice.values.items() if name not in _OF_READING}
        change_cells(connection, table, number, mine, stamp, reason=answer)
        read = {name: value for name, value in choice.values.items() if name in _OF_READING}
        if read:
            [(reading_id,)] = connection.execute(statement("visit/told_reading"), [number]).fetchall()
            change_cells(connection, "reading", reading_id, read, stamp, reason=answer)
    elif choice.unit is not None and table == "vehicle":
        merge_unit(connection, str(key), choice.unit, stamp, answer)
    elif choice.unit is not None:
        move_visit(connection, int(key), choice.unit, stamp, answer)
    elif choice.held or choice.times is not None:
        pass  # out of the trend since the question arose, or measured anew already
    elif choice.pump_id is not None and table == "visit":
        change_cells(connection, "visit", number, {"pump_id": choice.pump_id}, stamp, reason=answer)
        status = "confirmed"  # its row of a folder stays as it is, and asks no more
    elif choice.pump_id is not None:
        give_to_pump(connection, int(key), choice.pump_id, stamp, answer)
    else:
        status = _STATUS.get(choice.key, "confirmed")
    said = {"status": status, "answer": tidy(answer, "answer"), "by": stamp.by, "at": stamp.at}
    connection.execute(statement("visit/answer_question"), said | {"question_id": row["question_id"]})
    back = [int(key)] if table == "visit" else []
    if row["code"] == "clamp-shift" and not choice.held and choice.times is None:
        back = json.loads(row["details"])["visits"]
    return_to_trend(connection, back)
    log_change(connection, table, str(key), row["code"], None, status, stamp, reason=answer)
