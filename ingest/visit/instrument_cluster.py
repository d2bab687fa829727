"""A replaced instrument cluster: what a unit had driven before it is added to every later reading."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from ingest.author import Author
from ingest.checking.clusters import cluster_offsets, to_used
from ingest.errors import EntryRefused
from ingest.ledger.changes import change_cells, log_change
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import return_to_trend
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp, transaction
from ingest.units import format_quantity, read_quantity

COMMAND = "replace-cluster"
ROUNDING_KM = 1.0


def driven_km(ledger: Path | str, unit: str, on: date | None, shown_km: float) -> float:
    """Return what a unit has driven since new when its instrument shows `shown_km` on a day.

    An unknown day is taken as one before any replacement.
    """
    with open_ledger(ledger) as connection:
        return count_on(connection, unit, on, shown_km)


def count_on(connection: duckdb.DuckDBPyConnection, unit: str, on: date | None, shown_km: float) -> float:
    """As `driven_km`, in an open ledger."""
    clusters = connection.execute(statement("visit/clusters_replaced"), [unit]).df()
    if clusters.empty or on is None:
        return shown_km
    shown = connection.execute(statement("load/entered_odometers"), {"unit": unit}).df()
    totals = connection.execute(statement("load/cluster_totals")).df()
    offsets = cluster_offsets(clusters, shown, totals)
    used = to_used(pd.Series([unit]), pd.to_datetime(pd.Series([str(on)])), pd.Series([shown_km]), offsets)
    return float(used.iloc[0])


def odometer_as_typed(
    connection: duckdb.DuckDBPyConnection, unit: str, on: date | None, text: str
) -> dict[str, Any]:
    """Return what a visit keeps of an odometer as its instrument shows it: odometer_km, with what was driven
    before a replaced cluster, odometer_entered and odometer_unit.

    A bare number is in the fleet's unit. Raises EntryRefused for what is no distance.
    """
    own = settings_at(connection)["distance_unit"]
    read = read_quantity(text, "distance", default_unit=own, field="Odometer")
    return {
        "odometer_km": count_on(connection, unit, on, read.value),
        "odometer_entered": read.entered,
        "odometer_unit": read.unit,
    }


def replace_cluster(
    ledger: Path | str,
    unit: str,
    *,
    on: date,
    old_km: float,
    new_km: float = 0.0,
    distance_unit: str = "km",
    author: Author,
) -> int:
    """Record a replaced instrument cluster: later entries count on from the old one's last reading.

    old_km: the old cluster's last reading, new_km: the new one's first, both as they showed it. Returns how
    many entries after it were given their total distance. Raises EntryRefused for an unknown unit, a second
    cluster on one day, or readings that can't be true; distance_unit: of the distances in its sentence.
    """
    with open_ledger(ledger, read_only=False) as connection:
        if not connection.execute(statement("visit/unit_known"), [unit]).fetchall():
            raise EntryRefused("unknown-unit", f"Unit {unit} is not in the ledger; check its number.")
        old_km = count_on(connection, unit, on, old_km)
        _refuse_what_cannot_be(connection, unit, on, old_km, new_km, distance_unit)
        later = _entries_after(connection, unit, on, old_km, new_km)
        with transaction(connection, author, "work", command=COMMAND) as stamp:
            for source, km in (("reading", old_km), ("cluster-replaced", new_km)):
                row = {"unit": unit, "read_on": on, "odometer_km": km, "source": source}
                insert_row(connection, "odometer", row | {"recorded_at": stamp.at})
            log_change(
                connection, "odometer", f"{unit} {on} cluster-replaced", "odometer_km", None, new_km, stamp,
                reason=f"the old cluster read {old_km:,.0f} km",
            )  # fmt: skip
            for table, km_column, row_id, km in later:
                used = {km_column: km + old_km - new_km}
                change_cells(connection, table, row_id, used, stamp, reason="cluster replaced")
                if table == "visit":
                    _settle(connection, row_id, stamp)
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
    if connection.execute(statement("visit/cluster_that_day"), [unit, on]).fetchall():
        raise EntryRefused("cluster-known", f"A new instrument of unit {unit} is on record for {on} already.")
    before = connection.execute(statement("visit/odometer_before"), [unit, on]).fetchall()
    if before and before[0][0] < on and old_km < before[0][1] - ROUNDING_KM:
        raise EntryRefused(
            "below-last",
            f"Unit {unit} had {format_quantity(before[0][1], shown_in)} on {before[0][0]} already, so its "
            f"old instrument can't have stopped at {said['old']}.",
        )


def _entries_after(
    connection: duckdb.DuckDBPyConnection, unit: str, on: date, old_km: float, new_km: float
) -> list[tuple[str, str, Any, float]]:
    """Entries with the new instrument's reading: table, odometer column, id, km."""
    rows = connection.execute(
        statement("visit/entries_after"), {"unit": unit, "day": on, "km": old_km}
    ).fetchall()
    return [
        (table, km_column, row_id, km)
        for table, km_column, row_id, day, km in rows
        # That very day, a reading is of the instrument it is nearer to.
        if day > on or abs(km - new_km) < abs(km - old_km)
    ]


def _settle(connection: duckdb.DuckDBPyConnection, visit_id: int, stamp: Stamp) -> None:
    """Close what was asked about the visit's odometer; without other questions it counts in its trend."""
    said = {"row_key": str(visit_id), "by": stamp.by, "at": stamp.at}
    connection.execute(statement("visit/settle_odometer"), said)
    return_to_trend(connection, [visit_id])
