"""Questions about what a load has brought, found by looking at the ledger as it stands afterwards."""

from __future__ import annotations

from dataclasses import fields
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from ingest.checking.identifiers import similar_units, similar_vins, vin_problem
from ingest.checking.odometer import Doubt, clean
from ingest.checking.other_unit import fitting_units
from ingest.checking.renumbered import renumbered
from ingest.checking.swapped_units import currents_alike, swapped
from ingest.checking.wrong_units import Shown, Usual, wrong_units
from ingest.errors import Question
from ingest.fleet_folder.doubts import Questions
from ingest.fleet_folder.report import asked
from ingest.ledger.changes import as_text
from ingest.ledger.clamps import clamps
from ingest.ledger.rows import as_dicts, insert_row
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.trade_numbers import USUAL_RPM, probe_factor_band
from ingest.units import UNITS
from ingest.wording import questions as words
from ingest.wording.odometer_questions import odometer_question

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

_READ = ("capture", "mean_a", "meter_a")  # columns of visits.csv that make a visit a reading


class LoadedRows:
    """Where each ledger row of this load came from: table and key -> file, row and unit."""

    def __init__(self) -> None:
        self.frames: dict[str, pd.DataFrame] = {}

    def add(self, table: str, file: str, rows: pd.DataFrame, row_key: np.ndarray) -> None:
        """Note the rows of one file."""
        frame = rows.assign(row_key=row_key, file=file).drop_duplicates("row_key")
        self.frames[table] = frame.set_index("row_key", drop=False)

    def ask(
        self,
        questions: Questions,
        table: str,
        row_key: str,
        question: Question,
        field: str | None = None,
        beside: str | None = None,
    ) -> None:
        """Ask about a ledger row, if this load brought it, or the row `beside` that it stands against."""
        frame = self.frames.get(table)
        brought = None if frame is None else next((k for k in (row_key, beside) if k in frame.index), None)
        if frame is None or brought is None:
            return
        file, row = frame.at[brought, "file"], frame.at[brought, "file_row"]
        unit = frame.at[brought, "unit"] if "unit" in frame else None
        problem = asked(str(file), int(str(row)), question, field)
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
    for unit, like in renumbered(readings, judged, questions.unknown_units()).items():
        questions.offer_unit(unit, words.renumbered_unit(unit, like))
    at_a_visit = readings["table_name"] == "visit"
    chosen = at_a_visit | judged["trusted"]

    def alike(one: int, other: int) -> bool:
        """Whether each visit's current, too, is the other unit's usual one."""
        visits = [int(key) for key in readings["row_key"].loc[[one, other]]]
        units = readings["unit"].loc[[one, other]].tolist()
        rows = connection.execute(statement("load/currents_of_units"), {"units": units}).df()
        own = rows.set_index("visit_id")["mean_a"]
        usual = rows[~rows["visit_id"].isin(visits)].groupby("unit")["mean_a"].median()
        return currents_alike(own.get(visits[0]), usual.get(units[1])) and currents_alike(
            own.get(visits[1]), usual.get(units[0])
        )

    swaps = swapped(readings[chosen], judged[chosen], alike)
    looked_up = 0
    for row in doubted.itertuples():
        if row.Index in swaps:
            like = str(readings.at[swaps[row.Index], "unit"])
            question = words.units_swapped(str(row.unit), like)
            loaded.ask(questions, "visit", str(row.row_key), question)
            continue
        doubt = Doubt(str(row.code), float(row.likely_km))  # type: ignore[arg-type]
        km = float(row.odometer_km)  # type: ignore[arg-type]
        fits = None
        if row.table_name == "visit" and np.isnan(doubt.likely_km) and looked_up < _MOST_LOOKED_UP:
            looked_up += 1
            others = fitting_units(connection, int(str(row.row_key)))
            fits = others[0] if len(others) == 1 else None
        question = odometer_question(doubt.code, km, doubt.likely_km, distance_unit, other_unit=fits)
        loaded.ask(questions, str(row.table_name), str(row.row_key), question, str(row.field))


def check_levels(connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions) -> None:
    """Ask about currents so many times the pump's own level that the probe factor is in doubt."""
    least, most = probe_factor_band(settings_at(connection))
    told = {"least_times": least, "most_times": most}
    for visit_id, mean_a, level_a in connection.execute(statement("load/level_doubts"), told).fetchall():
        loaded.ask(questions, "visit", str(visit_id), words.current_off_level(mean_a, level_a))


def check_units(connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions) -> None:
    """Ask about values that would be right in another unit."""
    told = {"usual_rpm": USUAL_RPM}
    for row in as_dicts(connection.execute(statement("load/shown_and_usual"), told)):
        shown = Shown(**{f.name: row[f.name] for f in fields(Shown)})
        usual = Usual(**{f.name: row[f.name] for f in fields(Usual)})
        for question in wrong_units(shown, usual):
            loaded.ask(questions, "visit", str(row["visit_id"]), question, question.field)


def check_dates(loaded: LoadedRows, questions: Questions, today: date) -> list[str]:
    """Ask about facts dated after today; returns notices. A day's grace covers time zones."""
    limit = pd.Timestamp(today) + pd.Timedelta(days=1)
    notices = []
    for table, columns in _FACT_DATES.items():
        frame = loaded.frames.get(table)
        for field in columns:
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
                loaded.ask(
                    questions, table, str(key), words.future_date(str(as_text(day)), str(today)), field
                )
    return notices


def check_states(loaded: LoadedRows) -> list[str]:
    """Return a notice on readings without an engine state, which later ones are not held against."""
    frame = loaded.frames.get("visit")
    if frame is None:
        return []
    read = [frame[name].notna() for name in _READ if name in frame]
    if not read:
        return []
    untold = np.logical_or.reduce(read)
    if "state" in frame:
        untold &= frame["state"].isna()
    count = int(np.sum(untold))
    said = (
        f"visits.csv: {count:,} readings have no engine state; later ones at prime, idle or loaded are held "
        "against none of them. If all were taken alike, say so in a column state, or in columns.toml: "
        'state = { everywhere = "idle" }.'
    )
    return [said] if count else []


def check_clamps(connection: duckdb.DuckDBPyConnection, loaded: LoadedRows) -> list[str]:
    """Return notices on readings taken with a clamp that was due for a check, a line a clamp."""
    frame = loaded.frames.get("visit")
    if frame is None or "clamp" not in frame:
        return []
    notices = []
    for clamp in clamps(connection).values():
        if clamp.due_on is None:
            continue
        late = frame[(frame["clamp"] == clamp.clamp) & (frame["visited_on"] > pd.Timestamp(clamp.due_on))]
        if len(late):
            said = clamp.overdue(late["visited_on"].max().date())
            notices.append(f"visits.csv: {len(late):,} readings were taken after it. {said}")
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
        if problem and problem.code == "vin-unchecked":
            unchecked += 1
        elif problem:
            loaded.ask(questions, "vehicle", unit, problem)
    file_row = {} if frame is None else frame["file_row"].to_dict()
    known_since = {unit: (at, unit not in ours, file_row.get(unit, 0)) for unit, _, at in rows}
    order = {unit: place for place, unit in enumerate(sorted(known_since, key=known_since.__getitem__))}
    for unit, other in similar_vins(vins).items():
        if order[unit] < order[other]:
            unit, other = other, unit
        how = words.same_vin if vins[unit] == vins[other] else words.similar_vin
        loaded.ask(questions, "vehicle", unit, how(vins[unit], other, vins[other]))
    named = set()
    for unit, others in similar_units(known_since).items():
        earlier = [u for u in others if order[u] < order[unit]]
        if earlier and unit not in named:
            named.add(unit)
            loaded.ask(questions, "vehicle", unit, words.written_almost_alike(unit, earlier[0]))
    if unchecked:
        return [f"vehicles.csv: {unchecked:,} VINs from outside North America carry no valid check digit."]
    return []


def check_lives(connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions) -> None:
    """Ask about pump lives that overlap; link pumps moved from one place to another."""
    connection.execute(statement("load/continue_moved_pumps"))
    _check_removals(loaded, questions)
    for row in connection.execute(statement("load/life_doubts")).df().itertuples(index=False):
        fitted = as_text(row.fitted_on)
        if row.code == "not-removed":
            question = words.not_removed(fitted)
        elif row.code == "lives-overlap":
            question = words.lives_overlap(fitted, as_text(row.other_removed_on))
        else:
            question = words.serial_twice(
                str(row.serial), str(row.other_unit), str(row.other_position), fitted
            )
        loaded.ask(questions, "pump", str(row.pump_id), question, beside=str(row.other_id))


def _check_removals(loaded: LoadedRows, questions: Questions) -> None:
    frame = loaded.frames.get("pump")
    if frame is None:
        return
    never = pd.Series(pd.NaT, index=frame.index)
    fitted, removed = frame.get("fitted_on", never), frame.get("removed_on", never)
    if "removal" in frame:
        for key in frame.index[frame["removal"].notna() & removed.isna()]:
            loaded.ask(questions, "pump", str(key), words.removal_undated())
    for key in frame.index[removed < fitted]:
        off, on = str(as_text(removed[key])), str(as_text(fitted[key]))
        loaded.ask(questions, "pump", str(key), words.removed_before_fitted(off, on))


def _paid_before(frame: pd.DataFrame) -> int:
    """Return of how many pumps a cost is told and no end."""
    if "cost" not in frame:
        return 0
    ended = [name for name in ("removed_on", "removal") if name in frame]
    return int((frame["cost"].notna() & frame[ended].isna().all(axis=1)).sum())


def check_types(connection: duckdb.DuckDBPyConnection, loaded: LoadedRows, questions: Questions) -> list[str]:
    """Add pump types that are named but not described, with a question; returns notices on blanks."""
    missing = connection.execute(statement("load/types_missing")).fetchall()
    for name, pump_id in missing:
        insert_row(connection, "pump_type", {"pump_type": name})
        if name != "unknown":
            loaded.ask(questions, "pump", str(pump_id), words.unknown_pump_type(name))
    frame = loaded.frames.get("pump")
    if frame is None:
        return []
    untyped = frame["pump_type"].isna().sum() if "pump_type" in frame else len(frame)
    undated = frame["fitted_on"].isna().sum() if "fitted_on" in frame else len(frame)
    told = (
        (untyped, "no type; kept as 'unknown' until a list of units with their pump_type is loaded"),
        (undated, "no fitting date; age unknown"),
        (_paid_before(frame), "a cost and did not come off; a cost is that of the pump's own replacement, "
         "so in a list of jobs it belongs to the pump before"),
    )  # fmt: skip
    return [f"pumps.csv: {'1 pump has' if n == 1 else f'{n:,} pumps have'} {what}." for n, what in told if n]
