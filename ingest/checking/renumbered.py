"""A unit that nothing describes and that goes on where another ends: likely that one under a new number."""

from __future__ import annotations

import pandas as pd

from ingest.checking.odometer import LOOSE_DAYS

MOST_DAYS = 180  # common practice, no source: later than that, many units' odometers would fit


def renumbered(readings: pd.DataFrame, judged: pd.DataFrame, new: list[str]) -> dict[str, str]:
    """Return, of these new units, those whose readings go on where exactly one other unit's end -> that unit.

    readings, judged: as given to `clean` of ingest/checking/odometer.py and as it returned them.
    """
    if not new:
        return {}
    told = readings.assign(km_per_day=judged["km_per_day"])[judged["trusted"]].sort_values("read_on")
    by_unit = told.groupby("unit")
    first, last = by_unit.first(), by_unit.last()
    found = {}
    for unit in set(new) & set(first.index):
        began = first.loc[unit]
        ended = last[~last.index.isin(new)]
        days = (began["read_on"] - ended["read_on"]).dt.days
        driven = began["odometer_km"] - ended["odometer_km"]
        rate = ended["km_per_day"]
        fits = (
            (days > 0)
            & (days <= MOST_DAYS)
            & (driven >= -LOOSE_DAYS * rate)
            & (driven <= 1.5 * rate * (days + LOOSE_DAYS))
        )
        if fits.sum() == 1:
            found[unit] = str(fits.index[fits][0])
    return found
