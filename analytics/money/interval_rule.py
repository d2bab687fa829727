"""The cost rule over one interval: the risk from which changing a pump now pays against waiting.

Waiting over the next distance d risks p·(Cf − Cp). Changing now throws away the distance the pump would have
run, about d·(1 − p/2), which at the long-run cost g per distance is worth g·d·(1 − p/2). So

    changing is worth it if and only if (Cf − Cp)·p ≥ g·d·(1 − p/2).

Source: the marginal-cost form of condition-based replacement, Makis & Jardine, INFOR 30 (1992) 172–183, over
one interval; the d·(1 − p/2) counts a failure half-way. It settles g (long_run.py) and the policies compared
(policies.py); what to do about a pump in service, with checks and stops, decides decision.py.
"""

from __future__ import annotations

import numpy as np

Numbers = np.ndarray | float


def waiting_cost(
    risk: Numbers, distance_km: Numbers, planned: Numbers, failure: Numbers, cost_per_km: Numbers
) -> np.ndarray:
    """Return what waiting costs net, (Cf − Cp)·p − g·d·(1 − p/2), in money (n,)."""
    risk = np.asarray(risk, float)
    run = np.asarray(cost_per_km, float) * distance_km
    return (np.asarray(failure, float) - planned) * risk - run * (1 - risk / 2)


def break_even_risk(
    distance_km: Numbers, planned: Numbers, failure: Numbers, cost_per_km: Numbers
) -> np.ndarray:
    """Return the risk from which changing is worth it, g·d/(Cf − Cp + g·d/2); infinite where Cf ≤ Cp."""
    run = np.asarray(cost_per_km, float) * distance_km
    gap = np.asarray(failure, float) - planned
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(gap > 0, run / np.maximum(gap + run / 2, 1e-300), np.inf)
