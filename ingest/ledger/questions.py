"""Questions about the data, kept in the ledger until a person answers them."""

from __future__ import annotations

from collections.abc import Sequence

import duckdb

from ingest.durable import utc_now
from ingest.errors import Question
from ingest.ledger.numbers import new_id
from ingest.ledger.statements import statement
from ingest.wording.stored import stored_question

# While one of these is open, the visit's mileage or reading can't be trusted and it stays out of the trend.
KEEPS_OUT_OF_TREND = (
    "odometer-below-last",
    "odometer-too-far",
    "odometer-kilometres",
    "odometer-miles",
    "odometer-digit",
    "odometer-restarted",
    "future-date",
    "outside-pump-life",
    "between-pumps",
    "capture-elsewhere",
    "capture-refused",
    "probe-factor",
    "pressure-unit",
    "delivery-unit",
    "temperature-unit",
    "speed-unit",
    "drop-across",
    "other-unit",
)


def return_to_trend(connection: duckdb.DuckDBPyConnection, visit_ids: Sequence[int]) -> None:
    """Let visits count in their pumps' trends again where nothing open keeps them out any more, nor a clamp
    that was off that day, in the caller's transaction."""
    if visit_ids:
        told = {"visits": list(visit_ids), "codes": list(KEEPS_OUT_OF_TREND)}
        connection.execute(statement("visit/to_trend"), told)


def raise_question(
    connection: duckdb.DuckDBPyConnection,
    table_name: str,
    row_key: str,
    question: Question,
    *,
    unit: str | None = None,
) -> None:
    """Ask about one row, in the caller's transaction, unless the same question is open."""
    connection.execute(
        statement("upkeep/raise_question"),
        {
            "question_id": new_id(connection, "question"),
            "at": utc_now(),
            "table_name": table_name,
            "row_key": row_key,
            "unit": unit,
            "field": question.field or None,
            "code": question.code,
        }
        | stored_question(question),
    )
