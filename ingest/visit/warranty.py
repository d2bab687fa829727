"""How long a pump is in warranty, from its type's terms and its first fitting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import duckdb
import pandas as pd

from ingest.ledger.rows import as_dicts
from ingest.ledger.statements import statement

Standing = Literal["in", "over", "unknown", "none"]
_DAYS_A_MONTH = 365.2425 / 12  # of a part of a month


@dataclass(frozen=True)
class Warranty:
    """A pump's warranty: its last day, and the odometer of its unit at which it ends, whichever comes first.

    until, until_km: None where the type states no such term, or its start isn't known (`unknown`: what is
    missing, in words). removed_on, newest_km: when it came off, and the newest odometer with it.
    """

    pump_id: int
    until: date | None = None
    until_km: float | None = None
    unknown: tuple[str, ...] = ()
    removed_on: date | None = None
    newest_km: float | None = None

    def standing(self, on: date, odometer_km: float | None = None) -> Standing:
        """Return how it stands on a day (once removed: on that day): in, over, unknown, or none stated.

        odometer_km: the unit's then; default: the newest known. One term passed is enough to end it.
        """
        day = self.removed_on or on
        km = self.newest_km if odometer_km is None else odometer_km
        if self.until is not None and day > self.until:
            return "over"
        if self.until_km is not None and km is not None and km > self.until_km:
            return "over"
        if self.until is None and self.until_km is None:
            return "unknown" if self.unknown else "none"
        missing_km = self.until_km is not None and km is None
        return "unknown" if self.unknown or missing_km else "in"


def warranties(connection: duckdb.DuckDBPyConnection, pump_ids: Sequence[int]) -> dict[int, Warranty]:
    """Return the warranty of each of these pumps, by pump_id."""
    rows = as_dicts(
        connection.execute(statement("visit/warranty_terms"), {"pumps": [int(p) for p in pump_ids]})
    )
    return {row["pump_id"]: _warranty(row) for row in rows}


def warranty_of(connection: duckdb.DuckDBPyConnection, pump_id: int) -> Warranty:
    """Return one pump's warranty."""
    return warranties(connection, [pump_id]).get(int(pump_id), Warranty(int(pump_id)))


def after_months(day: date, months: float) -> date:
    """Return the day some months later; a day its month lacks is that month's last."""
    whole = int(months)
    later = (pd.Timestamp(day) + pd.DateOffset(months=whole)).date()
    return later + timedelta(days=round((months - whole) * _DAYS_A_MONTH))


def _warranty(row: dict) -> Warranty:
    months, distance_km, prior_km = row["warranty_months"], row["warranty_distance_km"], row["prior_km"]
    started, unknown = row["first_fitted_on"], []
    if prior_km > 0 and not row["moved_here"]:
        started = None  # it ran elsewhere first, and nobody told since when
    until = until_km = None
    if months is not None:
        if started is None:
            unknown.append("the day it was first fitted")
        else:
            until = after_months(started, months)
    if distance_km is not None:
        if row["fitted_odometer_km"] is None:
            unknown.append("the odometer it was fitted at")
        else:
            until_km = row["fitted_odometer_km"] + distance_km - prior_km
    return Warranty(row["pump_id"], until, until_km, tuple(unknown), row["removed_on"], row["newest_km"])
