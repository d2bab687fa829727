"""Questions about the data, kept in the ledger until a person answers them."""

from __future__ import annotations

import duckdb

from ingest.durable import utc_now
from ingest.statements import statement


def raise_question(
    connection: duckdb.DuckDBPyConnection,
    table_name: str,
    row_key: str,
    code: str,
    text: str,
    *,
    unit: str | None = None,
    field: str | None = None,
) -> None:
    """Ask about one row, in the caller's transaction, unless the same question is open."""
    connection.execute(
        statement("upkeep/raise_question"),
        {
            "at": utc_now(),
            "table_name": table_name,
            "row_key": row_key,
            "unit": unit,
            "field": field,
            "code": code,
            "text": text,
        },
    )
