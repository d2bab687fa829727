"""A replaced instrument cluster: what a unit had driven before it is added to every later reading."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from ingest.checking.odometer import cluster_offsets, to_used
from ingest.durable import utc_now
from ingest.errors import EntryRefused
from ingest.ledger.changes import log_change
from ingest.ledger.connection import open_ledger
from ingest.ledger.statements import statement
from ingest.units import format_quantity

COMMAND = "replace-cluster"
ROUNDING_KM = 1.0
# Where odometers stand: table, its id, day and odometer.
_ENTRIES = (
    ("visit", "visit_id", "visited_on", "odometer_km"),
    ("service", "service_id", "done_on", "odometer_km"),
    ("breakdown", "breakdown_id", "happened_on", "odometer_km"),
    ("pump", "pump_id", "fitted_on", "fitted_odometer_km"),
    ("pump", "pump_id", "removed_on", "removed_odometer_km"),
)


def driven_km(ledger: Path | str, unit: str, on: date | None, shown_km: float) -> float:
    """Return what a unit has driven since new when its instrument shows `shown_km` on a day.

    An unknown day is taken as one before any replacement.
    """
    with open_ledger(ledger) as connection:
        return count_on(connection, unit, on, shown_km)


def count_on(connection: duckdb.DuckDBPyConnection, unit: str, on: date | None, shown_km: float) -> float:
    """As `driven_km`, in an open ledger."""
    clusters = connection.execute(
        "SELECT unit, read_on, odometer_km FROM odometer WHERE unit = ? AND source = 'cluster-replaced'",
        [unit],
    ).df()
    if clusters.empty or on is None:
        return shown_km
    shown = connection.execute(
        f"SELECT * FROM ({statement('load/entered_odometers')}) WHERE unit = ?", [unit]
    ).df()
    totals = connection.execute(statement("load/cluster_totals")).df()
    offsets = cluster_offsets(clusters, shown, totals)
    used = to_used(pd.Series([unit]), pd.to_datetime(pd.Series([str(on)])), pd.Series([shown_km]), offsets)
    return float(used.iloc[0])


def replace_cluster(
    ledger: Path | str,
    unit: str,
    *,
    on: date,
    old_km: float,
    new_km: float = 0.0,
    distance_unit: str = "km",
    by: str | None = None,
) -> int:
    """Record a replaced instrument cluster: later entries count on from the old one's last reading.

    old_km: the old cluster's last reading, new_km: the new one's first, both as they showed it. Returns how
    many entries after it were given their total distance. Raises EntryRefused for an unknown unit, a second
    cluster on one day, or readings that can't be true; distance_unit: of the distances in its sentence.
    """
    with open_ledger(ledger, read_only=False) as connection:
        if not connection.execute("SELECT 1 FROM vehicle WHERE unit = ?", [unit]).fetchall():
            raise EntryRefused("unknown-unit", f"Unit {unit} is not in the ledger; check its number.")
        old_km = count_on(connection, unit, on, old_km)
        _refuse_what_cannot_be(connection, unit, on, old_km, new_km, distance_unit)
        later = _entries_after(connection, unit, on, old_km, new_km)
        connection.execute("BEGIN")
        for source, km in (("reading", old_km), ("cluster-replaced", new_km)):
            connection.execute(
                "INSERT INTO odometer (unit, read_on, odometer_km, source, recorded_at)"
                " VALUES (?, ?, ?, ?, ?)",
                [unit, on, km, source, utc_now()],
            )
        log_change(
            connection, "odometer", f"{unit} {on} cluster-replaced", "odometer_km", None, f"{new_km:.12g}",
            by=by, reason=f"the old cluster read {old_km:,.0f} km", command=COMMAND,
        )  # fmt: skip
        for table, id_column, km_column, row_id, km in later:
            used = km + old_km - new_km
            # Names are those of _ENTRIES, never what somebody typed.
            connection.execute(f"UPDATE {table} SET {km_column} = ? WHERE {id_column} = ?", [used, row_id])
            log_change(
                connection, table, str(row_id), km_column, f"{km:.12g}", f"{used:.12g}",
                by=by, reason="cluster replaced", command=COMMAND,
            )  # fmt: skip
            if table == "visit":
                _settle(connection, row_id, by)
        connection.execute("COMMIT")
    return len(later)


def _refuse_what_cannot_be(
    connection: duckdb.DuckDBPyConnection, unit: str, on: date, old_km: float, new_km: float, shown_in: str
) -> None:
    said = {name: format_quantity(km, shown_in) for name, km in (("old", old_km), ("new", new_km))}
    if abs(old_km - new_km) <= ROUNDING_KM:
        raise EntryRefused(
            "same-reading",
            f"Both instruments show {said['new']}: the count goes on by itself, there is nothing to record.",
        )
    if new_km > old_km:
        raise EntryRefused(
            "cluster-above",
            f"The new instrument begins at {said['new']}, above the old one's last {said['old']}; are they "
            "swapped?",
        )
    if connection.execute(
        "SELECT 1 FROM odometer WHERE unit = ? AND read_on = ? AND source = 'cluster-replaced'", [unit, on]
    ).fetchall():
        raise EntryRefused("cluster-known", f"A new instrument of unit {unit} is on record for {on} already.")
    before = connection.execute(
        "SELECT visited_on, odometer_km FROM visit WHERE unit = ? AND visited_on <= ? AND in_trend"
        " AND NOT withdrawn AND odometer_km IS NOT NULL ORDER BY visited_on DESC, visit_id DESC LIMIT 1",
        [unit, on],
    ).fetchall()
    if before and before[0][0] < on and old_km < before[0][1] - ROUNDING_KM:
        raise EntryRefused(
            "below-last",
            f"Unit {unit} had {format_quantity(before[0][1], shown_in)} on {before[0][0]} already, so its "
            f"old instrument can't have stopped at {said['old']}.",
        )


def _entries_after(
    connection: duckdb.DuckDBPyConnection, unit: str, on: date, old_km: float, new_km: float
) -> list[tuple[str, str, str, Any, float]]:
    """Entries with the new instrument's reading: table, id column, odometer column, id, km."""
    found = []
    for table, id_column, day_column, km_column in _ENTRIES:
        rows = connection.execute(
            f"SELECT {id_column}, {day_column}, {km_column} FROM {table}"
            f" WHERE unit = ? AND {day_column} >= ? AND {km_column} < ? ORDER BY 1",
            [unit, on, old_km],
        ).fetchall()
        found += [
            (table, id_column, km_column, row_id, km)
            for row_id, day, km in rows
            # That very day, a reading is of the instrument it is nearer to.
            if day > on or np.abs(km - new_km) < np.abs(km - old_km)
        ]
    return found


def _settle(connection: duckdb.DuckDBPyConnection, visit_id: int, by: str | None) -> None:
    """Close what was asked about the visit's odometer; without other questions it counts in its trend."""
    connection.execute(
        "UPDATE question SET status = 'corrected', answer = 'cluster replaced', answered_by = ?,"
        " answered_at = ? WHERE table_name = 'visit' AND row_key = ? AND status = 'open'"
        " AND code LIKE 'odometer-%'",
        [by, utc_now(), str(visit_id)],
    )
    connection.execute(statement("visit/to_trend"), {"row_key": str(visit_id)})
