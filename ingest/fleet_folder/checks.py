"""Questions about what a load has brought, found by looking at the ledger as it stands afterwards."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np
import pandas as pd

from ingest.checking.identifiers import similar_units, similar_vins, vin_problem
from ingest.checking.odometer import Doubt, clean
from ingest.checking.odometer_questions import odometer_question
from ingest.checking.other_unit import fitting_units
from ingest.fleet_folder.doubts import Questions
from ingest.fleet_folder.report import RowProblem
from ingest.ledger.changes import as_text
from ingest.ledger.rows import insert_row
from ingest.ledger.statements import statement
from ingest.units import UNITS

# More of a file dated after today than this, and it is the computer's clock that is asked about, once.
_CLOCK_SHARE = 0.2
# Unexplained odometers looked up in other units' histories at most.
_MOST_LOOKED_UP = 500
_FACT_DATES = {
    "visit": ("visited_on",),
    "service": ("done_on",),
    "breakdown": ("happened_on",),
    "odometer": ("read_on",),
    "pump": ("fitted_on", "removed_on"),
}


class LoadedRows:
    """Where each ledger row of this load came from: table and key -> file, row and unit."""

    def __init__(self) -> None:
        self.frames: dict[str, pd.DataFrame] = {}

    def add(self, table: str, file: str, rows: pd.DataFrame, row_key: np.ndarray) -> None:
        """Note the rows of one file."""
        frame = rows.assign(row_key=row_key, file=file).drop_duplicates("row_key")
        self.frames[table] = frame.set_index("row_key", drop=False)

    def ask(self, questions: Questions, table: str, row_key: str, field: str, code: str, text: str) -> None:
        """Ask about a ledger row, if this load brought it."""
        frame = self.frames.get(table)
        if frame is None or row_key not in frame.index:
            return
        file, row = frame.at[row_key, "file"], frame.at[row_key, "file_row"]
        unit = frame.at[row_key, "unit"] if "unit" in frame else None
        problem = RowProblem(str(file), int(str(row)), field, code, text)
        questions.ask(table, row_key, None if unit is None else str(unit), problem)

    def keys(self) -> pd.DataFrame:
        """All rows: columns table_name, row_key."""
        parts = [pd.DataFrame({"table_name": t, "row_key": f.index}) for t, f in self.frames.items()]
        empty = pd.DataFrame(columns=["table_name", "row_key"])
        return (pd.concat(parts) if parts else empty).astype("object")


def check_odometers(
    connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions, distance_unit: str
) -> None:
    """Ask about odometers that don't fit the unit's own mileage."""
    readings = connection.execute(statement("load/odometer_readings"), {"unit": None}).df()
    readings["odometer_entered"] = np.rint(readings["odometer_km"] / UNITS[distance_unit].factor)
    judged = clean(readings)
    doubted = readings[~judged["trusted"]].join(judged[["code", "likely_km"]])
    looked_up = 0
    for row in doubted.itertuples(index=False):
        doubt = Doubt(str(row.code), float(row.likely_km))  # type: ignore[arg-type]
        km = float(row.odometer_km)  # type: ignore[arg-type]
        text = odometer_question(doubt, km, distance_unit)
        if row.table_name == "visit" and np.isnan(doubt.likely_km) and looked_up < _MOST_LOOKED_UP:
            looked_up += 1
            others = fitting_units(connection, int(str(row.row_key)))
            if len(others) == 1:
                text += f" Unit {others[0]} was at this reading then, with such a current."
        loaded.ask(questions, str(row.table_name), str(row.row_key), str(row.field), doubt.code, text)


def check_levels(connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions) -> None:
    """Ask about currents ten times, or a tenth of, the pump's own level."""
    for visit_id, mean_a, level_a in connection.execute(statement("load/level_doubts")).fetchall():
        text = (
            f"{mean_a:.3g} A is about {'ten times' if mean_a > level_a else 'a tenth of'} this pump's level,"
            f" {level_a:.3g} A; was the probe's factor or range another?"
        )
        loaded.ask(questions, "visit", str(visit_id), "mean_a", "probe-factor", text)


def check_dates(loaded: LoadedRows, questions: Questions, today: date) -> list[str]:
    """Ask about facts dated after today; returns notices. A day's grace covers time zones."""
    limit = pd.Timestamp(today) + pd.Timedelta(days=1)
    notices = []
    for table, fields in _FACT_DATES.items():
        frame = loaded.frames.get(table)
        for field in fields:
            if frame is None or field not in frame:
                continue
            late = frame[frame[field] > limit]
            if len(late) > _CLOCK_SHARE * len(frame) and len(late) > 10:
                notices.append(
                    f"{frame['file'].iloc[0]}: {len(late):,} rows have {field} after today, {today};"
                    " is the computer's clock right?"
                )
                continue
            for key, day in zip(late.index, late[field], strict=True):
                text = f"{as_text(day)} is after today, {today}; what is the right date?"
                loaded.ask(questions, table, str(key), field, "future-date", text)
    return notices


def check_vehicles(
    connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions
) -> list[str]:
    """Ask about VINs with a wrong check digit, and names nearly another's; returns notices."""
    rows = connection.execute(statement("load/vins")).fetchall()
    vins = {unit: vin for unit, vin, _ in rows if vin}
    frame = loaded.frames.get("vehicle")
    ours = set() if frame is None else set(frame.index)
    unchecked = 0
    for unit in ours & set(vins):
        problem = vin_problem(vins[unit])
        if problem and problem[0] == "vin-unchecked":
            unchecked += 1
        elif problem:
            loaded.ask(questions, "vehicle", unit, "vin", *problem)
    file_row = {} if frame is None else frame["file_row"].to_dict()
    known_since = {unit: (at, unit not in ours, file_row.get(unit, 0)) for unit, _, at in rows}
    order = {unit: place for place, unit in enumerate(sorted(known_since, key=known_since.__getitem__))}
    for unit, other in similar_vins(vins).items():
        if order[unit] < order[other]:
            unit, other = other, unit
        same = vins[unit] == vins[other]
        how = "the same as" if same else "one character off that of"
        text = f"VIN {vins[unit]} is {how} unit {other} ({vins[other]}); is it that unit?"
        loaded.ask(questions, "vehicle", unit, "vin", "same-vin" if same else "similar-vin", text)
    asked = set()
    for unit, others in similar_units(known_since).items():
        earlier = [u for u in others if order[u] < order[unit]]
        if earlier and unit not in asked:
            asked.add(unit)
            text = f"unit {unit} is written almost like unit {earlier[0]}; they are kept apart. Are they two?"
            loaded.ask(questions, "vehicle", unit, "unit", "similar-unit", text)
    if unchecked:
        return [f"vehicles.csv: {unchecked:,} VINs from outside North America carry no valid check digit."]
    return []


def check_lives(connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions) -> None:
    """Ask about pump lives that overlap; link pumps moved from one place to another."""
    connection.execute(statement("load/continue_moved_pumps"))
    _check_removals(loaded, questions)
    for row in connection.execute(statement("load/life_doubts")).df().itertuples(index=False):
        fitted = as_text(row.fitted_on)
        text = {
            "not-removed": f"a pump was fitted here on {fitted}, and the one before is not marked removed;"
            " when and why was it?",
            "lives-overlap": f"fitted on {fitted}, before the pump in this position was removed"
            f" ({as_text(row.other_removed_on)}); which date is right?",
            "serial-twice": f"serial {row.serial} was also in unit {row.other_unit}, position"
            f" {row.other_position}, on {fitted}; where was it?",
        }[str(row.code)]
        loaded.ask(questions, "pump", str(row.pump_id), "fitted_on", str(row.code), text)


def _check_removals(loaded: LoadedRows, questions: Questions) -> None:
    frame = loaded.frames.get("pump")
    if frame is None:
        return
    never = pd.Series(pd.NaT, index=frame.index)
    fitted, removed = frame.get("fitted_on", never), frame.get("removed_on", never)
    if "removal" in frame:
        for key in frame.index[frame["removal"].notna() & removed.isna()]:
            text = "it says why the pump came off, but not when; it counts as in service. When was it?"
            loaded.ask(questions, "pump", str(key), "removed_on", "removal-undated", text)
    for key in frame.index[removed < fitted]:
        off, on = as_text(removed[key]), as_text(fitted[key])
        text = f"removed on {off}, before it was fitted on {on}; which is right?"
        loaded.ask(questions, "pump", str(key), "removed_on", "removed-before-fitted", text)


def check_types(connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions) -> list[str]:
    """Add pump types that are named but not described, with a question; returns notices on blanks."""
    missing = connection.execute(statement("load/types_missing")).fetchall()
    for name, pump_id in missing:
        insert_row(connection, "pump_type", {"pump_type": name})
        if name != "unknown":
            text = f"pump type {name} is in no pump_types.csv; what is its specification?"
            loaded.ask(questions, "pump", str(pump_id), "pump_type", "unknown-pump-type", text)
    frame = loaded.frames.get("pump")
    if frame is None:
        return []
    untyped = frame["pump_type"].isna().sum() if "pump_type" in frame else len(frame)
    undated = frame["fitted_on"].isna().sum() if "fitted_on" in frame else len(frame)
    notices = [f"pumps.csv: {untyped:,} pumps have no type; kept as 'unknown'."] if untyped else []
    return notices + ([f"pumps.csv: {undated:,} pumps have no fitting date; age unknown."] if undated else [])
