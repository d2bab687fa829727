"""Facts a person keeps by hand: pump types, units, notes on where to clamp, what was found in a pump.

What is typed is read by the same columns as a fleet folder, so both take and refuse the same. Every cell
changed has a line in the change log.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from ingest.author import Author
from ingest.dates import SAY_ORDER, read_dates
from ingest.errors import EntryRefused
from ingest.fleet_folder.cells import read_column
from ingest.fleet_folder.contradictions import ORDERED
from ingest.fleet_folder.tables import PUMP_TYPES, Column, Table
from ingest.ledger.changes import add_row, change_cells, row_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.ledger.visit_rows import plain
from ingest.pictures import without_metadata

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
            raise EntryRefused("field", f"{column.name}: {_by_itself(problem)}.")
        value = None if not text or pd.isna(value) else plain(value)
        if column.kind == "integer" and value is not None:
            value = int(value)
        if value is None and column.required:
            raise EntryRefused("field", f"{column.name}: must be given.")
        values[column.target] = value
    return values


def _by_itself(problem: str) -> str:
    """Return what is wrong with one date as if it stood in no file: no other tells its order."""
    said, by_file, _ = problem.partition(SAY_ORDER)
    if not by_file:
        return problem
    return (
        said.replace(", and no date written so in it tells which;", ";")
        + " write it year first, such as 2026-03-31"
    )


def change_facts(
    ledger: Path | str,
    table: Table,
    key: Any,
    values: Mapping[str, Any],
    *,
    author: Author,
    reason: str,
    command: str | None = None,
) -> int:
    """Write `values` (ledger column -> value) into the row with this id; returns how many cells changed.

    Raises EntryRefused for a row that isn't there, low above high, or without a name or a reason.
    """
    _answerable(author, reason)
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, _what(table), command=command) as stamp,
    ):
        _in_order((row_of(connection, table.ledger, key) or {}) | dict(values))
        changed = change_cells(
            connection, table.ledger, key, _allowed(table, values), stamp, reason=reason.strip()
        )
        if table is PUMP_TYPES:
            said = {"pump_type": key, "by": author.name, "at": stamp.at}
            connection.execute(statement("load/type_specified"), said)
        return changed


def add_facts(
    ledger: Path | str,
    table: Table,
    values: Mapping[str, Any],
    *,
    author: Author,
    reason: str,
    command: str | None = None,
) -> Any:
    """Add one row and return its id. Raises EntryRefused where it is there already, or as `change_facts`."""
    _answerable(author, reason)
    row = {name: value for name, value in _allowed(table, values).items() if value is not None}
    _in_order(row)
    with open_ledger(ledger, read_only=False) as connection:
        key = row.get(table.id_column)
        if key is not None and row_of(connection, table.ledger, key):
            raise EntryRefused("there-already", f"'{key}' is in the ledger already; change it instead.")
        with transaction(connection, author, _what(table), command=command) as stamp:
            return add_row(connection, table.ledger, row, stamp, reason=reason.strip())


def _what(table: Table) -> str:
    """Return what changing a table is called among the things a role may do."""
    return {"connection_note": "notes", "pump": "work"}.get(table.ledger, "facts")


def _allowed(table: Table, values: Mapping[str, Any]) -> dict[str, Any]:
    own = {column.target for column in table.columns}
    if table is CONNECTION_NOTES:
        own |= {"picture", "picture_type"}
    for name in values:
        if name not in own:
            raise EntryRefused("no-column", f"{table.ledger} has no entry '{name}'.")
    picture = values.get("picture")
    return dict(values) | ({"picture": without_metadata(bytes(picture))} if picture else {})


def _answerable(author: Author, reason: str) -> None:
    for text, what in ((author.name, "your initials"), (reason, "a reason")):
        if not text.strip():
            raise EntryRefused("missing", f"Give {what} first.")


def _in_order(row: Mapping[str, Any]) -> None:
    for low, high in ORDERED:
        a, b = row.get(low), row.get(high)
        if a is not None and b is not None and a > b:
            raise EntryRefused(
                "low-above-high", f"{low} ({a}) lies above {high} ({b}); one of them is wrong."
            )
