"""What the ledger holds, table by table."""

from __future__ import annotations

import duckdb

from ingest.ledger.statements import statement
from ingest.ledger.which_engine import of_catalogue


def table_names(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Return the names of the ledger's tables, sorted."""
    return [name for (name,) in of_catalogue(connection, "tables")]


def fingerprint(connection: duckdb.DuckDBPyConnection, table: str) -> tuple[int, int]:
    """Return the number of rows of `table` and a sum of hashes over all their cells, in any order.

    Reads every block of the table, so a damaged one raises the engine's error.
    """
    [(rows, total)] = connection.execute(statement("ledger/fingerprint", table=table)).fetchall()
    return rows, total
