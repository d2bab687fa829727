"""Write the whole ledger out: a fleet folder that loads again, and every table as it stands.

    FOLDER/fleet.toml, vehicles.csv, ...   the tables of a fleet folder, distances in the fleet's unit
    FOLDER/captures/HASH.parquet           the waveforms
    FOLDER/photos/visit_41_7.jpg           the photos of visits, by visit and number
    FOLDER/ledger/TABLE.csv                every table and the view visit_detail, in the ledger's own units,
                                           the sentences beside what is kept as codes and values

A text cell that a spreadsheet would take for a formula gets an apostrophe in front, which `load` takes off
again; numbers, -5.00 among them, are left alone. Parquet needs no such guard.
"""

from __future__ import annotations

import contextlib
import json
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import duckdb

from ingest.durable import clear_unfinished
from ingest.errors import LedgerError
from ingest.fleet_folder.settings_file import FILE as FLEET_FILE
from ingest.fleet_folder.tables import METRIC_NAMES, ROW_ID, TABLES, VISITS, Column, Table
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at, settings_chosen
from ingest.ledger.statements import statement
from ingest.ledger.tables import table_names
from ingest.ledger.waveform_home import ledger_id
from ingest.units import UNITS
from ingest.waveforms import waveform_path
from ingest.wording.stored import notes_from, question_text

Format = Literal["csv", "parquet"]
EVERYTHING = "ledger"
UNFINISHED = ".export-unfinished-"
NOTES = {"notes", "reading_notes"}  # columns of remarks
QUESTION = {"code", "details", "text"}


@dataclass(frozen=True)
class Exported:
    """Where the export is, rows by file, waveforms copied, captures whose waveform is missing, photos."""

    folder: Path
    rows: dict[str, int]
    waveforms: int
    missing: tuple[str, ...]
    photos: int = 0


def export_ledger(ledger: Path | str, folder: Path | str, *, form: Format = "csv") -> Exported:
    """Write the ledger to a new `folder`, all of it or nothing.

    Raises LedgerError when the folder is there already or can't be written.
    """
    ledger, folder = Path(ledger), Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise LedgerError("export-exists", f"{folder} is there already; choose a new or empty folder.")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        clear_unfinished(folder.parent, f".*{UNFINISHED}*")
        with tempfile.TemporaryDirectory(prefix=f".{folder.name}{UNFINISHED}", dir=folder.parent) as scratch:
            made = Path(scratch) / "made"
            (made / EVERYTHING).mkdir(parents=True)
            with open_ledger(ledger) as connection:
                rows = _write_tables(connection, made, form)
                (made / FLEET_FILE).write_text(_fleet_file(connection), encoding="utf-8")
                hashes = connection.execute(statement("upkeep/hashes")).fetchall()
                photos = _write_photos(connection, made / "photos")
            missing = _copy_waveforms(ledger, made / "captures", [h for (h,) in hashes])
            if folder.exists():
                folder.rmdir()
            made.replace(folder)
    except OSError as error:
        raise LedgerError(
            "export-failed", f"The export can't be written to {folder}: {error.strerror or error}."
        ) from error
    except LedgerError as error:
        if error.code != "disk-full":
            raise
        text = f"The export can't be written to {folder}: the disk is full; free some space and try again."
        raise LedgerError("export-failed", text) from error
    return Exported(folder, rows, len(hashes) - len(missing), missing, photos)


def _write_tables(connection: duckdb.DuckDBPyConnection, made: Path, form: Format) -> dict[str, int]:
    unit = settings_at(connection)["distance_unit"]
    tables = {
        Path(table.file).stem: _fleet_folder_rows(connection, table, unit, as_text=form == "csv")
        for table in TABLES
    }
    with contextlib.suppress(duckdb.CatalogException):  # an engine that outlives an opening has them
        connection.create_function("notes_text", notes_text, ["VARCHAR"], "VARCHAR")
        connection.create_function("question_text", question_text, ["VARCHAR"] * 3, "VARCHAR")
    tables |= {f"{EVERYTHING}/{name}": _worded(connection.table(name)) for name in table_names(connection)}
    everything = connection.sql("SELECT * FROM visit_detail")
    tables[f"{EVERYTHING}/visit_detail"] = _worded(everything).order("visit_id")
    connection.execute(statement("export/safe_text"))
    rows = {}
    for name, content in tables.items():
        path = str(made / f"{name}.{form}")
        if form == "csv":
            _safe(content).to_csv(path, header=True)
        else:
            content.to_parquet(path, compression="zstd")
        rows[f"{name}.{form}"] = len(content)
    return rows


def _worded(content: duckdb.DuckDBPyRelation) -> duckdb.DuckDBPyRelation:
    """Return the rows with the sentences of their remarks beside what these are kept as."""
    columns: dict[str, duckdb.Expression] = {name: duckdb.ColumnExpression(name) for name in content.columns}
    if set(columns) >= QUESTION:
        blank = duckdb.ConstantExpression("")
        kept = [
            duckdb.CoalesceOperator(columns[n].cast("VARCHAR"), blank) for n in ("code", "details", "text")
        ]
        columns["text"] = duckdb.FunctionExpression("question_text", *kept).alias("text")
    for name in NOTES & set(content.columns):
        columns[f"{name}_text"] = duckdb.FunctionExpression(
            "notes_text", columns[name].cast("VARCHAR")
        ).alias(f"{name}_text")
    return content.select(*columns.values())


def notes_text(kept: str) -> str:
    """Return the sentences of a `notes` column, a line each."""
    return "\n".join(note.text for note in notes_from(kept))


def _fleet_folder_rows(
    connection: duckdb.DuckDBPyConnection, table: Table, unit: str, *, as_text: bool
) -> duckdb.DuckDBPyRelation:
    """Return a ledger table as a table of a fleet folder; unit: its distances'."""
    # Visits are joined with the pump's serial and metrics measured elsewhere.
    if table is VISITS:
        source = connection.sql(statement("export/visits", metrics=", ".join(METRIC_NAMES)))
    else:
        source = connection.table(table.ledger)
    numbers = {ROW_ID: table.id_column, "pump_row_id": "pump_id"}  # what rows are known by where they come to
    columns = [
        column for column in table.columns if column.target in source.columns or column.name in numbers
    ]
    values = {
        column.name: duckdb.ColumnExpression(numbers[column.name])
        if column.name in numbers
        else _value(column, UNITS[unit].factor)
        for column in columns
    }
    if table is VISITS and as_text:
        values["odometer"] = _as_entered(values["odometer"], unit)
    return source.select(*(value.alias(name) for name, value in values.items())).sort(
        *(column.name for column in columns)
    )


def _value(column: Column, km_per_unit: float) -> duckdb.Expression:
    value: duckdb.Expression = duckdb.ColumnExpression(column.target)
    if column.kind == "distance":  # six decimals of a mile give 88412 back as it was entered
        value = duckdb.FunctionExpression("round", value / km_per_unit, duckdb.ConstantExpression(6))
    return value


def _as_entered(odometer: duckdb.Expression, unit: str) -> duckdb.Expression:
    """Return a visit's odometer with its own unit where it was entered in another than the fleet's."""
    entered, own = duckdb.ColumnExpression("odometer_entered"), duckdb.ColumnExpression("odometer_unit")
    other = next(name for name in ("km", "mi") if name != unit)
    counted_on = duckdb.ColumnExpression("odometer_km") - entered * duckdb.ConstantExpression(
        UNITS[other].factor
    )
    near = duckdb.FunctionExpression("abs", counted_on) < duckdb.ConstantExpression(0.5)
    text = duckdb.FunctionExpression("concat", entered, duckdb.ConstantExpression(f" {other}"))
    written = odometer.cast("VARCHAR")
    return duckdb.CaseExpression((own == duckdb.ConstantExpression(other)) & near, text).otherwise(written)


def _safe(content: duckdb.DuckDBPyRelation) -> duckdb.DuckDBPyRelation:
    """Return the rows with no text that could be taken for a formula, and pictures as text."""
    made_safe = {"VARCHAR": "safe_text", "JSON": "safe_text", "BLOB": "base64"}
    columns = []
    for name, kind in zip(content.columns, content.types, strict=True):
        value: duckdb.Expression = duckdb.ColumnExpression(name)
        if str(kind) in made_safe:
            value = duckdb.FunctionExpression(made_safe[str(kind)], value).alias(name)
        columns.append(value)
    return content.select(*columns)


def _fleet_file(connection: duckdb.DuckDBPyConnection) -> str:
    """Return fleet.toml: the settings and prices in force, for reading the tables and loading them again."""
    chosen = settings_chosen(connection)
    values: dict[str, Any] = {"distance_unit": settings_at(connection)["distance_unit"]} | chosen
    values |= dict(connection.execute(statement("export/costs")).fetchall())
    if own := ledger_id(connection):
        values["ledger_id"] = own
    return "".join(f"{_key(key)} = {_toml(value)}\n" for key, value in values.items())


def _key(name: str) -> str:
    """Return a key as TOML takes it: only bare ones go without quotes (TOML 1.0, Keys)."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name, ensure_ascii=False)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


def _write_photos(connection: duckdb.DuckDBPyConnection, folder: Path) -> int:
    found = connection.execute(statement("export/photos")).fetchall()
    if found:
        folder.mkdir()
    for visit_id, photo_id, picture in found:
        (folder / f"visit_{visit_id}_{photo_id}.jpg").write_bytes(bytes(picture))
    return len(found)


def _copy_waveforms(ledger: Path, folder: Path, hashes: list[str]) -> tuple[str, ...]:
    folder.mkdir()
    missing = []
    for capture_hash in hashes:
        source = waveform_path(ledger, capture_hash)
        if source.exists():
            (folder / source.name).write_bytes(source.read_bytes())
        else:
            missing.append(capture_hash)
    return tuple(missing)
