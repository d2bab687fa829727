"""Put right a visit that was entered wrongly: every cell changed has a line in the change log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

import duckdb

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.changes import change_cells, row_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp, transaction
from ingest.visit.entry import VisitEntry
from ingest.visit.instrument_cluster import odometer_as_typed
from ingest.visit.invented import drop_invented

# What may be corrected in place; another unit or pump means withdrawing the visit and logging it again.
CORRECTABLE = {f.name for f in fields(VisitEntry)} - {
    "unit", "position", "serial", "same_pump", "pump_type", "done", "ref",
} | {"in_trend"}  # fmt: skip


def correct_visit(
    ledger: Path | str,
    visit_id: int,
    values: Mapping[str, Any],
    *,
    author: Author,
    reason: str,
    command: str | None = None,
) -> int:
    """Write `values` (column -> value) into a visit; returns how many cells changed.

    Raises EntryRefused for a visit or column that isn't there, or without a reason.
    """
    for name in values:
        if name not in CORRECTABLE:
            raise EntryRefused("not-correctable", f"{name}: can't be corrected in a visit.")
    _demand_reason(reason)
    with open_ledger(ledger, read_only=False) as connection:
        _demand_visit(connection, visit_id)
        with transaction(connection, author, "correct", command=command) as stamp:
            return change_cells(connection, "visit", visit_id, values, stamp, reason=reason.strip())


def correct_odometer(
    ledger: Path | str, visit_id: int, text: str, *, author: Author, reason: str, command: str | None = None
) -> None:
    """Write the right odometer into a visit, as its instrument shows it ("88412 mi"); the one before stays in
    the change log.

    What was driven before a replaced instrument cluster is added; a bare number is in the fleet's unit.
    Raises EntryRefused for a visit that isn't there, what is no distance or stands there already, or without
    a reason.
    """
    _demand_reason(reason)
    with open_ledger(ledger, read_only=False) as connection:
        visit = row_of(connection, "visit", visit_id)
        if visit is None:
            raise EntryRefused("no-visit", f"There is no visit {visit_id}.")
        values = odometer_as_typed(connection, visit["unit"], visit["visited_on"], text)
        with transaction(connection, author, "correct", command=command) as stamp:
            if not change_cells(connection, "visit", visit_id, values, stamp, reason=reason.strip()):
                raise EntryRefused(
                    "unchanged", "This odometer stands there already; is it right as it stands?"
                )


def withdraw_visit(
    ledger: Path | str, visit_id: int, *, author: Author, reason: str, command: str | None = None
) -> None:
    """Take a visit out of all figures and close what is open about it, in one transaction.

    It stays in the ledger, and its capture may be logged anew; a pump and unit that were added for it alone
    go along. Raises EntryRefused for a visit that is not
    there or was withdrawn before, or without a reason.
    """
    _demand_reason(reason)
    with open_ledger(ledger, read_only=False) as connection:
        _demand_visit(connection, visit_id)
        with transaction(connection, author, "correct", command=command) as stamp:
            take_out(connection, visit_id, reason.strip(), stamp)


def take_out(connection: duckdb.DuckDBPyConnection, visit_id: int, reason: str, stamp: Stamp) -> None:
    """Withdraw a visit in the caller's transaction; a pump and unit that were added for it alone go along.

    Raises EntryRefused where it was withdrawn before.
    """
    visit = row_of(connection, "visit", visit_id)
    if visit is None or not change_cells(
        connection, "visit", visit_id, {"withdrawn": True}, stamp, reason=reason
    ):
        raise EntryRefused("withdrawn-before", f"Visit {visit_id} was withdrawn before.")
    connection.execute(
        statement("visit/settle_withdrawn"),
        {"row_key": str(visit_id), "by": stamp.by, "answer": f"withdrawn: {reason}"},
    )
    drop_invented(connection, visit["pump_id"], stamp, reason)


def _demand_reason(reason: str) -> None:
    if not reason.strip():
        raise EntryRefused("reason-missing", "Give the reason for the correction.")


def _demand_visit(connection: duckdb.DuckDBPyConnection, visit_id: int) -> None:
    if row_of(connection, "visit", visit_id) is None:
        raise EntryRefused("no-visit", f"There is no visit {visit_id}.")
