"""Two units entered for each other at one stop: each reading fits the other unit's, neither its own."""

from __future__ import annotations

from typing import Any

import pandas as pd

from ingest.checking.odometer import LOOSE_DAYS

SAME_STOP_DAYS = 7


def swapped(readings: pd.DataFrame, judged: pd.DataFrame) -> dict[Any, Any]:
    """Return index -> index of doubted readings of two units, within a week, each of which fits the other's.

    readings, judged: as given to `clean` and as it returned them.
    """
    frame = readings.assign(
        day=readings["read_on"].to_numpy(dtype="datetime64[D]").astype("int64"),
        km_per_day=judged["km_per_day"],
        trusted=judged["trusted"],
    ).sort_values("day")
    doubted = frame[~frame["trusted"]]
    trusted: dict[Any, pd.DataFrame] = dict(iter(frame[frame["trusted"]].groupby("unit")))
    found: dict[Any, Any] = {}
    rows: list[Any] = list(doubted.itertuples())
    for place, one in enumerate(rows):
        for other in rows[place + 1 :]:
            if other.day - one.day > SAME_STOP_DAYS:
                break
            if one.unit == other.unit or one.Index in found or other.Index in found:
                continue
            if _fits(trusted.get(other.unit), one) and _fits(trusted.get(one.unit), other):
                found |= {one.Index: other.Index, other.Index: one.Index}
    return found


def _fits(known: pd.DataFrame | None, reading: Any) -> bool:
    """Whether a reading stands where a unit's trusted ones would have it."""
    if known is None:
        return False
    rate = float(known["km_per_day"].iloc[0])
    earlier, later = known[known["day"] <= reading.day], known[known["day"] > reading.day]
    if earlier.empty:
        return False
    since = reading.day - earlier["day"].iloc[-1]
    low = earlier["odometer_km"].max() - LOOSE_DAYS * rate
    high = earlier["odometer_km"].max() + 1.5 * rate * (since + LOOSE_DAYS)
    if len(later):
        high = later["odometer_km"].min() + LOOSE_DAYS * rate
    return bool(low <= reading.odometer_km <= high)
