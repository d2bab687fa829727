"""Readings across a replaced instrument cluster: what to add to what it shows, to have what was driven."""

from __future__ import annotations

import numpy as np
import pandas as pd


def cluster_offsets(
    clusters: pd.DataFrame, known: pd.DataFrame, totals: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return unit, from_on, offset_km, new_km: what to add to an entered reading from that day on.

    clusters: unit, read_on, odometer_km of each new cluster's first reading; known: the same columns of all
    other readings, as entered. The old cluster's last reading is the greatest known up to the day, a lower
    one after an earlier replacement raised by that one's offset; totals (unit, read_on, total_km): what had
    been driven in all by then, where somebody has said so.
    """
    rows = []
    told = {} if totals is None else totals.set_index(["unit", "read_on"])["total_km"].to_dict()
    for unit, changes in clusters.sort_values("read_on").groupby("unit"):
        own = known[known["unit"] == unit]
        offset_km, since = 0.0, pd.Timestamp.min
        for day, new_km in zip(changes["read_on"], changes["odometer_km"].to_numpy(), strict=True):
            last_km = own.loc[(own["read_on"] > since) & (own["read_on"] <= day), "odometer_km"].max()
            last_km = offset_km + (0.0 if np.isnan(last_km) else float(last_km))
            offset_km = float(told.get((unit, day), last_km)) - float(new_km)
            rows.append((unit, day, offset_km, float(new_km)))
            since = day
    return pd.DataFrame(rows, columns=["unit", "from_on", "offset_km", "new_km"])


def to_used(unit: pd.Series, day: pd.Series, km: pd.Series, offsets: pd.DataFrame) -> pd.Series:
    """Turn readings as entered into distance driven since new, adding the offset of a replaced cluster.

    On the day of the replacement itself a reading belongs to the new cluster when it is nearer to its start.
    """
    used = km.copy()
    ordered = offsets.sort_values("from_on")
    for name, since, offset_km, new_km in zip(
        ordered["unit"],
        ordered["from_on"],
        ordered["offset_km"].to_numpy(),
        ordered["new_km"].to_numpy(),
        strict=True,
    ):
        mine = (unit == name) & (day >= since)
        old_last_km = offset_km + new_km
        same_day_old = (day == since) & ((km - new_km).abs() > (used - old_last_km).abs())
        used = used.where(~(mine & ~same_day_old), km + offset_km)
    return used
