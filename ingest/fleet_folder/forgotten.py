"""Leaves out of a fleet folder what the ledger no longer keeps: names, and initials older than their time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd

from ingest.fleet_folder.cells import ReadTable
from ingest.ledger.connection import open_ledger
from ingest.ledger.forgetting import OVERDUE, PEOPLE, TEXTS, Hidden, before_which, hidden_names
from ingest.ledger.settings import settings_at


def without_forgotten(ledger: Path, tables: Mapping[str, ReadTable], today: date) -> dict[str, ReadTable]:
    """Return the tables of a folder without what this ledger no longer keeps."""
    if not ledger.exists():
        return dict(tables)
    with open_ledger(ledger) as connection:
        hidden = hidden_names(connection)
        before = before_which(settings_at(connection), "keep_initials_days", today)
    if not hidden.hashes and before is None:
        return dict(tables)
    return {file: replace(read, rows=_rows(read, hidden, before)) for file, read in tables.items()}


def _rows(read: ReadTable, hidden: Hidden, before: date | None) -> pd.DataFrame:
    rows, name = read.rows, read.table.ledger
    for column in PEOPLE.get(name, ()):
        if column in rows:
            rows = rows.assign(**{column: rows[column].map(hidden.person, na_action="ignore")})
    for column in TEXTS.get(name, ()):
        if column in rows:
            rows = rows.assign(**{column: rows[column].map(hidden.text, na_action="ignore")})
    for table, column, day in OVERDUE["keep_initials_days"]:
        if before and table == name and column in rows and day in rows:
            old = rows[day] < pd.Timestamp(before)
            rows = rows.assign(**{column: rows[column].where(~old, None)})
    return rows
