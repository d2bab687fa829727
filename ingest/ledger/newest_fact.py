"""The day up to which a ledger knows its fleet."""

from __future__ import annotations

from datetime import date

import duckdb

from ingest.ledger.statements import statement


def newest_fact(connection: duckdb.DuckDBPyConnection) -> date | None:
    """Return the day of the newest dated fact that isn't ahead (of a fleet whose every fact is: the last);
    None while there is none."""
    [(day,)] = connection.execute(statement("ledger/newest_fact")).fetchall()
    found: date | None = day
    return found
