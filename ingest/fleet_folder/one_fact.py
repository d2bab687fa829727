"""Facts a person keeps by hand: pump types, units, notes on where to clamp, what was found in a pump.

What is typed is read by the same columns as a fleet folder, so both take and refuse the same. Every cell
changed has a line in the change log.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from ingest.dates import read_dates
from ingest.errors import EntryRefused
from ingest.fleet_folder.cells import read_column
from ingest.fleet_folder.tables import Column, Table
from ingest.ledger.changes import log_change
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.visit_rows import plain
from ingest.units import KM_PER_MILE

CONNECTION_NOTES = Table(
    "",
    "connection_note",
    (
        Column("make", "text"),
        Column("model", "text"),
        Column("engine", "text"),
        Column("year_from", "integer", low=1900, high=2100),
        Column("year_to", "integer", low=1900, high=2100),
        Column("clamp_point", "text"),
        Column("fuse", "text"),
        Column("access", "text"),
        Column("note", "text"),
    ),
    id_column="note_id",
)
# Pairs of which the first may not exceed the second.
_ORDERED = (
    ("current_low_a", "current_high_a"),
    ("rpm_low", "rpm_high"),
    ("year_from", "year_to"),
    ("in_service_on", "retires_on"),
)


def read_facts(table: Table, typed: Mapping[str, str], distance_unit: str) -> dict[str, Any]:
    """Return ledger column -> value of what was typed by column name; a blank cell is None.

    Raises EntryRefused naming the first field that can't be taken.
    """
    values: dict[str, Any] = {}
    for column in table.columns:
        if column.name not in typed:
            continue
        text = str(typed[column.name] or "").strip()
        cells = pd.Series([text], dtype="object")
        if column.kind == "date":
            dates = read_dates(cells)
            value, problem = dates.local_date.dt.date.iloc[0], dates.problem.iloc[0]
        else:
            read, problems = read_column(cells, column, distance_unit)
            value, problem = read.iloc[0], problems.iloc[0]
        if problem:
            raise EntryRefused("field", f"{column.name}: {problem}.")
        value = None if not text or pd.isna(value) else plain(value)
        if column.kind == "distance" and value is not None and distance_unit == "mi":
            value *= KM_PER_MILE
        if column.kind == "integer" and value is not None:
            value = int(value)
        if value is None and column.required:
            raise EntryRefused("field", f"{column.name}: must be given.")
        values[column.target] = value
    return values


def change_facts(
    ledger: Path | str,
    table: Table,
    key: Any,
    values: Mapping[str, Any],
    *,
    by: str,
    reason: str,
    command: str | None = None,
) -> int:
    """Write `values` (ledger column -> value) into the row with this id; returns how many cells changed.

    Raises EntryRefused for a row that isn't there, low above high, or without initials or a reason.
    """
    _answerable(by, reason)
    with open_ledger(ledger, read_only=False) as connection:
        before = _row(connection, table, key)
        _in_order(before | dict(values))
        connection.execute("BEGIN")
        changed = 0
        for name, value in _allowed(table, values).items():
            if _same(before[name], value):
                continue
            # Names are the table's own columns, never what somebody typed.
            connection.execute(
                f"UPDATE {table.ledger} SET {name} = ? WHERE {table.id_column} = ?", [value, key]
            )
            log_change(
                connection, table.ledger, str(key), name, _text(before[name]), _text(value),
                by=by.strip(), reason=reason.strip(), command=command,
            )  # fmt: skip
            changed += 1
        connection.execute("COMMIT")
    return changed


def add_facts(
    ledger: Path | str,
    table: Table,
    values: Mapping[str, Any],
    *,
    by: str,
    reason: str,
    command: str | None = None,
) -> Any:
    """Add one row and return its id. Raises EntryRefused where it is there already, or as `change_facts`."""
    _answerable(by, reason)
    row = {name: value for name, value in _allowed(table, values).items() if value is not None}
    _in_order(row)
    with open_ledger(ledger, read_only=False) as connection:
        key = row.get(table.id_column)
        if key is not None and _find(connection, table, key):
            raise EntryRefused("there-already", f"'{key}' is in the ledger already; change it instead.")
        connection.execute("BEGIN")
        number = insert_row(connection, table.ledger, row)
        key = key if number is None else number
        said = ", ".join(f"{name} {_text(value)}" for name, value in row.items())
        log_change(connection, table.ledger, str(key), None, None, said, by=by.strip(), reason=reason.strip(),
                   command=command)  # fmt: skip
        connection.execute("COMMIT")
    return key


def _allowed(table: Table, values: Mapping[str, Any]) -> dict[str, Any]:
    own = {column.target for column in table.columns}
    if table is CONNECTION_NOTES:
        own |= {"picture", "picture_type"}
    for name in values:
        if name not in own:
            raise EntryRefused("no-column", f"{table.ledger} has no entry '{name}'.")
    return dict(values)


def _answerable(by: str, reason: str) -> None:
    for text, what in ((by, "your initials"), (reason, "a reason")):
        if not text or not text.strip():
            raise EntryRefused("missing", f"Give {what} first.")


def _in_order(row: Mapping[str, Any]) -> None:
    for low, high in _ORDERED:
        a, b = row.get(low), row.get(high)
        if a is not None and b is not None and a > b:
            raise EntryRefused(
                "low-above-high", f"{low} ({a}) lies above {high} ({b}); one of them is wrong."
            )


def _find(connection: duckdb.DuckDBPyConnection, table: Table, key: Any) -> dict[str, Any] | None:
    cursor = connection.execute(f"SELECT * FROM {table.ledger} WHERE {table.id_column} = ?", [key])
    names = [column[0] for column in cursor.description]
    rows = cursor.fetchall()
    return dict(zip(names, rows[0], strict=True)) if rows else None


def _row(connection: duckdb.DuckDBPyConnection, table: Table, key: Any) -> dict[str, Any]:
    row = _find(connection, table, key)
    if row is None:
        raise EntryRefused("no-row", f"There is no '{key}' in {table.ledger}.")
    return row


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, float) and isinstance(b, int | float):
        return bool(np.isclose(a, b, rtol=1e-9, atol=0))
    return bool(a == b)


def _text(value: Any) -> str | None:
    """Return a value as the log keeps it; a picture as its size."""
    if value is None:
        return None
    return f"{len(value):,} bytes" if isinstance(value, bytes | bytearray) else str(value)
