"""What differs between a ledger in a file and one on a server for those who have it open."""

from __future__ import annotations

from typing import Any

import duckdb

from ingest.ledger.statements import statement


def is_on_server(connection: duckdb.DuckDBPyConnection) -> bool:
    """Tell whether an open ledger lies on a server."""
    return bool(connection.execute(statement("server/is_attached")).fetchall())


def of_catalogue(connection: duckdb.DuckDBPyConnection, what: str, *values: str) -> list[tuple[Any, ...]]:
    """Return the rows of ledger/<what>.sql, or of server/<what>.sql where the ledger lies on a server.

    values: parameters; on a server they go into the places {0}, {1}, … and are names of ours.
    """
    if not is_on_server(connection):
        return connection.execute(statement(f"ledger/{what}"), list(values)).fetchall()
    [(name, schema)] = connection.execute("SELECT current_database(), current_schema()").fetchall()
    text = statement(f"server/{what}").format(*values, name=name, schema=schema)
    return connection.execute(text).fetchall()
