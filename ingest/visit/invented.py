"""Pumps and units that were added only because a visit named them: they go with the last visit that did."""

from __future__ import annotations

import duckdb

from ingest.ledger.changes import log_change
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp


def drop_invented(connection: duckdb.DuckDBPyConnection, pump_id: int, stamp: Stamp, reason: str) -> bool:
    """Remove a pump that was added for visits which are gone, and its unit if that came the same way.

    In the caller's transaction; returns whether anything went. Their lines in the change log stay.
    """
    found = connection.execute(statement("visit/invented_pump"), {"pump_id": pump_id}).fetchall()
    if not found:
        return False
    [(unit, said)] = found
    connection.execute(statement("visit/delete_pump"), [pump_id])
    log_change(connection, "pump", str(pump_id), None, said, None, stamp, reason=reason)
    _close(connection, "pump", str(pump_id), stamp, reason)
    if connection.execute(statement("visit/invented_unit"), {"unit": unit}).fetchall():
        remove_unit(connection, unit, stamp, reason)
    return True


def remove_unit(
    connection: duckdb.DuckDBPyConnection, unit: str, stamp: Stamp, reason: str, into: str | None = None
) -> None:
    """Remove a unit's row; into: the unit it turned out to be. In the caller's transaction."""
    if not connection.execute(statement("visit/unit_known"), [unit]).fetchall():
        return
    for service_id, said in connection.execute(statement("visit/services_gone"), [unit]).fetchall():
        connection.execute(statement("visit/delete_service"), [service_id])
        log_change(connection, "service", str(service_id), None, said, None, stamp, reason=reason)
    connection.execute(statement("visit/delete_vehicle"), [unit])
    log_change(connection, "vehicle", unit, None, f"unit {unit}", into, stamp, reason=reason)
    _close(connection, "vehicle", unit, stamp, reason)


def _close(connection: duckdb.DuckDBPyConnection, table: str, key: str, stamp: Stamp, reason: str) -> None:
    said = {"table_name": table, "row_key": key, "by": stamp.by, "at": stamp.at, "answer": reason}
    connection.execute(statement("visit/settle_gone"), said)
