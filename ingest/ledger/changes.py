"""Cells changed and rows added, each with its line in the change log: who, when, why, before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from ingest.errors import EntryRefused
from ingest.ledger.numbers import ID_COLUMNS, new_id
from ingest.ledger.rows import as_dicts, as_typed, insert_row, insert_rows
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.ledger.visit_rows import plain
from ingest.typed import tidy

# What a row is told from others by.
KEYS = ID_COLUMNS | {"vehicle": "unit", "pump_type": "pump_type", "capture": "capture_hash", "clamp": "clamp"}
# One changed cell: row key, column, value before and after, as the log keeps them.
Cell = tuple[str, str, str | None, str | None]


def change_cells(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    key: Any,
    values: Mapping[str, Any],
    stamp: Stamp,
    *,
    reason: str | None,
) -> int:
    """Write `values` (column -> value) into one row and log each cell that differs; returns how many did.

    In the caller's transaction. Raises EntryRefused for a row that isn't there. Columns are ours, never what
    somebody typed.
    """
    before = row_of(connection, table, key)
    if before is None:
        raise EntryRefused("no-row", f"There is no '{key}' in {table}.")
    changed = 0
    for name, value in values.items():
        new = as_typed(name, plain(value))
        if _same(before[name], new):
            continue
        connection.execute(
            statement("ledger/set_cell", table=table, column=name, id_column=KEYS[table]), [new, key]
        )
        log_change(connection, table, str(key), name, before[name], new, stamp, reason=reason)
        changed += 1
    return changed


def change_rows(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    before: pd.DataFrame,
    after: pd.DataFrame,
    cells: Sequence[Cell],
    stamp: Stamp,
) -> None:
    """Write many rows over what they were, and log their changed cells, in the caller's transaction.

    before, after: whole rows of `table`, one for one.
    """
    log_cells(connection, table, cells, stamp)
    connection.register("new_rows", after)
    if table in KEYS:
        connection.execute(statement("ledger/replace_rows", table=table))
    else:  # a row without a key is known by all its cells
        same = [statement("ledger/same_cell", table=table, column=name) for name in before.columns]
        delete = statement("ledger/delete_old_rows", table=table)
        connection.register("old_rows", before)
        connection.execute(delete.replace("{same_cells}", " AND ".join(same)))
        connection.unregister("old_rows")
        connection.execute(statement("ledger/insert_rows", table=table))
    connection.unregister("new_rows")


def add_row(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    values: Mapping[str, Any],
    stamp: Stamp,
    *,
    reason: str | None = None,
) -> Any:
    """Add one row and log what it says, in the caller's transaction; returns its key."""
    number = insert_row(connection, table, {"recorded_at": stamp.at} | dict(values))
    key = values[KEYS[table]] if number is None else number
    said = ", ".join(f"{name} {as_text(value)}" for name, value in values.items() if value is not None)
    log_change(connection, table, str(key), None, None, said, stamp, reason=reason)
    return key


def row_of(connection: duckdb.DuckDBPyConnection, table: str, key: Any) -> dict[str, Any] | None:
    """Return one row by its key (column -> value), None where there is none."""
    rows = as_dicts(connection.execute(statement("ledger/row", table=table, id_column=KEYS[table]), [key]))
    return rows[0] if rows else None


def log_change(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    row_key: str,
    field: str | None,
    old_value: Any,
    new_value: Any,
    stamp: Stamp,
    *,
    reason: str | None = None,
) -> None:
    """Add one line, in the caller's transaction. A row added or removed has field None."""
    connection.execute(
        statement("upkeep/log_change"),
        {
            "change_id": new_id(connection, "change_log"),
            "changed_at": stamp.at,
            "changed_by": stamp.by,
            "command": stamp.command,
            "table_name": table,
            "row_key": row_key,
            "field": field,
            "old_value": as_text(old_value),
            "new_value": as_text(new_value),
            "reason": reason and tidy(reason, "reason"),
        },
    )


def log_cells(
    connection: duckdb.DuckDBPyConnection,
    table: str,
    cells: Sequence[Cell],
    stamp: Stamp,
    *,
    reason: str | None = None,
) -> None:
    """Add a line for each changed cell, in the caller's transaction."""
    lines = pd.DataFrame(list(cells), columns=["row_key", "field", "old_value", "new_value"], dtype="object")
    insert_rows(
        connection,
        "change_log",
        lines.assign(
            changed_at=stamp.at, changed_by=stamp.by, command=stamp.command, table_name=table, reason=reason
        ),
    )


def as_text(value: Any) -> str | None:
    """Write a value as the change log keeps it: ISO dates, plain numbers, a picture's size, None: unknown."""
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return None
    if isinstance(value, pd.Timestamp | datetime):
        midnight = value == pd.Timestamp(value).normalize()
        return value.strftime("%Y-%m-%d") if midnight else value.isoformat(" ")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes | bytearray):
        return f"{len(value):,} bytes"
    if isinstance(value, float | np.floating):
        return f"{float(value):.12g}"
    return str(value)


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, float) and isinstance(b, int | float):
        return bool(np.isclose(a, b, rtol=1e-9, atol=0))
    return bool(a == b)
