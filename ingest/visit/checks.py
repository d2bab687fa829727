"""What a person must confirm before one visit is stored: slips of the unit, odometer, date, probe and units.

Nothing is corrected here. Each question stands until a person gives a reason; typing the same value again
is none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import date, timedelta
from typing import Any

import duckdb
import numpy as np

from ingest.checking.identifiers import MANGLED, unit_key
from ingest.checking.odometer import judge_entry
from ingest.checking.other_unit import units_like
from ingest.checking.wrong_units import Shown, Usual, wrong_units
from ingest.errors import Question
from ingest.ledger.clamps import clamp_of
from ingest.ledger.rows import as_dicts
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.readers.options import parse_probe
from ingest.reading import Reading
from ingest.settings_in_force import Settings
from ingest.trade_numbers import FAR_FROM_OWN_LEVEL, PLAUSIBLE_A, SUPPLY_SHARE, probe_factor_band
from ingest.units import UNITS
from ingest.visit.clamp_factor import factor_used, in_line, right_times
from ingest.visit.entry import VisitEntry
from ingest.vocabulary import FAULT_REASONS
from ingest.wording import questions
from ingest.wording.odometer_questions import odometer_question
from ingest.wording.sentence import READ_WITH

_OLD_DAYS = 366  # an older entry is asked about where the unit has been here since


def check_visit(
    connection: duckdb.DuckDBPyConnection,
    entry: VisitEntry,
    reading: Reading | None,
    *,
    today: date | None = None,
) -> tuple[Question, ...]:
    """Return the questions a person must answer before this visit goes in, most basic first.

    entry: with position and visited_on filled in. reading: of its capture, None for a meter's average.
    """
    today = today or date.today()
    odometer = tuple(_odometer(connection, entry, today))
    asked = [
        *_identifiers(entry),
        *_similar_unit(connection, entry, doubted=bool(odometer)),
        *_date(connection, entry, today),
        *odometer,
        *_hours(connection, entry),
    ]
    mean_a = entry.meter_a if reading is None else reading.mean_a
    [(system_v,)] = connection.execute(statement("load/unit_electrics"), [entry.unit]).fetchall() or [(None,)]
    pump_id, specified_a = _fitted(connection, entry)
    asked += _supply(connection, entry, mean_a, system_v)
    own_a, usual = _usual_of_pump(connection, pump_id, system_v)
    asked += _wrong_units(entry, mean_a, usual)
    if mean_a:
        own_a = specified_a if own_a is None else own_a
        read = _read_with(connection, entry, reading)
        asked += _probe_factor(mean_a, own_a, settings_at(connection, entry.visited_on), read)
        far = own_a is not None and abs(np.log(mean_a / own_a)) > FAR_FROM_OWN_LEVEL
        if odometer or far:
            asked += _other_unit(connection, entry, mean_a, reading.rpm if reading else None)
    return tuple(asked)


def _identifiers(entry: VisitEntry) -> Iterator[Question]:
    for field, value in (("unit", entry.unit), ("serial", entry.serial)):
        if value and re.match(MANGLED, value):
            yield replace(questions.mangled_identifier(value), field=field)


def _similar_unit(
    connection: duckdb.DuckDBPyConnection, entry: VisitEntry, *, doubted: bool
) -> Iterator[Question]:
    """Units 007 and 7 are two; ask when the one entered is new, or nothing shows which is meant."""
    units = [unit for (unit,) in connection.execute(statement("visit/units")).fetchall()]
    key = unit_key(entry.unit)
    like = [unit for unit in units if unit != entry.unit and unit_key(unit) == key]
    if not like:
        return
    if entry.unit not in units:
        yield questions.new_but_similar(entry.unit, like[0])
    elif doubted or entry.odometer_km is None:
        yield questions.which_of_two_units(entry.unit, like[0])


def _date(connection: duckdb.DuckDBPyConnection, entry: VisitEntry, today: date) -> Iterator[Question]:
    day = entry.visited_on
    if day is None:
        return
    if day > today + timedelta(days=1):  # a day's grace covers time zones
        yield questions.future_date(str(day), str(today))
    elif day < today - timedelta(days=_OLD_DAYS):
        later = connection.execute(
            statement("visit/later_visit"),
            [entry.unit, day],
        ).fetchall()[0][0]
        if later:
            yield questions.old_date(str(day), str(later))


def _odometer(connection: duckdb.DuckDBPyConnection, entry: VisitEntry, today: date) -> Iterator[Question]:
    if entry.odometer_km is None:
        return
    day = entry.visited_on or today
    asked = odometer_doubt(connection, entry.unit, day, entry.odometer_km, entry.odometer_unit)
    if asked is not None:
        yield asked


def odometer_doubt(
    connection: duckdb.DuckDBPyConnection, unit: str, on: date, km: float, typed_in: str | None = None
) -> Question | None:
    """Return what is to be asked about a unit's odometer on a day, in km since new; None: nothing.

    typed_in: the unit of distance in which it was typed (default: the fleet's own).
    """
    history = connection.execute(statement("load/odometer_readings"), {"unit": unit}).df()
    typed_in = typed_in or settings_at(connection)["distance_unit"]
    day = np.datetime64(on)
    doubt = judge_entry(history, day, km, float(np.rint(km / UNITS[typed_in].factor)))
    if doubt is None:
        return None
    earlier = history[history["read_on"] <= day]
    last_km = float(earlier.sort_values("read_on")["odometer_km"].iloc[-1]) if len(earlier) else None
    own = settings_at(connection)["distance_unit"]
    other = own if typed_in != own else None
    return odometer_question(doubt.code, km, doubt.likely_km, typed_in, last_km=last_km, own=other)


def _hours(connection: duckdb.DuckDBPyConnection, entry: VisitEntry) -> Iterator[Question]:
    if entry.hours is None:
        return
    last = connection.execute(
        statement("visit/most_hours"),
        [entry.unit, entry.visited_on],
    ).fetchall()[0][0]
    if last is not None and entry.hours < last:
        yield questions.hours_below_last(entry.hours, last)


def _supply(
    connection: duckdb.DuckDBPyConnection, entry: VisitEntry, mean_a: float | None, system_v: float | None
) -> Iterator[Question]:
    """Ask about volts that no such system has; hardly any are what a pump without current is measured for."""
    if entry.supply_v is not None and system_v:
        low, high = (share * system_v for share in SUPPLY_SHARE)
        stands = mean_a is not None and mean_a < settings_at(connection, entry.visited_on)["dead_a"]
        # No current where hardly any volts arrive: each bears the other out, whatever brought it in.
        dead_feed = 0 <= entry.supply_v < low and (
            stands or (mean_a is None and entry.reason in FAULT_REASONS)
        )
        if not low <= entry.supply_v <= high and not dead_feed:
            yield questions.supply_implausible(entry.supply_v, system_v)


def _usual_of_pump(
    connection: duckdb.DuckDBPyConnection, pump_id: int | None, system_v: float | None
) -> tuple[float | None, Usual]:
    """Return the pump's own median average current, in A, and all that is usual of it and of its type."""
    rows = as_dicts(connection.execute(statement("visit/usual_of_pump"), {"pump_id": pump_id}))
    usual = rows[0] if rows else {}
    return usual.pop("level_a", None), Usual(system_v=system_v, **usual)


def _wrong_units(entry: VisitEntry, mean_a: float | None, usual: Usual) -> tuple[Question, ...]:
    """Ask about values that another unit would explain, as a load does."""
    names = {f.name for f in fields(Shown)} - {"rpm", "mean_a"}
    shown = Shown(mean_a=mean_a, **{name: getattr(entry, name) for name in names})
    return wrong_units(shown, usual)


def _fitted(connection: duckdb.DuckDBPyConnection, entry: VisitEntry) -> tuple[int | None, float | None]:
    """Return the pump a visit is of, and the middle of its type's specification."""
    told = {"unit": entry.unit, "position": entry.position or "main", "visited_on": entry.visited_on}
    found = connection.execute(statement("load/fitted_pump"), told).fetchall()
    return found[0] if found else (None, None)


def _read_with(
    connection: duckdb.DuckDBPyConnection, entry: VisitEntry, reading: Reading | None
) -> dict[str, Any]:
    """Return what the answers to a question about a clamp's factor are made from; see `right_times`."""
    if reading is None:
        return {"metered": True}
    clamp = clamp_of(connection, entry.clamp)
    return {
        "ripple_a": reading.ripple_a,
        "v_per_a": factor_used(reading.notes),
        "clamp_v_per_a": parse_probe(clamp.factor) if clamp and clamp.factor else None,
    }


def _with(question: Question, read: dict[str, Any]) -> Question:
    return replace(question, values={**(question.values or {}), READ_WITH: read})


def _probe_factor(
    mean_a: float, own_a: float | None, settings: Settings, read: dict[str, Any]
) -> list[Question]:
    # On less than `dead_a` the pump has failed, whatever the factor.
    unlikely = settings["dead_a"] < mean_a < PLAUSIBLE_A[0] or mean_a > PLAUSIBLE_A[1]
    if own_a is None and unlikely:
        return [_with(questions.current_unlikely(mean_a), read)]
    if own_a is None:
        return []
    low, high = probe_factor_band(settings)
    tenfold = low <= max(mean_a / own_a, own_a / mean_a) <= high
    told = {"mean_a": mean_a, "level_a": own_a, **read}
    if not tenfold and (in_line(told, 1.0) or "clamp" not in right_times(told)):
        return []
    return [_with(questions.current_off_level(mean_a, own_a), read)]


def _other_unit(
    connection: duckdb.DuckDBPyConnection, entry: VisitEntry, mean_a: float, rpm: float | None
) -> list[Question]:
    others = units_like(
        connection, entry.unit, entry.position or "main", entry.visited_on, entry.odometer_km, mean_a, rpm
    )
    if len(others) != 1:
        return []
    return [questions.other_unit(entry.unit, others[0])]
