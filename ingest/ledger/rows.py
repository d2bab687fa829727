"""New rows of any table, numbered and stamped."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import duckdb
import pandas as pd

from ingest.durable import utc_now
from ingest.ledger.numbers import ID_COLUMNS, new_id, new_ids
from ingest.ledger.statements import statement
from ingest.ledger.visit_rows import plain
from ingest.typed import LONGEST_NAME, LONGEST_TEXT, tidy

# What people write; the rest is the program's own.
_LONGEST = dict.fromkeys(
    (
        "unit",
        "position",
        "serial",
        "lot",
        "depot",
        "class",
        "pump_type",
        "clamp",
        "technician",
        "set_by",
        "decided_by",
    ),
    LONGEST_NAME,
) | dict.fromkeys(("note", "reason", "why", "answer", "cause", "access", "clamp_point", "fuse"), LONGEST_TEXT)


def as_dicts(found: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    """Return the rows of a query that was executed, one by one, column -> value."""
    names = [column[0] for column in found.description]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def insert_row(connection: duckdb.DuckDBPyConnection, table: str, values: Mapping[str, Any]) -> Any:
    """Add one row (column -> value) in the caller's transaction; returns its number, None where it has none.

    `recorded_at` is now, unless given. Columns left out get the ledger's defaults.
    """
    row = {name: as_typed(name, plain(value)) for name, value in values.items()}
    row.setdefault("recorded_at", utc_now())
    row_id = None
    if table in ID_COLUMNS:
        row_id = row[ID_COLUMNS[table]] = new_id(connection, table)
    text = statement("ledger/insert_row", table=table, columns=", ".join(row))
    connection.execute(text.replace("{marks}", ", ".join("?" for _ in row)), list(row.values()))
    return row_id


def as_typed(column: str, value: Any) -> Any:
    """Return a value for a cell; EntryRefused for a text that can't be one (see ingest.typed)."""
    if not isinstance(value, str):
        return value
    # Of what is no person's any length will do, but for that of a name, which has to have one line.
    return tidy(value, column, _LONGEST.get(column, LONGEST_NAME + len(value)))


def insert_rows(connection: duckdb.DuckDBPyConnection, table: str, rows: pd.DataFrame) -> pd.DataFrame:
    """Add the rows of a frame (columns of the table) in the caller's transaction; returns them numbered."""
    if table in ID_COLUMNS:
        rows = rows.assign(**{ID_COLUMNS[table]: list(new_ids(connection, table, len(rows)))})
    connection.register("new_rows", rows)
    connection.execute(statement("ledger/insert_rows", table=table))
    connection.unregister("new_rows")
    return rows
