"""Where a pump's own baseline starts anew, since what it rested on was a fault that work then mended."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.past.signs import FLOW_WORK, SUPPLY_WORK


def begins_anew(
    visits: pd.DataFrame, sound: np.ndarray, near: np.ndarray, services: pd.DataFrame | None
) -> np.ndarray:
    """Return at which visits the readings before them cease to be the pump's own measure, (n,) bool.

    visits: in order of pump and time, with `compares_with`, `ln_a` and the baselines. sound: whether each
    visit's own verdict is no fault; near: whether its reading lies on its baseline. That is a fault's own
    where a reading that is one lay on it, work mended something beside the pump, and the first sound reading
    since lies off it. A filter alone changes the current on any pump, and is no such work.
    """
    out = np.zeros(len(visits), bool)
    if services is None or not len(services):
        return out
    done = services[services["work"].isin((*SUPPLY_WORK, *FLOW_WORK))]
    by_unit = pd.to_datetime(done["done_on"]).groupby(done["unit"])
    worked = {unit: np.sort(days.to_numpy()) for unit, days in by_unit}
    told = visits["ln_a"].notna().to_numpy() & (visits["baseline_count"] > 0).to_numpy()
    doubted = told & ~sound & near & visits["unit"].isin(worked).to_numpy()
    unit, group = visits["unit"].to_numpy(object), visits["compares_with"].to_numpy()
    day = pd.to_datetime(visits["visited_on"]).to_numpy()
    mine = pd.Series(np.arange(len(visits))).groupby(group).indices
    for at in np.flatnonzero(doubted):
        days = worked[unit[at]]
        days = days[days >= day[at]]
        if not len(days):
            continue
        rows = mine[group[at]]
        rows = rows[(rows > at) & told[rows] & sound[rows] & (day[rows] >= days[0])]
        if len(rows) and not near[rows[0]]:
            out[rows[0]] = True
    return out
