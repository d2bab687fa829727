"""Bring a fleet folder into the ledger: all of it in one transaction, and a second time without any change.

docs/fleet_folder.md describes the folder; `ingest/fleet_folder/tables.py` lists its columns.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import duckdb

from ingest.author import Author
from ingest.chains.running import Progress, Run, Where, run_chains
from ingest.checking.clamp_shift import Shift, hold_new_shifts
from ingest.checking.told_segments import ask_about_segments, contradicts
from ingest.errors import EntryRefused
from ingest.fleet_folder.carried_tables import read_carried
from ingest.fleet_folder.cells import ReadTable, read_table
from ingest.fleet_folder.folder_chains import chains_of
from ingest.fleet_folder.forgotten import without_forgotten
from ingest.fleet_folder.mapping import Mapped, distance_unit_told, read_mapping
from ingest.fleet_folder.other_ledgers import without_others_rows
from ingest.fleet_folder.report import LoadReport, RowProblem
from ingest.fleet_folder.settings_file import FILE as FLEET_FILE
from ingest.fleet_folder.settings_file import read_fleet_file
from ingest.fleet_folder.sheets import WORKBOOKS, find_sheet
from ingest.fleet_folder.storing import Folder, store_folder
from ingest.fleet_folder.tables import PUMP_TYPES, PUMPS, TABLES, VEHICLES, VISITS
from ingest.harmless import as_file_name
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Undone, transaction
from ingest.ledger.waveform_home import refuse_without_ledger
from ingest.waiting import waiting_folder

_NAMING = {VEHICLES.file, PUMP_TYPES.file, PUMPS.file}  # tables that bring depots and pump types


def load_folder(
    ledger: Path | str,
    folder: Path | str,
    *,
    strict: bool = False,
    dry_run: bool = False,
    progress: Progress | None = None,
    author: Author,
    today: date | None = None,
    mapping: Mapping[str, Mapped] | None = None,
    where: Where | None = None,
    hand_over: Collection[str] = (),
) -> LoadReport:
    """Load `folder` into `ledger` (created if missing) and report what became of its rows.

    strict: nothing goes in if any row is refused. dry_run: report only. progress(done, of, name) follows the
    captures. author: who loads. today: dates after it are asked about (default: today).
    mapping: which files hold which tables (default: what the folder's columns.toml says). where: where
    captures are measured (default: a process on each core). hand_over: units that the ledger which wrote the
    folder keeps from now on ("all": every unit there).
    Raises EntryRefused when the folder or its fleet.toml can't be read at all.
    """
    started = time.monotonic()
    ledger, folder = Path(ledger), Path(folder)
    if not folder.is_dir():
        raise EntryRefused("no-folder", f"There is no folder {folder}.")
    if not ledger.exists():
        refuse_without_ledger(ledger)  # before its captures are stored
    content = read_folder(ledger, folder, mapping)
    if not content.tables and not content.refused and not (folder / FLEET_FILE).exists():
        names = ", ".join(table.file for table in TABLES)
        raise EntryRefused(
            "no-tables",
            f"{folder} holds no table of a fleet folder ({names}); --propose looks at its files, and captures"
            " alone go in with pumpledger take.",
        )
    day = today or date.today()
    kept = without_others_rows(ledger, content.tables, content.fleet.ledger_id, hand_over)
    content = replace(
        content,
        tables=without_forgotten(ledger, kept.tables, day),
        carried=without_forgotten(ledger, content.carried, day),
        refused=(*content.refused, *kept.refused),
        notices=(*content.notices, *kept.notices),
        handed_over=kept.handed_over,
    )
    give_up = strict and bool(content.refused)
    if give_up:
        measured = Run()
    else:
        chains, work = chains_of(ledger, folder, content, store=not dry_run)
        waiting = None if dry_run else waiting_folder(ledger)
        measured = run_chains(chains, work, where=where, waiting=waiting, progress=progress)
    with tempfile.TemporaryDirectory() as scratch:
        target = ledger if ledger.exists() or not (dry_run or give_up) else Path(scratch) / "dry.duckdb"
        with (
            open_ledger(target, read_only=False) as connection,
            transaction(connection, author, "load", command="load") as stamp,
        ):
            report = store_folder(connection, content, measured.rows, stamp, day)
            shifts = _shifts(connection, content, author)
            doubted = []
            if any(contradicts(row.reading) for row in measured.rows.values()):
                doubted = ask_about_segments(connection)
            # Once: a folder that brings nothing new is not asked again.
            ask = report.changes and PUMPS.file in content.tables
            unseen = _before_records(connection) if ask else ()
            alike = _alike(connection) if _NAMING.intersection(content.tables) else ()
            give_up = strict and bool(report.refused)
            if dry_run or give_up:
                raise Undone
    if not (dry_run or give_up):
        measured.published()
    said = tuple(shift.text for shift in shifts)
    said += tuple(
        f"Pump type {name}: most of its captures contradict its number of segments; one question is open."
        for name in doubted
    )
    report = replace(report, notices=(*report.notices, *said, *alike, *unseen))
    stored = not dry_run and not give_up and report.rows_kept > 0
    return replace(
        report, folder=str(folder), dry_run=dry_run, stored=stored, seconds=time.monotonic() - started
    )


def read_folder(ledger: Path, folder: Path, mapping: Mapping[str, Mapped] | None = None) -> Folder:
    """Return the tables of a fleet folder as read, with what was refused; `mapping` as for `load_folder`."""
    fleet = read_fleet_file(folder)
    notices = list(fleet.notices)
    mapped = read_mapping(folder) if mapping is None else mapping
    unit, taken = fleet.settings.get("distance_unit"), ""
    if unit is None:
        unit = _ledger_unit(ledger)
        told = "names no distance_unit" if (folder / FLEET_FILE).exists() else "is not in the folder"
        by_header = distance_unit_told(mapped.values())
        if by_header and not ledger.exists():
            unit, fleet = by_header, replace(fleet, settings=fleet.settings | {"distance_unit": by_header})
            notices.append(f"{FLEET_FILE} {told}; distances are in {unit}, as the headers say.")
        else:
            other = "km" if unit == "mi" else "mi"
            taken = (
                f"{FLEET_FILE} {told}; odometers are taken in {unit}. If they are in {other}, put a text file"
                f' {FLEET_FILE} with the line distance_unit = "{other}" into the folder.'
            )
    tables: dict[str, ReadTable] = {}
    refused: list[RowProblem] = []
    used = {FLEET_FILE}
    for table in TABLES:
        mine = mapped.get(table.file)
        found = (folder / mine.file, mine.sheet) if mine else find_sheet(folder, table.file)
        if found is None:
            continue
        path, sheet = found
        used.add(path.name)
        try:
            tables[table.file] = read = read_table(
                path,
                table,
                sheet=sheet,
                distance_unit=unit,
                date_order=fleet.date_order,
                time_zone=fleet.time_zone,
                mapped=mine,
            )
        except EntryRefused as error:
            refused.append(RowProblem(table.file, 0, "", error.code, error.text))
            continue
        refused += read.refused
        notices += read.notices
    if taken and any(_unit_untold(read, mapped.get(file)) for file, read in tables.items()):
        notices.insert(0, taken)
    carried, wrong = read_carried(folder) if fleet.ledger_id else ({}, [])
    refused += wrong
    endings = (".csv", *WORKBOOKS)
    strangers = sorted(p.name for p in folder.iterdir() if p.suffix.lower() in endings and p.name not in used)
    if strangers:
        names = ", ".join(map(as_file_name, strangers))
        notices.append(f"Not part of a fleet folder, left out: {names}; --propose looks at their columns.")
    return Folder(fleet, unit, tables, tuple(refused), tuple(notices), carried)


def _unit_untold(read: ReadTable, mapped: Mapped | None) -> bool:
    """Return whether a table has a distance whose unit its header doesn't name."""
    told = {name for name, source in mapped.columns.items() if source.unit} if mapped else set()
    return any(
        column.kind == "distance" and column.target in read.given and column.name not in told
        for column in read.table.columns
    )


def distance_unit_of(ledger: Path, folder: Path) -> str:
    """Return the unit of a folder's distances: what its fleet.toml says, else the ledger's."""
    return str(read_fleet_file(folder).settings.get("distance_unit") or _ledger_unit(ledger))


def _ledger_unit(ledger: Path) -> str:
    if not ledger.exists():
        return "mi"
    with open_ledger(ledger) as connection:
        return settings_at(connection)["distance_unit"]


def _alike(connection: duckdb.DuckDBPyConnection) -> tuple[str, ...]:
    """Name depots and pump types that differ in nothing but case, blanks and signs."""
    rows = connection.execute(statement("load/names_in_use")).fetchall()
    return tuple(
        f"{', '.join(repr(name) for name in names)}: is that one {kind}? Written alike they are one;"
        " else they are told apart everywhere."
        for kind, names in rows
    )


def _before_records(connection: duckdb.DuckDBPyConnection) -> tuple[str, ...]:
    """Ask since when every pump change is on record, where failures that no visit saw depend on it."""
    rows = connection.execute(statement("load/failures_before_records")).fetchall()
    [(failures, left_out, since)] = rows
    if not left_out:
        return ()
    return (
        f"{left_out:,} of {failures:,} failures are of pumps that no visit saw, and nobody said since when"
        " every pump change is on record: lives leave them out. If all were written down since then, say so"
        f' in vehicles.csv, records_from, or in columns.toml: records_from = {{ everywhere = "{since}" }}.',
    )


def _shifts(connection: duckdb.DuckDBPyConnection, content: Folder, author: Author) -> list[Shift]:
    """Hold the readings of clamps that were off on a day that this folder brings."""
    visits = content.tables.get(VISITS.file)
    if visits is None or "clamp" not in visits.rows or not visits.rows["clamp"].notna().any():
        return []
    first = visits.rows.loc[visits.rows["clamp"].notna(), "visited_on"].min()
    return hold_new_shifts(connection, author, first.date())
