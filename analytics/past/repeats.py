"""Repeats of one day: taken by one clamp in one state, they share its error and say little more than one.

Repeats that agree become one reading, their mean; of those that don't one is wild, and which one the readings
of other days tell. After a repair, or a check, a reading is a new one.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.past.signs import checked
from ingest.metrics import trended

AGREE = 4.0  # times the least scatter of a reading that repeats of one day may lie apart [P]
ALIKE = ("clamp", "state", "duty_step", "low_speed")


def as_one_reading(visits: pd.DataFrame) -> pd.DataFrame:
    """Return visits where of repeats that agree in a metric only the last tells it, as their mean.

    visits: pump, day, reason, same_day, comparable, ALIKE and metrics, in order of pump and time.
    """
    again = visits["same_day"].to_numpy(bool) & visits["comparable"].to_numpy(bool)
    again &= visits["comparable"].shift(fill_value=False).to_numpy(bool)
    again &= ~visits["reason"].eq("after-repair").to_numpy() & ~checked(visits)
    for name in (name for name in ALIKE if name in visits):
        code = pd.factorize(visits[name])[0]  # what nobody told is alike
        again &= np.append(False, code[1:] == code[:-1])[: len(code)]
    if not again.any():
        return visits
    rows = np.flatnonzero(again | np.append(again[1:], False))
    group = np.cumsum(~again)[rows]
    made = {}
    for m in trended():
        value = visits[m.name].to_numpy(float).copy()
        with np.errstate(invalid="ignore", divide="ignore"):
            y = pd.Series(np.log(value[rows]) if m.relative else value[rows])
        by = y.groupby(group)
        agree = (by.transform("count") > 1) & (by.transform("max") - by.transform("min") <= AGREE * m.scatter)
        mean = by.transform("mean")
        last = y.notna() & (by.cumcount() == y.notna().groupby(group).transform(_last_told))
        kept = np.where(last, np.exp(mean) if m.relative else mean, np.nan)
        value[rows] = np.where(agree, kept, value[rows])
        made[m.name] = value
    return visits.assign(**made)


def _last_told(told: pd.Series) -> int:
    """Place of the last one told in its group, -1 for none."""
    places = np.flatnonzero(told.to_numpy())
    return int(places[-1]) if len(places) else -1
