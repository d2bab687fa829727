"""Put right a visit that was entered wrongly: every cell changed has a line in the change log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

import duckdb

from ingest.errors import EntryRefused
from ingest.ledger.changes import log_change
from ingest.ledger.connection import open_ledger
from ingest.ledger.statements import statement
from ingest.ledger.visit_rows import plain
from ingest.visit.entry import VisitEntry

# What may be corrected in place; another unit or pump means withdrawing the visit and logging it again.
CORRECTABLE = {f.name for f in fields(VisitEntry)} - {
    "unit", "position", "serial", "pump_type", "done", "ref",
} | {"in_trend"}  # fmt: skip


def correct_visit(
    ledger: Path | str,
    visit_id: int,
    values: Mapping[str, Any],
    *,
    by: str,
    reason: str,
    command: str | None = None,
) -> int:
    """Write `values` (column -> value) into a visit; returns how many cells changed.

    Raises EntryRefused for a visit or column that isn't there, or without a reason.
    """
    for name in values:
        if name not in CORRECTABLE:
            raise EntryRefused("not-correctable", f"{name}: can't be corrected in a visit.")
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute("BEGIN")
        changed = _change(connection, visit_id, values, by=by, reason=reason, command=command)
        connection.execute("COMMIT")
    return changed


def withdraw_visit(
    ledger: Path | str, visit_id: int, *, by: str, reason: str, command: str | None = None
) -> None:
    """Take a visit out of all figures and close what is open about it, in one transaction.

    It stays in the ledger, and its capture may be logged anew. Raises EntryRefused for a visit that is not
    there or was withdrawn before, or without a reason.
    """
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute("BEGIN")
        if not _change(connection, visit_id, {"withdrawn": True}, by=by, reason=reason, command=command):
            raise EntryRefused("withdrawn-before", f"Visit {visit_id} was withdrawn before.")
        connection.execute(
            statement("visit/settle_withdrawn"),
            {"row_key": str(visit_id), "by": by, "answer": f"withdrawn: {reason.strip()}"},
        )
        connection.execute("COMMIT")


def _change(
    connection: duckdb.DuckDBPyConnection,
    visit_id: int,
    values: Mapping[str, Any],
    *,
    by: str,
    reason: str,
    command: str | None,
) -> int:
    if not reason.strip():
        raise EntryRefused("reason-missing", "Give the reason for the correction.")
    changed = 0
    before = _visit(connection, visit_id)
    for name, value in values.items():
        new = plain(value)
        if before[name] == new:
            continue
        # The name is one of CORRECTABLE or `withdrawn`, never what somebody typed.
        connection.execute(f"UPDATE visit SET {name} = ? WHERE visit_id = ?", [new, visit_id])
        log_change(
            connection, "visit", str(visit_id), name, _text(before[name]), _text(new),
            by=by, reason=reason.strip(), command=command,
        )  # fmt: skip
        changed += 1
    return changed


def _visit(connection: duckdb.DuckDBPyConnection, visit_id: int) -> dict[str, Any]:
    cursor = connection.execute("SELECT * FROM visit WHERE visit_id = ?", [visit_id])
    names = [column[0] for column in cursor.description]
    rows = cursor.fetchall()
    if not rows:
        raise EntryRefused("no-visit", f"There is no visit {visit_id}.")
    return dict(zip(names, rows[0], strict=True))


def _text(value: Any) -> str | None:
    if value is None:
        return None
    return value.isoformat() if isinstance(value, date) else str(value)
