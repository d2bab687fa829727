"""Which other unit a reading would fit: its odometer and its current both near what that unit shows."""

from __future__ import annotations

import duckdb

from ingest.ledger.statements import statement
from ingest.trade_numbers import DEFAULTS


def fitting_units(connection: duckdb.DuckDBPyConnection, visit_id: int) -> list[str]:
    """Return the units, other than its own, whose history a stored visit fits in odometer and current."""
    rows = connection.execute(
        statement("visit/what_was_read"),
        [visit_id],
    ).fetchall()
    return units_like(connection, *rows[0]) if rows else []


def units_like(
    connection: duckdb.DuckDBPyConnection,
    unit: str,
    position: str,
    visited_on: object,
    odometer_km: float | None,
    mean_a: float | None,
    rpm: float | None,
) -> list[str]:
    """Return the other units whose odometer stood there on that day and whose pump draws such a current.

    The odometer must lie between the unit's neighbouring readings (allowing a week's driving), the average
    within 5 % and the speed, where both are known, within 4 % of the nearest visit's. Best first.
    """
    # No current is alike on every wire: it tells no pump from another.
    if odometer_km is None or mean_a is None or mean_a < DEFAULTS["dead_a"]:
        return []
    facts = {
        "unit": unit,
        "position": position,
        "visited_on": visited_on,
        "odometer_km": odometer_km,
        "mean_a": mean_a,
        "rpm": rpm,
    }
    return [name for (name,) in connection.execute(statement("load/units_like"), facts).fetchall()]
