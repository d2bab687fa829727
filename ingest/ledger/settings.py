"""Editable defaults: every number that alters a figure and is not a fact about a vehicle.

A dated row of the ledger's `setting` table overrides a default (latest `valid_from` up to the day, then
latest `recorded_at`).
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any, cast

import duckdb

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.changes import log_change
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.setting_values import demand_value
from ingest.settings_in_force import Settings
from ingest.trade_numbers import DEFAULTS
from ingest.typed import demand_day


def settings_at(connection: duckdb.DuckDBPyConnection, on: date | None = None) -> Settings:
    """Return all settings in force on `on` (default: latest), defaults filled in.

    What is registered of a clamp's accuracy goes before the setting `clamps`.
    """
    settings = cast(Settings, DEFAULTS | settings_chosen(connection, on))
    registered = connection.execute(statement("ledger/clamp_accuracy")).fetchall()
    if not registered:
        return settings
    known = dict(settings["clamps"])
    for name, pct, offset_a in registered:
        told = {key: value for key, value in (("pct", pct), ("a", offset_a)) if value is not None}
        known[name] = known.get(name, {}) | told
    return {**settings, "clamps": known}


def settings_chosen(connection: duckdb.DuckDBPyConnection, on: date | None = None) -> dict[str, Any]:
    """Return only what this fleet has set itself, as in force on `on`."""
    rows = connection.execute(
        statement("ledger/settings"),
        [on],
    ).fetchall()
    return {key: json.loads(value) for key, value in rows}


def set_setting(
    ledger: Path | str,
    key: str,
    value: Any,
    *,
    author: Author,
    reason: str,
    valid_from: date = date(1900, 1, 1),
    command: str | None = None,
) -> None:
    """Set one setting from a day on, with a line in the change log; earlier days keep what held.

    Raises EntryRefused for a key that does not exist or a value of another kind than its default.
    """
    if key not in DEFAULTS:
        raise EntryRefused("unknown-setting", f"There is no setting '{key}'.")
    demand_value(key, value)
    demand_day(valid_from, key)
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "settings", command=command) as stamp,
    ):
        before = settings_chosen(connection, valid_from).get(key)
        row = {"key": key, "value": json.dumps(value), "valid_from": valid_from, "set_by": stamp.by}
        insert_row(connection, "setting", row | {"recorded_at": stamp.at})
        old = None if before is None else json.dumps(before)
        log_change(connection, "setting", key, "value", old, json.dumps(value), stamp, reason=reason)
