"""Store a fleet folder that has been read: every table, questions and settings, in one transaction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from ingest.chains.chain import CaptureResult
from ingest.checking.clusters import cluster_offsets, to_used
from ingest.checking.identifiers import unit_key
from ingest.errors import Question
from ingest.fleet_folder.as_corrected import as_corrected
from ingest.fleet_folder.carried import bring_carried, follow_standing
from ingest.fleet_folder.cells import ReadTable
from ingest.fleet_folder.checks import (
    LoadedRows,
    check_clamps,
    check_dates,
    check_levels,
    check_lives,
    check_odometers,
    check_states,
    check_types,
    check_units,
    check_vehicles,
)
from ingest.fleet_folder.dated_values import bring_dated, still_to_say
from ingest.fleet_folder.doubts import Questions
from ingest.fleet_folder.merging import Merged, merge_rows
from ingest.fleet_folder.other_ledgers import RowKeys, keep_units
from ingest.fleet_folder.pumps import match_pumps
from ingest.fleet_folder.report import LoadReport, RowProblem, TableCount, asked
from ingest.fleet_folder.settings_file import FleetFile, is_new, other_settings, store_fleet_file
from ingest.fleet_folder.tables import BAYS, ODOMETERS, PUMPS, ROW_ID, TABLES, VEHICLES, VISITS
from ingest.fleet_folder.visits import add_readings, attach_pumps, merge_visits
from ingest.ledger.rows import insert_row
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.wording import questions as words

_NAME_UNITS = (PUMPS.file, VISITS.file, "services.csv", "breakdowns.csv", "odometers.csv", "due_work.csv")
# The date each odometer column was read on.
_READ_ON = {
    "visits.csv": {"odometer_km": "visited_on"},
    "services.csv": {"odometer_km": "done_on"},
    "breakdowns.csv": {"odometer_km": "happened_on"},
    "odometers.csv": {"odometer_km": "read_on"},
    "pumps.csv": {"fitted_odometer_km": "fitted_on", "removed_odometer_km": "removed_on"},
}


@dataclass(frozen=True)
class Folder:
    """A folder read and checked, nothing stored yet. `tables` by file name; `carried`: what an export has
    beside them; `handed_over`: units that its ledger keeps from now on."""

    fleet: FleetFile
    distance_unit: str
    tables: dict[str, ReadTable]
    refused: tuple[RowProblem, ...]
    notices: tuple[str, ...]
    carried: Mapping[str, ReadTable] = field(default_factory=dict)
    handed_over: frozenset[str] = frozenset()


def position_of(rows: pd.DataFrame) -> pd.Series:
    """Return the position column, "main" where blank or absent."""
    if "position" not in rows:
        return pd.Series("main", index=rows.index, dtype="object")
    return rows["position"].where(rows["position"].notna(), "main")


def store_folder(
    connection: duckdb.DuckDBPyConnection,
    content: Folder,
    captures: Mapping[str, CaptureResult],
    stamp: Stamp,
    today: date,
) -> LoadReport:
    """Merge all tables, then look at the whole and ask; the caller commits or rolls back."""
    questions, loaded = Questions(), LoadedRows()
    refused = list(content.refused)
    counts: list[TableCount] = []
    keys = RowKeys(connection, content.fleet.ledger_id)
    said = list(content.notices)
    if keys.foreign and not is_new(connection):
        said += other_settings(connection, content.fleet)
    else:
        fleet = content.fleet
        if keys.foreign and not stamp.author.depots:
            told, wrong = bring_dated(connection, content.carried, stamp)
            counts += told
            refused += wrong
            fleet, differ = still_to_say(connection, fleet)
            said += differ
        if fleet.settings or fleet.costs:
            counts.append(store_fleet_file(connection, fleet, stamp, today))
    put_right, passed_over = as_corrected(connection, content.tables)
    content = replace(content, tables=put_right)
    _add_unknown_units(connection, content, questions, stamp)
    offsets = _cluster_offsets(connection, content)
    for table in TABLES:
        if table.file not in content.tables:
            counts += [TableCount(table.file)] if any(p.file == table.file for p in refused) else []
            continue
        read = content.tables[table.file]
        rows = _prepared(read, offsets)
        if not keys.written_by:  # numbers of no ledger that we know
            rows = rows.drop(columns=[name for name in (ROW_ID, "pump_row_id") if name in rows])
        known = keys.places(table.ledger, rows)
        if table is VISITS:
            merged, gained = _store_visits(connection, read, rows, captures, questions, stamp, keys, known)
        else:
            place = match_pumps(connection, rows, known) if table is PUMPS else None
            merged = merge_rows(connection, table, rows, read.given, stamp, place=place, known=known)
            gained = np.zeros(len(rows), dtype=bool)
        keys.keep(table.ledger, rows, merged, stamp)
        status = merged.status.copy()
        again = pd.Series(merged.row_key).duplicated().to_numpy()
        status[gained & ~again & (status == "unchanged")] = "changed"
        loaded.add(table.ledger, table.file, rows, merged.row_key)
        _ask_about_cells(read, rows, merged.row_key, questions)
        text = "another row of the file has the same key and other values; give both a ref, or drop one"
        for row in rows["file_row"].to_numpy()[status == "duplicate"]:
            refused.append(RowProblem(table.file, int(row), "", "duplicate-key", text))
        counts.append(_count(read, status, passed_over.get(table.file, 0)))
    keep_units(connection, keys, content.tables, content.handed_over, stamp)
    told, wrong = bring_carried(connection, content.carried, keys, stamp)
    counts += told
    refused += wrong
    notices = said
    notices += check_types(connection, loaded, questions)
    check_lives(connection, loaded, questions)
    notices += check_vehicles(connection, loaded, questions)
    notices += check_dates(loaded, questions, today)
    notices += check_clamps(connection, loaded)
    notices += [] if keys.written_by else check_states(loaded)
    check_odometers(connection, loaded, questions, content.distance_unit)
    check_levels(connection, loaded, questions)
    check_units(connection, loaded, questions)
    questions.write(connection, loaded.keys(), stamp)
    follow_standing(connection, content.carried, keys, stamp)
    in_order = tuple(sorted(questions.still_open(connection), key=lambda q: (q.file, q.row)))
    per_file = pd.Series(
        [file for file, _ in {(q.file, q.row) for q in in_order}], dtype="object"
    ).value_counts()
    counts = [replace(c, questioned=int(per_file.get(c.file, 0))) for c in counts]
    return LoadReport("", tuple(counts), in_order, tuple(refused), tuple(notices))


def _prepared(read: ReadTable, offsets: pd.DataFrame) -> pd.DataFrame:
    """Fill in positions; turn odometers into distance since new (replaced clusters)."""
    rows = read.rows.copy()
    if any(column.name == "position" and column.default for column in read.table.columns):
        rows["position"] = position_of(rows)
    if read.table is BAYS and "week_of" in rows:  # any day of the week may be given; its Monday is kept
        rows["week_of"] -= pd.to_timedelta(rows["week_of"].dt.day_of_week, unit="D")
    for column, day in _READ_ON.get(read.table.file, {}).items():
        if column in rows and day in rows and not offsets.empty:
            used = to_used(rows["unit"], rows[day], rows[column], offsets)
            if "source" in rows:  # the first reading of a new cluster is kept as it is
                used = used.where(rows["source"] != "cluster-replaced", rows[column])
            rows[column] = used
    return rows


def _cluster_offsets(connection: duckdb.DuckDBPyConnection, content: Folder) -> pd.DataFrame:
    """What replaced clusters add to later readings: those of this folder and those the ledger knows."""
    columns = ["unit", "read_on", "odometer_km"]
    clusters = [connection.execute(statement("load/clusters_replaced")).df()]
    odometers = content.tables.get(ODOMETERS.file)
    if odometers is not None and "source" in odometers.rows:
        rows = odometers.rows
        clusters.append(rows.loc[rows["source"] == "cluster-replaced", columns])
    found = pd.concat([part for part in clusters if len(part)] or clusters[:1]).drop_duplicates()
    if found.empty:
        return pd.DataFrame(columns=["unit", "from_on", "offset_km", "new_km"])
    found["read_on"] = found["read_on"].astype("datetime64[us]")
    known = [connection.execute(statement("load/entered_odometers"), {"unit": None}).df()]
    for file, days in _READ_ON.items():
        read = content.tables.get(file)
        if read is None or file == PUMPS.file or "odometer_entered" not in read.rows:
            continue
        part = read.rows
        if "source" in part:
            part = part[part["source"] != "cluster-replaced"]
        day = days["odometer_km"]
        known.append(
            pd.DataFrame({"unit": part["unit"], "read_on": part[day], "odometer_km": part["odometer_km"]})
        )
    everything = pd.concat([part for part in known if len(part)] or known[:1])
    everything["read_on"] = everything["read_on"].astype("datetime64[us]")
    totals = connection.execute(statement("load/cluster_totals")).df()
    return cluster_offsets(found, everything[everything["unit"].isin(found["unit"])], totals)


def _store_visits(
    connection: duckdb.DuckDBPyConnection,
    read: ReadTable,
    rows: pd.DataFrame,
    captures: Mapping[str, CaptureResult],
    questions: Questions,
    stamp: Stamp,
    keys: RowKeys,
    known: np.ndarray,
) -> tuple[Merged, np.ndarray]:
    pump_id, doubts = attach_pumps(connection, rows, questions, stamp, keys)
    rows["pump_id"] = pump_id.to_numpy()
    rows["capture_hash"] = pd.Series(None, index=rows.index, dtype="object")
    if "capture" in rows:
        hashes = {name: result.capture_hash for name, result in captures.items()}
        put_right = dict(connection.execute(statement("load/captures_put_right")).fetchall())
        hashes = {name: put_right.get(value, value) for name, value in hashes.items()}
        found = rows["capture"].map(hashes).astype("object")
        rows["capture_hash"] = found.where(found.notna(), None)
    merged = merge_visits(connection, rows, read.given, stamp, known)
    gained = add_readings(connection, rows, merged, captures, stamp)
    for doubted, question in doubts:
        _ask_visit(rows, merged, doubted, question, questions)
    if "capture" in rows:
        refusals = rows["capture"].map({n: r.refused for n, r in captures.items() if r.refused})
        for place in np.flatnonzero(refusals.notna().to_numpy()):
            question = words.capture_not_taken(str(refusals.iloc[place]))
            _ask_visit(rows, merged, int(place), question, questions)
        _ask_about_shared_captures(connection, rows, merged, questions)
    return merged, gained


def _ask_about_shared_captures(
    connection: duckdb.DuckDBPyConnection, rows: pd.DataFrame, merged: Merged, questions: Questions
) -> None:
    """The same samples at two visits: the later-numbered one is asked about."""
    firsts = dict(connection.execute(statement("load/captures_twice")).fetchall())
    for place, value in enumerate(rows["capture_hash"]):
        if value in firsts and int(merged.row_key[place]) != firsts[value]:
            _ask_visit(rows, merged, place, words.capture_elsewhere(), questions)


def _ask_visit(
    rows: pd.DataFrame, merged: Merged, place: int, question: Question, questions: Questions
) -> None:
    problem = asked(VISITS.file, int(rows["file_row"].iloc[place]), question)
    questions.ask("visit", merged.row_key[place], rows["unit"].iloc[place], problem)


def _ask_about_cells(read: ReadTable, rows: pd.DataFrame, row_key: np.ndarray, questions: Questions) -> None:
    """Raise the questions found while reading, now that the rows have ledger keys."""
    at = pd.Series(np.arange(len(rows)), index=rows["file_row"])
    for problem in read.questions:
        place = at[problem.row]
        unit = rows["unit"].iloc[place] if "unit" in rows else None
        questions.ask(read.table.ledger, row_key[place], unit, problem)


def _add_unknown_units(
    connection: duckdb.DuckDBPyConnection, content: Folder, questions: Questions, stamp: Stamp
) -> None:
    """Create the vehicles that other tables name and nothing else knows, each with a question."""
    known = {unit for (unit,) in connection.execute(statement("visit/units")).fetchall()}
    if VEHICLES.file in content.tables:
        known |= set(content.tables[VEHICLES.file].rows["unit"])
    by_key: dict[str, str] = {unit_key(unit): unit for unit in sorted(known)}
    new: dict[str, RowProblem] = {}
    for file in _NAME_UNITS:
        if file not in content.tables:
            continue
        rows = content.tables[file].rows
        strange = rows[~rows["unit"].isin(known)].drop_duplicates("unit")
        for unit, row in zip(strange["unit"], strange["file_row"], strict=True):
            like = by_key.get(unit_key(unit))
            new.setdefault(unit, asked(file, int(row), words.unknown_unit(unit, like)))
    for unit, problem in new.items():
        insert_row(connection, "vehicle", {"unit": unit, "recorded_at": stamp.at})
        questions.ask("vehicle", unit, unit, problem)


def _count(read: ReadTable, status: np.ndarray, passed_over: int) -> TableCount:
    """passed_over: rows that were put right in the ledger so that nothing is left for them to say."""
    duplicates = int((status == "duplicate").sum())
    return TableCount(
        read.table.file,
        read.total,
        int((status == "added").sum()),
        int((status == "changed").sum()),
        int((status == "unchanged").sum()) + passed_over,
        0,
        read.total - len(status) - passed_over + duplicates,
    )
