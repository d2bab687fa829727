"""A fleet set up without a folder, in any order: settings, depots, pump types, units with their pump.

What is typed is read by the columns of the fleet folder. What nobody knows stays blank.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.fleet_folder.one_fact import add_facts, change_facts, read_facts
from ingest.fleet_folder.tables import BAYS, PUMP_TYPES, PUMPS, VEHICLES, Table, column_meant
from ingest.ledger.changes import add_row, change_cells, row_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import set_setting, settings_at
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.trade_numbers import DEFAULTS, SETTINGS
from ingest.typed import blank_spellings

# Columns of pumps.csv that say how a unit's pump began; of one taken off there is a form of its own.
OF_THE_PUMP = (
    "position", "pump_type", "serial", "lot", "run_share", "fitted_on", "fitted_odometer", "fitted_hours",
    "prior_distance",
)  # fmt: skip
SUFFIXES = {
    "_l_min": " L/min", "_kpa": " kPa", "_pct": " %", "_days": " days", "_months": " months",
    "_hours": " h", "_a": " A", "_v": " V",
}  # fmt: skip
_NOBODY_KNOWS = {"nobody knows", "not known", *(word.lower() for word in blank_spellings(text=False))}


def add_unit(ledger: Path, typed: Mapping[str, str], *, author: Author) -> str:
    """Add a unit, its pump, or both; returns what was kept, in the words and units it was typed in.

    typed: columns of vehicles.csv and, of its pump, OF_THE_PUMP; a pump type that is new is added by name.
    Of a pump in place, what nobody knew is filled in. Raises EntryRefused for a unit that is there already
    where no pump is given, or whose pump in place is another.
    """
    said = _known(typed)
    own = _unit_of_distance(ledger)
    vehicle, of_pump = _named(VEHICLES, said), _named(PUMPS, said)
    strangers = [name for name in said if name not in {**vehicle, **of_pump} and _meant(name) is None]
    if strangers:
        takes = ", ".join(dict.fromkeys([*VEHICLES.by_name, *OF_THE_PUMP]))
        raise EntryRefused(
            "no-column", f"A unit and its pump have no entry '{strangers[0]}'; they have: {takes}."
        )
    pump = {name: text for name, text in of_pump.items() if name in OF_THE_PUMP}
    facts = read_facts(VEHICLES, vehicle, own)
    if "unit" not in facts:
        raise EntryRefused("unit-missing", "Give the unit's number first.")
    life = read_facts(PUMPS, pump, own)
    unit = facts["unit"]
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "facts", command="add") as stamp,
    ):
        there = row_of(connection, "vehicle", unit) is not None
        if there and (not pump or len(vehicle) > 1):
            raise EntryRefused(
                "there-already",
                f"Unit {unit} is on record already; change it under Fleet data, or load a vehicles.csv.",
            )
        if not there:
            row = {name: value for name, value in facts.items() if value is not None}
            add_row(connection, "vehicle", row, stamp, reason="set up")
        if pump:
            position = life.get("position") or "main"
            in_place = connection.execute(statement("visit/pump_in_service"), [unit, position]).df()
            if len(in_place) and not _completes(in_place.iloc[0], life):
                raise EntryRefused(
                    "position-taken",
                    f"Unit {unit} has a pump in position {position}: record its change on the page Log a"
                    " visit, or log the new one's first capture with --serial and --reason after-repair.",
                )
            row = {name: value for name, value in life.items() if value is not None}
            pump_type = life.get("pump_type") or (in_place["pump_type"][0] if len(in_place) else "unknown")
            connection.execute(statement("visit/add_pump_type"), [pump_type, stamp.at])
            if len(in_place):
                change_cells(connection, "pump", int(in_place["pump_id"][0]), row, stamp, reason="set up")
            else:
                add_row(
                    connection, "pump", row | {"unit": unit, "position": position, "pump_type": pump_type},
                    stamp, reason="set up",
                )  # fmt: skip
        lacks = _lacking(connection, unit)
    return _echo(f"Unit {unit}", {**vehicle, **pump}, own) + lacks


def _completes(pump: pd.Series, life: Mapping[str, Any]) -> bool:
    """Return whether what is told of a pump only fills in what nobody knew of the one in place."""
    return all(
        value is None
        or name in ("unit", "position")
        or pd.isna(pump[name])
        or pump[name] in ("unknown", value)
        for name, value in life.items()
    )


def add_type(ledger: Path, typed: Mapping[str, str], *, author: Author) -> str:
    """Add a pump type, or what is known of one that has only been named; returns what was kept.

    Raises EntryRefused where something else is on record of it.
    """
    said = _named(PUMP_TYPES, _known(typed))
    own = _unit_of_distance(ledger)
    if strangers := [name for name in typed if column_meant(name, PUMP_TYPES) not in PUMP_TYPES.by_name]:
        takes = ", ".join(PUMP_TYPES.by_name)
        raise EntryRefused("no-column", f"A pump type has no entry '{strangers[0]}'; it has: {takes}.")
    values = read_facts(PUMP_TYPES, said, own)
    if named := _on_record(ledger, values["pump_type"]):
        for name, value in values.items():
            if value is not None and named[name] not in (None, value):
                raise EntryRefused(
                    "there-already",
                    f"Pump type {values['pump_type']} has {name} {named[name]} on record already; "
                    "change it under Fleet data, or load a pump_types.csv.",
                )
        blanks = {name: value for name, value in values.items() if value is not None and named[name] is None}
        change_facts(
            ledger, PUMP_TYPES, values["pump_type"], blanks, author=author, reason="set up", command="add"
        )
    else:
        add_facts(ledger, PUMP_TYPES, values, author=author, reason="set up", command="add")
    return _echo(f"Pump type {values['pump_type']}", said, own)


def add_depot(ledger: Path, name: str, hours: str, *, author: Author) -> str:
    """Keep how many bay hours a week a depot has; returns what was kept."""
    if not hours.strip():
        raise EntryRefused("field", "hours: must be given: a depot's bay hours a week, such as hours=16.")
    values = read_facts(BAYS, {"depot": name, "hours": hours}, "km")
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "facts", command="add") as stamp,
    ):
        known = connection.execute(statement("intake/depot_hours"), [values["depot"]]).fetchall()
        if known:
            raise EntryRefused("there-already", f"Depot {name} has {known[0][0]:g} bay hours a week already.")
        insert_row(connection, "bay_hours", values | {"recorded_at": stamp.at})
    return f"Depot {name} is on record with {values['hours']:g} bay hours a week."


def set_up_fleet(ledger: Path, typed: Mapping[str, str], *, author: Author) -> str:
    """Keep settings of the fleet, such as distance_unit and currency; returns what was kept."""
    for key, text in typed.items():
        if key not in SETTINGS:
            raise EntryRefused("unknown-setting", f"There is no setting '{key}'.")
        value: Any = text
        if isinstance(SETTINGS[key].default, int | float) and not isinstance(SETTINGS[key].default, bool):
            try:
                value = float(text)
            except ValueError as error:
                raise EntryRefused("bad-setting", f"{key}: '{text}' should be a number.") from error
        set_setting(ledger, key, value, author=author, reason="set up", command="add")
    return _echo("The fleet", typed, "")


def _known(typed: Mapping[str, str]) -> dict[str, str]:
    """Return what was typed, with what nobody knows as a blank."""
    return {k: "" if v.strip().lower() in _NOBODY_KNOWS else v.strip() for k, v in typed.items()}


def _named(table: Table, said: Mapping[str, str]) -> dict[str, str]:
    meant = {column_meant(name, table): text for name, text in said.items()}
    return {name: text for name, text in meant.items() if name in table.by_name}


def _meant(name: str) -> str | None:
    return next((m for t in (VEHICLES, PUMPS) if (m := column_meant(name, t)) in t.by_name), None)


def _on_record(ledger: Path, pump_type: str) -> dict[str, Any] | None:
    if not ledger.exists():
        return None
    with open_ledger(ledger) as connection:
        return row_of(connection, "pump_type", pump_type)


def _unit_of_distance(ledger: Path) -> str:
    if not ledger.exists():
        return str(DEFAULTS["distance_unit"])
    with open_ledger(ledger) as connection:
        return str(settings_at(connection)["distance_unit"])


def _lacking(connection: duckdb.DuckDBPyConnection, unit: str) -> str:
    """Return what has to be known yet for the unit's pump to be judged: a sentence, a blank before it."""
    pumps = connection.execute(statement("intake/types_in_service"), [unit]).fetchall()
    if not pumps:
        return " It has no pump yet, so nothing is forecast for it: add its pump_type."
    blank = [name for name, specified in pumps if not specified]
    if not blank:
        return ""
    return f" Nobody has said yet what current pump type {blank[0]} is specified at."


def _echo(what: str, said: Mapping[str, str], own: str) -> str:
    """Say what was kept as it was typed; a distance without a unit gets the one it was taken in."""
    kinds = {c.name: c.kind for t in (VEHICLES, PUMPS, PUMP_TYPES) for c in t.columns}
    told = []
    for name, text in said.items():
        if what == f"{'Pump type' if name == 'pump_type' else name.capitalize()} {text}":
            continue  # its own name was said
        shown = text or "not known"
        if text and kinds.get(name) == "distance" and text.replace(",", "").replace(".", "").isdecimal():
            shown = f"{text} {own}"
        column = next((c for c in map(name.removesuffix, SUFFIXES) if c != name), name)
        bare = text[-1:].isdigit()  # else its unit was typed with it
        unit = SUFFIXES.get(name.removeprefix(column), "") if bare else ""
        told.append(f"{column.replace('_', ' ')} {shown}{unit}")
    return f"{what} is on record: {', '.join(told)}." if told else f"{what} is on record."
