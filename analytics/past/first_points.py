"""Where the clock of a unit begins whose odometer, or engine hours where it runs by these, nobody read."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.past.frames import among

CLOCKS = {"odometer_km": "fitted_odometer_km", "hours": "fitted_hours"}


def with_first_points(points: pd.DataFrame, pumps: pd.DataFrame, as_of_day: int) -> pd.DataFrame:
    """Return points with one more for each unit without any on its clock: nothing run when its first pump was
    fitted, so that its pumps age by its class's daily distance.

    points: unit, day, odometer_km, hours, by unit and day; pumps: unit, clock, fitted_day and what CLOCKS
    names.
    """
    by_hours = (pumps["clock"] == "hours").to_numpy()
    begun = pumps.assign(day=pumps["fitted_day"].fillna(as_of_day)).sort_values("day", kind="stable")
    more = []
    for (name, at_fitting), mine in zip(CLOCKS.items(), (~by_hours, by_hours), strict=True):
        read = among(begun["unit"], points.loc[points[name].notna(), "unit"])
        unread = begun[mine[begun.index] & ~read]
        first = unread.drop_duplicates("unit")
        blank = dict.fromkeys(CLOCKS, np.nan)
        made = pd.DataFrame({"unit": first["unit"], "day": first["day"], **blank})
        more.append(made.assign(**{name: first[at_fitting].astype(float).fillna(0.0)}))
    if not any(map(len, more)):
        return points
    return pd.concat([points, *filter(len, more)]).sort_values(["unit", "day"], ignore_index=True)
