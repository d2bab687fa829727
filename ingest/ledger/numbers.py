"""Numbers of rows, given out by the ledger itself: one table of last numbers serves every engine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import duckdb

from ingest.ledger.statements import statement

# The numbered tables and their number's column.
ID_COLUMNS = {
    "pump": "pump_id",
    "visit": "visit_id",
    "reading": "reading_id",
    "service": "service_id",
    "breakdown": "breakdown_id",
    "connection_note": "note_id",
    "fit": "fit_id",
    "plan_list": "list_id",
    "booking": "booking_id",
    "cost_entry": "cost_id",
    "question": "question_id",
    "setting": "setting_id",
    "change_log": "change_id",
    "tray": "tray_id",
    "clamp_check": "check_id",
    "claim_step": "step_id",
    "hold": "hold_id",
    "hold_closed": "closed_id",
    "photo": "photo_id",
}


_given_by: dict[int, Callable[[str, int], int]] = {}  # by connection


@contextmanager
def numbers_given_by(
    connection: duckdb.DuckDBPyConnection, give: Callable[[str, int], int]
) -> Iterator[None]:
    """Take this connection's numbers from give(table, count), which returns the last of them.

    For a ledger with several writers at once: in their transactions each would wait for the others' numbers.
    """
    _given_by[id(connection)] = give
    try:
        yield
    finally:
        del _given_by[id(connection)]


def new_ids(connection: duckdb.DuckDBPyConnection, table: str, count: int = 1) -> range:
    """Take `count` new numbers for rows of `table`, in the caller's transaction; none is given twice."""
    if give := _given_by.get(id(connection)):
        last = give(table, count)
        return range(last - count + 1, last + 1)
    connection.execute(statement("ledger/take_numbers"), {"count": count, "table_name": table})
    [(last,)] = connection.execute(statement("ledger/last_number"), [table]).fetchall()
    return range(last - count + 1, last + 1)


def new_id(connection: duckdb.DuckDBPyConnection, table: str) -> int:
    """Take one new number for a row of `table`, as `new_ids`."""
    return new_ids(connection, table)[0]
