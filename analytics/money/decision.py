"""Whether changing a pump now is worth it on cost, or called for by its class's risk ceiling.

Waiting over the next distance d risks p·(Cf − Cp). Changing now throws away the distance the pump would have
run, about d·(1 − p/2), which at the fleet's long-run cost g per distance is worth g·d·(1 − p/2). So

    changing is worth it if and only if (Cf − Cp)·p ≥ g·d·(1 − p/2),

and never where a new pump would be no safer. Source: the marginal-cost form of condition-based replacement,
Makis & Jardine, INFOR 30 (1992) 172–183, over one interval; the d·(1 − p/2) counts a failure half-way.
Cost decides only what is worth booking: what may be booked, the trade rules decide
(analytics/judging/action.py).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

Numbers = np.ndarray | float
ON_COST, ON_CEILING, NOT_SAFER, NOT_YET = "cost", "risk ceiling", "a new pump is no safer", "not yet worth it"


def waiting_cost(
    risk: Numbers, distance_km: Numbers, planned: Numbers, failure: Numbers, cost_per_km: Numbers
) -> np.ndarray:
    """Return what waiting costs net, (Cf − Cp)·p − g·d·(1 − p/2), in money (n,)."""
    risk = np.asarray(risk, float)
    run = np.asarray(cost_per_km, float) * distance_km
    return (np.asarray(failure, float) - planned) * risk - run * (1 - risk / 2)


def worth_booking(
    risk: Numbers,
    risk_if_new: Numbers,
    distance_km: Numbers,
    planned: Numbers,
    failure: Numbers,
    cost_per_km: Numbers,
    ceiling: Numbers = np.nan,
) -> pd.DataFrame:
    """Return `worth` (bool), `because` and `benefit` (money saved by changing now, not waiting) per pump.

    All arrays (n,): risk over the next `distance_km`, the same for a new pump, prices, long-run cost per km,
    and the class's risk ceiling (NaN: none). A risk above its ceiling overrides cost.
    """
    risk, new = np.asarray(risk, float), np.asarray(risk_if_new, float)
    benefit = waiting_cost(risk, distance_km, planned, failure, cost_per_km)
    over = np.nan_to_num(np.asarray(ceiling, float), nan=np.inf) < risk
    safer = risk > new
    pays = benefit >= 0
    because = np.select([~safer, over, pays], [NOT_SAFER, ON_CEILING, ON_COST], NOT_YET)
    return pd.DataFrame({"worth": safer & (over | pays), "because": because, "benefit": benefit})


def break_even_risk(
    distance_km: Numbers, planned: Numbers, failure: Numbers, cost_per_km: Numbers
) -> np.ndarray:
    """Return the risk from which changing is worth it, g·d/(Cf − Cp + g·d/2); infinite where Cf ≤ Cp."""
    run = np.asarray(cost_per_km, float) * distance_km
    gap = np.asarray(failure, float) - planned
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(gap > 0, run / np.maximum(gap + run / 2, 1e-300), np.inf)
