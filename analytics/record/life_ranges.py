"""Did the 80 % ranges of the distance left hold? Told by lives that ended, the others cut short where they
were last seen, and never by what their own forecast says of them.

u = the chance, by its own forecast, of having failed by where a life ended or was last seen. If forecasts are
right, u of ended lives is uniform on (0, 1) (Cox & Snell 1968), and the range from the 10 to the 90 % point
holds where .1 <= u <= .9. With lives cut short, P(u beyond a) is the product-limit estimate (Kaplan & Meier
1958), which weighs each ended life by the inverse chance of having been followed that far (Satten & Datta
2001); its errors are Greenwood's (1926).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.record.scores import Estimate

LOW, HIGH = 0.1, 0.9
ENOUGH_ENDED = 60  # lives that must have ended: a standard error of .05 or so
ENOUGH_AT_RISK = 3  # lives that must have been followed as far as the range is judged
LEAST_REACH = 0.4  # of u: short of that nothing is said


def coverage(forecasts: pd.DataFrame) -> pd.DataFrame:
    """Return how many lives the 80 % range held, by number of readings and for all.

    Columns: readings, n (lives), ended, coverage and coverage_se (NaN where too few ended or none was
    followed far enough). A life counts once, by its first forecast.
    """
    columns = ["readings", "n", "ended", "coverage", "coverage_se"]
    if not len(forecasts):
        return pd.DataFrame(columns=columns)
    first = forecasts.sort_values("as_of", kind="stable").drop_duplicates("pump_id")
    u = np.where(first["ran_km"] > 0, first["chance_by_end"], 0.0).astype(float)
    ended = first["failed_later"].to_numpy(bool) & (first["ran_km"] > 0).to_numpy()
    group = np.select([first["readings"] == k for k in (0, 1, 2)], ["0", "1", "2"], "3 or more")
    rows = []
    for name in ["all", *np.unique(group)]:
        mine = np.ones(len(u), bool) if name == "all" else group == name
        held = held_by(u[mine], ended[mine])
        rows.append((name, int(mine.sum()), int(ended[mine].sum()), *held))
    return pd.DataFrame(rows, columns=columns)


def held_by(u: np.ndarray, ended: np.ndarray) -> Estimate:
    """Return the share of lives within LOW to HIGH of their forecast and its standard error.

    u (n,): where each ended or was last seen. Where lives were followed to a reach below HIGH only, the share
    within LOW to there stands for the whole, in proportion: P(LOW <= u <= reach) (HIGH - LOW)/(reach - LOW).
    """
    order = np.argsort(u, kind="stable")
    u, ended = u[order], ended[order]
    reach = min(HIGH, float(u[-ENOUGH_AT_RISK])) if len(u) > ENOUGH_AT_RISK else 0.0
    if ended.sum() < ENOUGH_ENDED or reach < LEAST_REACH:
        return Estimate(float("nan"), float("nan"))
    at_risk = len(u) - np.searchsorted(u, u, side="left")
    left = np.where(ended, 1 - 1 / at_risk, 1.0)
    spread = np.where(ended, 1 / (at_risk * np.maximum(at_risk - 1.0, 0.5)), 0.0)

    def beyond(at: float) -> tuple[float, float]:
        reached = u <= at
        return float(np.prod(left[reached])), float(spread[reached].sum())

    (s_low, v_low), (s_high, v_high) = beyond(np.nextafter(LOW, 0.0)), beyond(reach)
    variance = s_low**2 * v_low + s_high**2 * v_high - 2 * s_low * s_high * v_low
    whole = (HIGH - LOW) / (reach - LOW)
    return Estimate(whole * (s_low - s_high), whole * float(np.sqrt(max(variance, 0.0))))
