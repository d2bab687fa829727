"""The change log: who changed what, when and why, with the value before and after."""

from __future__ import annotations

import duckdb

from ingest.durable import utc_now
from ingest.ledger.numbers import new_id
from ingest.ledger.statements import statement


def log_change(
    connection: duckdb.DuckDBPyConnection,
    table_name: str,
    row_key: str,
    field: str | None,
    old_value: str | None,
    new_value: str | None,
    *,
    by: str | None,
    reason: str | None,
    command: str | None,
) -> None:
    """Add one line, in the caller's transaction. A row added or removed has field None."""
    connection.execute(
        statement("upkeep/log_change"),
        {
            "change_id": new_id(connection, "change_log"),
            "changed_at": utc_now(),
            "changed_by": by,
            "command": command,
            "table_name": table_name,
            "row_key": row_key,
            "field": field,
            "old_value": old_value,
            "new_value": new_value,
            "reason": reason,
        },
    )
