"""Work that nobody wrote down, found in the readings: a pump change, a filter change.

A pump does not heal. Where the mean of the two readings after a point lies far below that of the two before
it, in ripple without speed lost meanwhile, or in load with less ripple too, a new pump is likelier than a
miracle; a smaller lasting drop of the load alone is a new filter. Two readings on each side are asked for, so
that one wild reading makes no pump. Only at a pump's last reading one must do, and has to have fallen
farther: whether it was wild, the next one shows. Neither a new pump nor a new filter lacks delivery or
pressure: where a load falls with them, the pump starves or leaks.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analytics.past.history import History
from analytics.past.normalise import Exponents, channels

FAR_SD = 5.0  # drop, in standard errors of the difference of two means of two
PUMP_RIPPLE = 2.5  # smallest drop of ripple, points, that makes a new pump
PUMP_LOAD = 0.12  # the same of the load, natural log: more than a clogged filter makes
LAST_FACTOR = 1.6  # times the smallest drops, where only the last reading tells
FILTER_SD = 3.3
FILTER_LOAD = 0.03
LACKING = 0.2  # of ln delivery, beyond reading and pump (common practice, no source)


def allow_for_unrecorded(history: History, exponents: Exponents) -> History:
    """Return the history with likely pump changes as new lives and likely filter changes as new filters.

    A pump with a likely change starts anew half-way between the two stops; its earlier readings leave the
    trend. `pumps` gains `restarted` (bool) and `restart_km`, where on its old clock a pump starts anew.
    """
    visits, pumps = history.visits, history.pumps
    pumps = pumps.assign(restarted=False, restart_km=0.0)
    if not len(visits):
        return replace(history, pumps=pumps)
    made = channels(visits, pumps, exponents)
    pump, x = visits["pump"].to_numpy(int), visits["x_km"].to_numpy(float)
    rows = np.flatnonzero(~np.isnan(made.ripple) | ~np.isnan(made.load))
    ripple_drop, ripple_sd = _drops(made.ripple[rows], pump[rows])
    load_drop, load_sd = _drops(made.load[rows], pump[rows])
    faster = ~(_drops(made.brush[rows], pump[rows])[0] <= 0)  # its speed, or the volts, were not told: may be
    new_pump = (
        (ripple_drop > max(PUMP_RIPPLE, FAR_SD * ripple_sd)) & ~(load_drop < -FAR_SD * load_sd) & faster
    )
    # A load that falls alone is a pump that leaks inside, or starves: a new one has less ripple as well.
    calmer = ~(ripple_drop <= ripple_sd)
    new_pump |= (load_drop > max(PUMP_LOAD, FAR_SD * load_sd)) & calmer
    last_ripple, last_load = (_last_drops(v[rows], pump[rows]) for v in (made.ripple, made.load))
    calmer = ~(_last_falls(made.ripple[rows], pump[rows]) <= ripple_sd)
    faster = ~(_last_falls(made.brush[rows], pump[rows]) <= 0)
    new_pump |= ((last_ripple > LAST_FACTOR * max(PUMP_RIPPLE, FAR_SD * ripple_sd)) & faster) | (
        (last_load > LAST_FACTOR * max(PUMP_LOAD, FAR_SD * load_sd)) & calmer
    )
    new_filter = ~new_pump & (load_drop > max(FILTER_LOAD, FILTER_SD * load_sd))
    filter_km = _with_new_filters(rows, new_filter, load_drop, pump, x, visits["filter_km"].to_numpy(float))
    lacks = _lacks(made.leak_flow.y, visits["day"].to_numpy(), pump, rows)
    new_pump, new_filter = new_pump & ~lacks, new_filter & ~lacks
    size = np.fmax(ripple_drop, last_ripple) + 20 * np.nan_to_num(np.fmax(load_drop, last_load))
    restart = _last_restart(rows, new_pump, size, pump, x, len(pumps))
    moved = ~np.isnan(restart)
    shift = np.where(moved, restart, 0.0)
    own = x - shift[pump]
    early = own < 0
    visits = visits.assign(
        x_km=np.maximum(own, 0.0),
        filter_km=np.where(moved[pump], np.minimum(filter_km, np.maximum(own, 0)), filter_km),
        usable=visits["usable"].to_numpy(bool) & ~early,
        comparable=visits["comparable" if "comparable" in visits else "usable"].to_numpy(bool) & ~early,
    )
    pumps = pumps.assign(
        now_km=pumps["now_km"].to_numpy(float) - shift,
        entry_km=np.maximum(pumps["entry_km"].to_numpy(float) - shift, 0.0),
        restarted=moved,
        restart_km=shift,
    )
    return replace(history, pumps=pumps, visits=visits)


def _lacks(missing: np.ndarray, day: np.ndarray, pump: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Return whether delivery or pressure falls short on the day of each reading of `rows` or of the pump's
    next one, bool; missing (visits,): of ln delivery, NaN where neither was told."""
    short = missing > LACKING
    if not short.any():
        return np.zeros(len(rows), bool)
    that_day = pd.Series(short).groupby([pump, day]).transform("max").to_numpy(bool)[rows]
    same = pump[rows][1:] == pump[rows][:-1]
    return that_day | np.append(that_day[1:] & same, False)[: len(rows)]


def _drops(value: np.ndarray, pump: np.ndarray) -> tuple[np.ndarray, float]:
    """Fall from the mean of readings k-2, k-1 to that of k, k+1 within a pump (NaN without all four), and
    its sd."""
    n = len(value)
    out = np.full(n, np.nan)
    if n < 8:
        return out, np.inf
    same = pump[3:] == pump[:-3]
    fall = (value[:-3] + value[1:-2] - value[2:-1] - value[3:]) / 2
    # One wild reading moves a mean, but does not part all four.
    apart = np.minimum(value[:-3], value[1:-2]) - np.maximum(value[2:-1], value[3:])
    out[2:-1] = np.where(same, np.where(apart > 0.4 * fall, fall, np.minimum(fall, 0.0)), np.nan)
    step = np.diff(value)[pump[1:] == pump[:-1]]
    step = step[~np.isnan(step)]
    if len(step) < 8:
        return out, np.inf
    noise = 1.4826 * np.median(np.abs(step - np.median(step))) / np.sqrt(2)
    return out, float(noise)  # two means of two: variance noise^2 (1/2 + 1/2)


def _last_drops(value: np.ndarray, pump: np.ndarray) -> np.ndarray:
    """As `_last_falls`, NaN where the three are not parted."""
    fall = _last_falls(value, pump)
    least = np.minimum(np.roll(value, 2), np.roll(value, 1)) - value
    return np.where(least > 0.4 * fall, fall, np.nan)


def _last_falls(value: np.ndarray, pump: np.ndarray) -> np.ndarray:
    """Fall from the mean of readings k-2, k-1 to k where k is a pump's last; NaN elsewhere."""
    out = np.full(len(value), np.nan)
    last = np.flatnonzero(np.append(pump[1:] != pump[:-1], True))
    last = last[last >= 2]
    last = last[pump[last - 2] == pump[last]]
    out[last] = (value[last - 2] + value[last - 1]) / 2 - value[last]
    return out


def _strongest(rows: np.ndarray, found: np.ndarray, size: np.ndarray, pump: np.ndarray) -> np.ndarray:
    """Of neighbouring candidates in one pump keep the largest drop."""
    size = np.where(found, np.nan_to_num(size), -np.inf)
    who = pump[rows]
    largest = found.copy()
    for away in (1, 2):
        same = who[away:] == who[:-away]
        largest[away:] &= ~same | (size[away:] >= size[:-away])
        largest[:-away] &= ~same | (size[:-away] >= size[away:])
    return np.flatnonzero(largest)


def _with_new_filters(
    rows: np.ndarray,
    found: np.ndarray,
    drop: np.ndarray,
    pump: np.ndarray,
    x: np.ndarray,
    filter_km: np.ndarray,
) -> np.ndarray:
    """Return the filter's distance, restarted at each likely change until the next recorded one."""
    at = _strongest(rows, found, drop, pump)
    new_at = x - filter_km
    at = at[new_at[rows[at]] < x[rows[at - 2]] - 1.0]  # else a change is on record hereabouts
    middle = np.zeros(len(x))
    middle[rows[at]] = (x[rows[at - 1]] + x[rows[at]]) / 2
    likely = np.full(len(x), -1)
    likely[rows[at]] = rows[at]
    last = np.maximum.accumulate(likely)
    mine = (last >= 0) & (pump[last] == pump)
    return np.where(mine & (new_at <= middle[last]), x - middle[last], filter_km)


def _last_restart(
    rows: np.ndarray, found: np.ndarray, size: np.ndarray, pump: np.ndarray, x: np.ndarray, n: int
) -> np.ndarray:
    restart = np.full(n, np.nan)
    at = _strongest(rows, found, size, pump)
    restart[pump[rows[at]]] = (x[rows[at - 1]] + x[rows[at]]) / 2
    return restart
