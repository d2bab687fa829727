"""Bring a fleet folder into the ledger: all of it in one transaction, and a second time without any change.

docs/fleet_folder.md describes the folder; `ingest/folder_tables.py` lists its columns.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from ingest.errors import EntryRefused
from ingest.folder_captures import CaptureJob, CaptureResult, take_captures
from ingest.folder_csv import ReadTable, read_table
from ingest.folder_merge import Merged, Stamp, merge_rows
from ingest.folder_questions import Questions
from ingest.folder_settings import FILE as FLEET_FILE
from ingest.folder_settings import FleetFile, read_fleet_file, store_fleet_file
from ingest.folder_tables import PUMP_TYPES, PUMPS, TABLES, VEHICLES, VISITS
from ingest.folder_visits import add_readings, attach_pumps, merge_visits
from ingest.ledger import open_ledger
from ingest.load_report import LoadReport, RowProblem, TableCount
from ingest.settings import settings_at

Progress = Callable[[int, int, str], None]
_MEANS_UNIT = (PUMPS.file, VISITS.file, "services.csv", "breakdowns.csv", "odometers.csv", "due_work.csv")


@dataclass(frozen=True)
class _Folder:
    """A folder read and checked, nothing stored yet."""

    fleet: FleetFile
    distance_unit: str
    tables: dict[str, ReadTable]
    refused: tuple[RowProblem, ...]
    notices: tuple[str, ...]


def load_folder(
    ledger: Path | str,
    folder: Path | str,
    *,
    strict: bool = False,
    dry_run: bool = False,
    progress: Progress | None = None,
    by: str | None = None,
    today: date | None = None,
) -> LoadReport:
    """Load `folder` into `ledger` (created if missing) and report what became of its rows.

    strict: nothing goes in if any row is refused. dry_run: report only. progress(done, of, name) follows the
    captures. by: who loads, for the change log. today: dates after it are asked about (default: today).
    Raises EntryRefused when the folder or its fleet.toml can't be read at all.
    """
    started = time.monotonic()
    ledger, folder = Path(ledger), Path(folder)
    if not folder.is_dir():
        raise EntryRefused("no-folder", f"There is no folder {folder}.")
    content = _read_folder(ledger, folder)
    if not content.tables and not content.refused and not (folder / FLEET_FILE).exists():
        names = ", ".join(table.file for table in TABLES)
        raise EntryRefused("no-tables", f"{folder} holds no table of a fleet folder ({names}).")
    give_up = strict and bool(content.refused)
    captures = (
        {} if give_up else _take_captures(ledger, folder, content, store=not dry_run, progress=progress)
    )
    stamp = Stamp(datetime.now(UTC).replace(tzinfo=None), by, "load")
    with tempfile.TemporaryDirectory() as scratch:
        target = ledger if ledger.exists() or not (dry_run or give_up) else Path(scratch) / "dry.duckdb"
        with open_ledger(target, read_only=False) as connection:
            connection.execute("BEGIN")
            try:
                report = _store(connection, content, captures, stamp, today or date.today())
                give_up = strict and bool(report.refused)
            except BaseException:
                connection.execute("ROLLBACK")
                raise
            connection.execute("ROLLBACK" if dry_run or give_up else "COMMIT")
    stored = not dry_run and not give_up and report.rows_kept > 0
    return replace(
        report, folder=str(folder), dry_run=dry_run, stored=stored, seconds=time.monotonic() - started
    )


def _read_folder(ledger: Path, folder: Path) -> _Folder:
    fleet = read_fleet_file(folder)
    notices = list(fleet.notices)
    unit = fleet.settings.get("distance_unit")
    if unit is None:
        unit = _ledger_unit(ledger)
        notices.append(f"{FLEET_FILE} names no distance_unit; odometers are taken in {unit}.")
    tables: dict[str, ReadTable] = {}
    refused: list[RowProblem] = []
    for table in TABLES:
        path = folder / table.file
        if not path.exists():
            continue
        try:
            read = read_table(
                path, table, distance_unit=unit, date_order=fleet.date_order, time_zone=fleet.time_zone
            )
        except EntryRefused as error:
            refused.append(RowProblem(table.file, 0, "", error.code, error.text))
            continue
        tables[table.file] = read
        refused += read.refused
        notices += read.notices
    known = {table.file for table in TABLES} | {FLEET_FILE}
    strangers = sorted(p.name for p in folder.glob("*.csv") if p.name not in known)
    if strangers:
        notices.append(f"Not part of a fleet folder, left out: {', '.join(strangers)}.")
    return _Folder(fleet, unit, tables, tuple(refused), tuple(notices))


def _ledger_unit(ledger: Path) -> str:
    if not ledger.exists():
        return "mi"
    with open_ledger(ledger) as connection:
        return settings_at(connection)["distance_unit"]


def _take_captures(
    ledger: Path, folder: Path, content: _Folder, *, store: bool, progress: Progress | None
) -> dict[str, CaptureResult]:
    visits = content.tables.get(VISITS.file)
    if visits is None or "capture" not in visits.rows or not visits.rows["capture"].notna().any():
        return {}
    known: frozenset[str] = frozenset()
    if ledger.exists():
        with open_ledger(ledger) as connection:
            rows = connection.execute(
                "SELECT DISTINCT capture_hash FROM reading WHERE capture_hash IS NOT NULL"
            ).fetchall()
        known = frozenset(value for (value,) in rows)
    named = visits.rows[visits.rows["capture"].notna()].drop_duplicates("capture")
    types = _types_of(content, named)
    jobs = [
        CaptureJob(name, _inside(folder / "captures", name), **facts)
        for name, facts in zip(named["capture"], types, strict=True)
    ]
    return take_captures(jobs, ledger, known=known, store=store, progress=progress)


def _inside(folder: Path, name: str) -> Path:
    """The file `name` in `folder`; a name that leads out of it is taken by its last part."""
    path = folder / name
    return path if path.resolve().is_relative_to(folder.resolve()) else folder / Path(name).name


def _types_of(content: _Folder, visits: pd.DataFrame) -> list[dict]:
    """What the folder says about the pump type at each visit, where the position has had one type."""
    wanted = ("segments", "supply", "motor", "rpm_low", "rpm_high")
    pumps, types = content.tables.get(PUMPS.file), content.tables.get(PUMP_TYPES.file)
    if pumps is None or types is None or "pump_type" not in pumps.rows:
        return [{}] * len(visits)
    by_place: dict[tuple, set] = {}
    for unit, position, pump_type in zip(
        pumps.rows["unit"], _position(pumps.rows), pumps.rows["pump_type"], strict=True
    ):
        by_place.setdefault((unit, position), set()).add(pump_type)
    facts = {row["pump_type"]: row for row in types.rows.to_dict("records")}
    out = []
    for unit, position in zip(visits["unit"], _position(visits), strict=True):
        names = by_place.get((unit, position), set())
        row = facts.get(next(iter(names)), {}) if len(names) == 1 else {}
        out.append({k: row[k] for k in wanted if k in row and row[k] is not None and row[k] == row[k]})
    for fact in out:
        if "segments" in fact:
            fact["segments"] = int(fact["segments"])
    return out


def _position(rows: pd.DataFrame) -> pd.Series:
    if "position" not in rows:
        return pd.Series("main", index=rows.index, dtype="object")
    return rows["position"].where(rows["position"].notna(), "main")


def _store(
    connection: duckdb.DuckDBPyConnection,
    content: _Folder,
    captures: dict[str, CaptureResult],
    stamp: Stamp,
    today: date,
) -> LoadReport:
    questions = Questions()
    refused = list(content.refused)
    counts: list[TableCount] = []
    loaded: list[pd.DataFrame] = []
    if content.fleet.settings or content.fleet.costs:
        counts.append(store_fleet_file(connection, content.fleet, stamp, today))
    _add_unknown_units(connection, content, questions, stamp)
    for table in TABLES:
        if table.file not in content.tables:
            bad_file = [p for p in content.refused if p.file == table.file]
            counts += [TableCount(table.file)] if bad_file else []
            continue
        read = content.tables[table.file]
        rows = _prepared(read, content.distance_unit)
        if table is VISITS:
            merged, gained = _store_visits(connection, read, rows, captures, questions, stamp, today)
        else:
            merged = merge_rows(connection, table, rows, read.given, stamp)
            gained = np.zeros(len(rows), dtype=bool)
        status = merged.status.copy()
        status[gained & (status == "unchanged")] = "changed"
        _ask_about(read, rows, merged.row_key, questions)
        for place in np.flatnonzero(status == "duplicate"):
            text = "another row of the file has the same key and other values; give both a ref, or drop one"
            refused.append(
                RowProblem(table.file, int(rows["file_row"].iloc[place]), "", "duplicate-key", text)
            )
        loaded.append(pd.DataFrame({"table_name": table.ledger, "row_key": merged.row_key}))
        counts.append(_count(read, status))
    everything = pd.concat(loaded) if loaded else pd.DataFrame(columns=["table_name", "row_key"])
    questions.write(connection, everything.drop_duplicates().astype("object"), stamp)
    asked = tuple(sorted(questions.asked, key=lambda q: (q.file, q.row)))
    per_file = {(q.file, q.row) for q in asked}
    counts = [replace(c, questioned=sum(file == c.file for file, _ in per_file)) for c in counts]
    return LoadReport("", tuple(counts), asked, tuple(refused), content.notices)


def _prepared(read: ReadTable, distance_unit: str) -> pd.DataFrame:
    rows = read.rows.copy()
    if any(column.name == "position" and column.default for column in read.table.columns):
        rows["position"] = _position(rows)
    if read.table is VISITS and "odometer_entered" in rows:
        rows["odometer_unit"] = pd.Series(distance_unit, index=rows.index, dtype="object").where(
            rows["odometer_entered"].notna(), None
        )
    return rows


def _store_visits(
    connection: duckdb.DuckDBPyConnection,
    read: ReadTable,
    rows: pd.DataFrame,
    captures: dict[str, CaptureResult],
    questions: Questions,
    stamp: Stamp,
    today: date,
) -> tuple[Merged, np.ndarray]:
    pump_id, doubts = attach_pumps(connection, rows, questions, stamp)
    rows["pump_id"] = pump_id.to_numpy()
    rows["capture_hash"] = None
    if "capture" in rows:
        hashes = {name: result.capture_hash for name, result in captures.items()}
        rows["capture_hash"] = rows["capture"].map(hashes).astype("object")
        rows["capture_hash"] = rows["capture_hash"].where(rows["capture_hash"].notna(), None)
    merged = merge_visits(connection, rows, read.given, stamp)
    gained = add_readings(connection, rows, merged, captures, stamp)
    for place, code, text in doubts.itertuples(index=False):
        _ask_visit(rows, merged, place, "visited_on", code, text, questions)
    if "capture" in rows:
        refusals = rows["capture"].map({n: r.refused for n, r in captures.items() if r.refused})
        for place in np.flatnonzero(refusals.notna().to_numpy()):
            text = f"the capture was not taken: {refusals.iloc[place]}"
            _ask_visit(rows, merged, int(place), "capture", "capture-refused", text, questions)
    return merged, gained


def _ask_visit(
    rows: pd.DataFrame, merged: Merged, place: int, field: str, code: str, text: str, questions: Questions
) -> None:
    problem = RowProblem(VISITS.file, int(rows["file_row"].iloc[place]), field, code, text)
    questions.ask("visit", merged.row_key[place], rows["unit"].iloc[place], problem)


def _ask_about(read: ReadTable, rows: pd.DataFrame, row_key: np.ndarray, questions: Questions) -> None:
    """Raise the questions found while reading, now that the rows have ledger keys."""
    if not read.questions:
        return
    at = pd.Series(np.arange(len(rows)), index=rows["file_row"])
    for problem in read.questions:
        place = at[problem.row]
        unit = rows["unit"].iloc[place] if "unit" in rows else None
        questions.ask(read.table.ledger, row_key[place], unit, problem)


def _add_unknown_units(
    connection: duckdb.DuckDBPyConnection, content: _Folder, questions: Questions, stamp: Stamp
) -> None:
    """Create the vehicles that other tables name and nothing else knows, each with a question."""
    known = {unit for (unit,) in connection.execute("SELECT unit FROM vehicle").fetchall()}
    if VEHICLES.file in content.tables:
        known |= set(content.tables[VEHICLES.file].rows["unit"])
    new: dict[str, RowProblem] = {}
    for file in _MEANS_UNIT:
        if file not in content.tables:
            continue
        rows = content.tables[file].rows
        strange = rows[~rows["unit"].isin(known)].drop_duplicates("unit")
        for unit, row in zip(strange["unit"], strange["file_row"], strict=True):
            text = (
                f"unit {unit} is not in vehicles.csv nor in the ledger; a vehicle was added. Is it a new one?"
            )
            new.setdefault(unit, RowProblem(file, int(row), "unit", "unknown-unit", text))
    for unit, problem in new.items():
        connection.execute("INSERT INTO vehicle (unit, recorded_at) VALUES (?, ?)", [unit, stamp.at])
        questions.ask("vehicle", unit, unit, problem)


def _count(read: ReadTable, status: np.ndarray) -> TableCount:
    refused = read.total - len(status) + int((status == "duplicate").sum())
    return TableCount(
        read.table.file,
        read.total,
        int((status == "added").sum()),
        int((status == "changed").sum()),
        int((status == "unchanged").sum()),
        0,
        refused,
    )
