"""Editable defaults: every number that alters a figure and is not a fact about a vehicle.

A dated row of the ledger's `setting` table overrides a default (latest `valid_from` up to the day, then
latest `recorded_at`).
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import duckdb

from ingest.durable import utc_now
from ingest.errors import EntryRefused
from ingest.ledger.changes import log_change
from ingest.trade_numbers import DEFAULTS


def settings_at(connection: duckdb.DuckDBPyConnection, on: date | None = None) -> dict[str, Any]:
    """Return all settings in force on `on` (default: latest), defaults filled in."""
    return DEFAULTS | settings_chosen(connection, on)


def settings_chosen(connection: duckdb.DuckDBPyConnection, on: date | None = None) -> dict[str, Any]:
    """Return only what this fleet has set itself, as in force on `on`."""
    rows = connection.execute(
        "SELECT key, value FROM setting WHERE valid_from <= coalesce(?, DATE '9999-12-31')"
        " ORDER BY valid_from, recorded_at",
        [on],
    ).fetchall()
    return {key: json.loads(value) for key, value in rows}


def set_setting(
    ledger: Path | str,
    key: str,
    value: Any,
    *,
    by: str,
    reason: str,
    valid_from: date = date(1900, 1, 1),
    command: str | None = None,
) -> None:
    """Set one setting from a day on, with a line in the change log; earlier days keep what held.

    Raises EntryRefused for a key that does not exist or a value of another kind than its default.
    """
    from ingest.ledger.connection import open_ledger

    if key not in DEFAULTS:
        raise EntryRefused("unknown-setting", f"There is no setting '{key}'.")
    number = isinstance(value, int | float) and not isinstance(value, bool)
    asks = isinstance(DEFAULTS[key], int | float) and not isinstance(DEFAULTS[key], bool)
    if not isinstance(value, type(DEFAULTS[key])) and not (number and asks):
        kind = "a number" if asks else type(DEFAULTS[key]).__name__
        raise EntryRefused("bad-setting", f"{key}: '{value}' is not {kind}.")
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute("BEGIN")
        before = settings_chosen(connection, valid_from).get(key)
        connection.execute(
            "INSERT INTO setting (key, value, valid_from, set_by, recorded_at) VALUES (?, ?, ?, ?, ?)",
            [key, json.dumps(value), valid_from, by, utc_now()],
        )
        log_change(
            connection,
            "setting",
            key,
            "value",
            None if before is None else json.dumps(before),
            json.dumps(value),
            by=by,
            reason=reason,
            command=command,
        )
        connection.execute("COMMIT")
