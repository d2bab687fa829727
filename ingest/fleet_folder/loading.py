"""Bring a fleet folder into the ledger: all of it in one transaction, and a second time without any change.

docs/fleet_folder.md describes the folder; `ingest/fleet_folder/tables.py` lists its columns.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from datetime import date
from pathlib import Path

import duckdb
import pandas as pd

from ingest.author import Author
from ingest.checking.clamp_shift import Shift, hold_new_shifts
from ingest.errors import EntryRefused
from ingest.fleet_folder.captures import CaptureJob, CaptureResult, take_captures
from ingest.fleet_folder.cells import ReadTable, read_table
from ingest.fleet_folder.forgotten import without_forgotten
from ingest.fleet_folder.mapping import Mapped, read_mapping
from ingest.fleet_folder.report import LoadReport, RowProblem
from ingest.fleet_folder.settings_file import FILE as FLEET_FILE
from ingest.fleet_folder.settings_file import read_fleet_file
from ingest.fleet_folder.sheets import WORKBOOKS, find_sheet
from ingest.fleet_folder.storing import Folder, position_of, store_folder
from ingest.fleet_folder.tables import CLAMPS, PUMP_TYPES, PUMPS, TABLES, VISITS
from ingest.known_pump import TOLD, KnownPump
from ingest.ledger.clamps import Clamp, clamps, read_as
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Undone, transaction
from ingest.ledger.waveform_home import refuse_other, refuse_without_ledger
from ingest.trade_numbers import DEFAULTS

Progress = Callable[[int, int, str], None]


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
) -> LoadReport:
    """Load `folder` into `ledger` (created if missing) and report what became of its rows.

    strict: nothing goes in if any row is refused. dry_run: report only. progress(done, of, name) follows the
    captures. author: who loads. today: dates after it are asked about (default: today).
    mapping: which files hold which tables (default: what the folder's columns.toml says).
    Raises EntryRefused when the folder or its fleet.toml can't be read at all.
    """
    started = time.monotonic()
    ledger, folder = Path(ledger), Path(folder)
    if not folder.is_dir():
        raise EntryRefused("no-folder", f"There is no folder {folder}.")
    if not ledger.exists():
        refuse_without_ledger(ledger)  # before its captures are stored
    content = _read_folder(ledger, folder, mapping)
    if not content.tables and not content.refused and not (folder / FLEET_FILE).exists():
        names = ", ".join(table.file for table in TABLES)
        raise EntryRefused(
            "no-tables",
            f"{folder} holds no table of a fleet folder ({names}); --propose looks at its files.",
        )
    day = today or date.today()
    content = replace(content, tables=without_forgotten(ledger, content.tables, day))
    give_up = strict and bool(content.refused)
    captures = (
        {} if give_up else _take_captures(ledger, folder, content, store=not dry_run, progress=progress)
    )
    with tempfile.TemporaryDirectory() as scratch:
        target = ledger if ledger.exists() or not (dry_run or give_up) else Path(scratch) / "dry.duckdb"
        with (
            open_ledger(target, read_only=False) as connection,
            transaction(connection, author, "load", command="load") as stamp,
        ):
            report = store_folder(connection, content, captures, stamp, day)
            shifts = _shifts(connection, content, author)
            give_up = strict and bool(report.refused)
            if dry_run or give_up:
                raise Undone
    said = tuple(
        f"Clamp {s.clamp} on {s.day}: {len(s.visits)} pumps {100 * s.share:+.1f} %; their readings are held,"
        " and one question is open."
        for s in shifts
    )
    report = replace(report, notices=(*report.notices, *said))
    stored = not dry_run and not give_up and report.rows_kept > 0
    return replace(
        report, folder=str(folder), dry_run=dry_run, stored=stored, seconds=time.monotonic() - started
    )


def _read_folder(ledger: Path, folder: Path, mapping: Mapping[str, Mapped] | None) -> Folder:
    fleet = read_fleet_file(folder)
    notices = list(fleet.notices)
    unit = fleet.settings.get("distance_unit")
    if unit is None:
        unit = _ledger_unit(ledger)
        notices.append(f"{FLEET_FILE} names no distance_unit; odometers are taken in {unit}.")
    tables: dict[str, ReadTable] = {}
    refused: list[RowProblem] = []
    used = {FLEET_FILE}
    mapped = read_mapping(folder) if mapping is None else mapping
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
    endings = (".csv", *WORKBOOKS)
    strangers = sorted(p.name for p in folder.iterdir() if p.suffix.lower() in endings and p.name not in used)
    if strangers:
        notices.append(
            f"Not part of a fleet folder, left out: {', '.join(strangers)}; --propose looks at their columns."
        )
    return Folder(fleet, unit, tables, tuple(refused), tuple(notices))


def distance_unit_of(ledger: Path, folder: Path) -> str:
    """Return the unit of a folder's distances: what its fleet.toml says, else the ledger's."""
    return str(read_fleet_file(folder).settings.get("distance_unit") or _ledger_unit(ledger))


def _ledger_unit(ledger: Path) -> str:
    if not ledger.exists():
        return "mi"
    with open_ledger(ledger) as connection:
        return settings_at(connection)["distance_unit"]


def _take_captures(
    ledger: Path, folder: Path, content: Folder, *, store: bool, progress: Progress | None
) -> dict[str, CaptureResult]:
    visits = content.tables.get(VISITS.file)
    if visits is None or "capture" not in visits.rows or not visits.rows["capture"].notna().any():
        return {}
    known: frozenset[str] = frozenset()
    settings = DEFAULTS
    if ledger.exists():
        with open_ledger(ledger) as connection:
            refuse_other(connection, ledger)
            settings = settings_at(connection)
            rows = connection.execute(statement("load/captures_read")).fetchall()
        known = frozenset(value for (value,) in rows)
    named = visits.rows[visits.rows["capture"].notna()].drop_duplicates("capture")
    jobs = [
        CaptureJob(name, _inside(folder / "captures", name), pump, **how)
        for name, pump, how in zip(
            named["capture"],
            _known_pumps(content, named, settings | content.fleet.settings),
            _how_to_read(named, _clamps(ledger, content)),
            strict=True,
        )
    ]
    return take_captures(jobs, ledger, known=known, store=store, progress=progress)


def _shifts(connection: duckdb.DuckDBPyConnection, content: Folder, author: Author) -> list[Shift]:
    """Hold the readings of clamps that were off on a day that this folder brings."""
    visits = content.tables.get(VISITS.file)
    if visits is None or "clamp" not in visits.rows or not visits.rows["clamp"].notna().any():
        return []
    first = visits.rows.loc[visits.rows["clamp"].notna(), "visited_on"].min()
    return hold_new_shifts(connection, author, first.date())


def _inside(folder: Path, name: str) -> Path:
    """The file `name` in `folder`; a name that leads out of it is taken by its last part."""
    path = folder / name
    return path if path.resolve().is_relative_to(folder.resolve()) else folder / Path(name).name


def _known_pumps(content: Folder, visits: pd.DataFrame, settings: dict) -> list[KnownPump]:
    """What the folder says of the pump at each visit: of its type, where the position has had one, else the
    fleet's usual band, and how it was run."""
    usual = {name: settings[name] for name in ("rpm_low", "rpm_high")}
    of_types = _types_of(content, visits)
    of_visits = visits.reindex(columns=[*TOLD, "state", "supply_v", "commanded", "duty_pct"]).to_dict(
        "records"
    )
    return [
        KnownPump(**usual | _told(of_type) | _told(of_visit))
        for of_type, of_visit in zip(of_types, of_visits, strict=True)
    ]


def _told(row: dict) -> dict:
    facts = {f.name for f in fields(KnownPump)}
    told = {k: v for k, v in row.items() if k in facts and v is not None and v == v}
    return told | {name: int(told[name]) for name in ("segments", "poles") if name in told}


def _how_to_read(visits: pd.DataFrame, known: dict[str, Clamp]) -> list[dict]:
    """Probe and channel of each visit: what it names, else what its clamp is known by."""
    out = []
    for row in visits.reindex(columns=["probe", "channel", "clamp"]).to_dict("records"):
        named = [row[name] if isinstance(row[name], str) else None for name in ("probe", "channel")]
        probe, channel = read_as(known.get(row["clamp"]), *named)
        told = {"probe": probe, "channel": channel}
        out.append({name: value for name, value in told.items() if value})
    return out


def _clamps(ledger: Path, content: Folder) -> dict[str, Clamp]:
    """Return each clamp's factor and channel: as the ledger has them, and as the folder does."""
    known: dict[str, Clamp] = {}
    if ledger.exists():
        with open_ledger(ledger) as connection:
            known = clamps(connection)
    read = content.tables.get(CLAMPS.file)
    for row in () if read is None else read.rows.to_dict("records"):
        told = {k: row[k] for k in ("factor", "channel") if isinstance(row.get(k), str)}
        known[row["clamp"]] = replace(known.get(row["clamp"], Clamp(row["clamp"])), **told)
    return known


def _types_of(content: Folder, visits: pd.DataFrame) -> list[dict]:
    """Return the row of the pump type at each visit, where the position has had one type, else nothing."""
    pumps, types = content.tables.get(PUMPS.file), content.tables.get(PUMP_TYPES.file)
    if pumps is None or types is None or "pump_type" not in pumps.rows:
        return [{}] * len(visits)
    by_place: dict[tuple, set] = {}
    for unit, position, pump_type in zip(
        pumps.rows["unit"], position_of(pumps.rows), pumps.rows["pump_type"], strict=True
    ):
        by_place.setdefault((unit, position), set()).add(pump_type)
    facts = {row["pump_type"]: row for row in types.rows.to_dict("records")}
    out = []
    for unit, position in zip(visits["unit"], position_of(visits), strict=True):
        names = by_place.get((unit, position), set())
        out.append(facts.get(next(iter(names)), {}) if len(names) == 1 else {})
    return out
