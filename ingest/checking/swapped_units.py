"""Two units entered for each other: each reading fits the other unit's, neither its own.

In a fleet of many doubted readings two may fit by chance: a pair is told only where neither fits a third one,
and farther apart than one stop only where no slip of the number explains either and the currents fit too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from ingest.checking.odometer import LOOSE_DAYS

SAME_STOP_DAYS = 7
# Between two stops, common practice, no source. See tests/benchmarks/swapped_study.py for what it finds.
FAR_APART_DAYS = 30
ALIKE = 0.05

Known = tuple[np.ndarray, np.ndarray, float]  # days and km of a unit's trusted readings, km a day


def swapped(
    readings: pd.DataFrame, judged: pd.DataFrame, alike: Callable[[Any, Any], bool] | None = None
) -> dict[Any, Any]:
    """Return index -> index of doubted readings of two units, each of which fits the other's.

    readings, judged: as given to `clean` and as it returned them. alike: whether the currents at two readings
    fit the other's unit as well (None: not known, so that only one stop is looked at).
    """
    frame = readings.assign(
        day=readings["read_on"].to_numpy(dtype="datetime64[D]").astype("int64"),
        km_per_day=judged["km_per_day"],
        trusted=judged["trusted"],
        unexplained=judged["likely_km"].isna() & (judged["code"] != "odometer-restarted"),
    ).sort_values("day")
    trusted: dict[Any, Known] = {
        unit: (own["day"].to_numpy(), own["odometer_km"].to_numpy(float), float(own["km_per_day"].iloc[0]))
        for unit, own in frame[frame["trusted"]].groupby("unit")
    }
    rows: list[Any] = list(frame[~frame["trusted"]].itertuples())
    sure: list[tuple[Any, Any]] = []  # no slip explains either
    others: list[tuple[Any, Any]] = []  # a slip may explain one; at one stop only
    for place, one in enumerate(rows):
        for other in rows[place + 1 :]:
            apart = other.day - one.day
            if apart > FAR_APART_DAYS:
                break
            unexplained = one.unexplained and other.unexplained
            if one.unit == other.unit or (apart > SAME_STOP_DAYS and not unexplained):
                continue
            if _fits(trusted.get(other.unit), one) and _fits(trusted.get(one.unit), other):
                (sure if unexplained else others).append((one.Index, other.Index))
    day = frame["day"].to_dict()
    found: dict[Any, Any] = {}
    for pairs in (sure, others):
        partners = Counter(index for pair in pairs for index in pair)
        for one, other in pairs:
            if not partners[one] == partners[other] == 1 or one in found or other in found:
                continue
            if day[other] - day[one] <= SAME_STOP_DAYS or (alike is not None and alike(one, other)):
                found |= {one: other, other: one}
    return found


def currents_alike(read_a: float | None, usual_a: float | None) -> bool:
    """Whether a reading's average is a unit's usual one, within 5 %; not where either is unknown."""
    if not read_a or not usual_a:
        return False
    return bool(abs(np.log(read_a / usual_a)) < ALIKE)


def _fits(known: Known | None, reading: Any) -> bool:
    """Whether a reading stands where a unit's trusted ones would have it."""
    if known is None:
        return False
    days, km, rate = known
    after = int(np.searchsorted(days, reading.day, side="right"))
    if not after:
        return False
    last_km = float(km[:after].max())
    low = last_km - LOOSE_DAYS * rate
    high = last_km + 1.5 * rate * (reading.day - days[after - 1] + LOOSE_DAYS)
    if after < len(days):
        high = float(km[after:].min()) + LOOSE_DAYS * rate
    return bool(low <= reading.odometer_km <= high)
