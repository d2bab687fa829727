"""Where a pump's own baseline starts anew, since what it rested on was a fault that work then mended."""

from __future__ import annotations

import numpy as np
import pandas as pd

# Recorded work that mends something beside the pump; a filter alone changes the current on any pump.
MENDS = ("strainer", "tank_cleaned", "hose", "regulator", "connector", "wiring", "fuel")


def begins_anew(
    visits: pd.DataFrame, sound: np.ndarray, near: np.ndarray, services: pd.DataFrame | None
) -> np.ndarray:
    """Return at which visits the readings before them cease to be the pump's own measure, (n,) bool.

    visits: in order of pump and time, with `compares_with`, `ln_a` and the baselines. sound: whether each
    visit's own verdict is no fault; near: whether its reading lies on its baseline. That is a fault's own
    where a reading that is one lay on it, work mended something beside the pump, and the first sound reading
    since lies off it.
    """
    out = np.zeros(len(visits), bool)
    if services is None or not len(services):
        return out
    done = services[services["work"].isin(MENDS)]
    told = visits["ln_a"].notna().to_numpy() & (visits["baseline_count"] > 0).to_numpy()
    doubted = np.flatnonzero(told & ~sound & near & visits["unit"].isin(done["unit"]).to_numpy())
    day = pd.to_datetime(visits["visited_on"]).to_numpy()
    group = visits["compares_with"].to_numpy()
    for at in doubted:
        days = pd.to_datetime(done.loc[done["unit"] == visits["unit"].iloc[at], "done_on"])
        days = days[days >= day[at]]
        after = (np.arange(len(visits)) > at) & (group == group[at]) & told & sound
        since = np.flatnonzero(after & (day >= days.min())) if len(days) else np.zeros(0, int)
        if len(since) and not near[since[0]]:
            out[since[0]] = True
    return out
