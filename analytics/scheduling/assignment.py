"""Which pump at which stop: an exact assignment by integer programming, one depot at a time.

Variables, all 0 or 1: x_k, candidate k (a pump at one of its unit's stops) is taken; s_j, stop j is used;
u_i, pump i is not placed. Minimise

    Σ cost_k·x_k + Σ cost_of_leaving_i·u_i − Σ shared_j·(Σ_{k at j} x_k − s_j)

(a further pump at the same stop saves the work shared), subject to Σ_{k of i} x_k + u_i = 1, x_k ≤ s_j, hours
per depot and week ≤ those free, and parts taken before an order can arrive ≤ those on hand. Solved by HiGHS
through scipy.optimize.milp to a gap of zero, or to the gap reported when time runs out.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy  # its parts load when first used: a list assigns nothing

TIME_LIMIT_S = 20.0
TINY_GAP = 1e-9


@dataclass(frozen=True)
class Assignment:
    """`chosen`: row label in `candidates` by placed pump_id. `gap`: by what share a cheaper one may exist."""

    chosen: pd.Series
    unplaced: tuple[int, ...]
    cost: float
    gap: float
    seconds: float

    @property
    def proven(self) -> bool:
        """Return whether no cheaper assignment exists."""
        return self.gap <= 1e-6


def assign(
    candidates: pd.DataFrame,
    leaving: pd.Series,
    free_hours: dict[tuple[str, object], float],
    on_hand: dict[tuple[str, str], int],
    shared_share: float = 0.0,
) -> Assignment:
    """Place pumps on stops at least cost.

    candidates: pump_id, stop (label), depot, week, pump_type, hours (of this pump alone), cost, shared_cost
    (money saved when another pump is done at the same stop), early (needs a part already on hand).
    leaving: cost of not placing, by pump_id. free_hours: by (depot, week); absent: no bound. on_hand: by
    (depot, pump_type); absent: none. shared_share: part of a job's hours that a stop needs only once.
    """
    began = time.perf_counter()
    chosen: list[pd.Series] = []
    cost = bound = 0.0
    home = (
        candidates.drop_duplicates("pump_id").set_index("pump_id")["depot"].reindex(leaving.index).fillna("")
    )
    limit = TIME_LIMIT_S
    for _, pumps in home.groupby(home):
        part = candidates[candidates["pump_id"].isin(pumps.index)]
        picked, value, lower = _solve(
            part, leaving[pumps.index], free_hours, on_hand, shared_share, max(limit, 1.0)
        )
        limit = TIME_LIMIT_S - (time.perf_counter() - began)
        chosen.append(picked)
        cost, bound = cost + value, bound + lower
    all_chosen = pd.concat(chosen) if chosen else pd.Series(dtype=int)
    gap = (cost - bound) / max(abs(cost), 1.0)
    return Assignment(
        all_chosen,
        tuple(int(i) for i in leaving.index.difference(all_chosen.index)),
        cost,
        float(max(gap, 0.0)),
        time.perf_counter() - began,
    )


def _solve(
    part: pd.DataFrame,
    leaving: pd.Series,
    free_hours: dict[tuple[str, object], float],
    on_hand: dict[tuple[str, str], int],
    shared_share: float,
    limit_s: float,
) -> tuple[pd.Series, float, float]:
    optimize, sparse = scipy.optimize, scipy.sparse
    n, m = len(part), len(leaving)
    stop, stops = pd.factorize(part["stop"])
    pump = leaving.index.get_indexer(pd.Index(part["pump_id"]))
    j = len(stops)
    shared = part["shared_cost"].to_numpy(float)
    per_stop = np.zeros(j)
    np.maximum.at(per_stop, stop, shared)
    cost = np.concatenate([part["cost"].to_numpy(float) - per_stop[stop], per_stop, leaving.to_numpy(float)])

    ones = np.ones(n)
    k = np.arange(n)
    once = sparse.hstack(
        [sparse.csr_array((ones, (pump, k)), shape=(m, n)), sparse.csr_array((m, j)), sparse.eye_array(m)]
    )
    opens = sparse.hstack(
        [sparse.eye_array(n), sparse.csr_array((-ones, (k, stop)), shape=(n, j)), sparse.csr_array((n, m))]
    )
    constraints = [optimize.LinearConstraint(sparse.csr_array(once), 1, 1)]
    if n:
        constraints.append(optimize.LinearConstraint(sparse.csr_array(opens), -np.inf, 0))

    hours = part["hours"].to_numpy(float)
    once_hours = np.zeros(j)
    np.maximum.at(once_hours, stop, hours * shared_share)
    weeks, names = pd.factorize(pd.Series(list(zip(part["depot"], part["week"], strict=True)), dtype=object))
    bounded = [i for i, name in enumerate(names) if name in free_hours]
    if bounded:
        first_of_stop = np.zeros(j, int)
        first_of_stop[stop] = weeks
        own = sparse.csr_array((hours * (1 - shared_share), (weeks, k)), shape=(len(names), n))
        opening = sparse.csr_array((once_hours, (first_of_stop, np.arange(j))), shape=(len(names), j))
        rows = sparse.hstack([own, opening, sparse.csr_array((len(names), m))]).tocsr()[bounded]
        free = np.array([max(free_hours[names[i]], 0.0) for i in bounded])
        constraints.append(optimize.LinearConstraint(rows, -np.inf, free))

    early = part["early"].to_numpy(bool)
    if early.any():
        kinds, types = pd.factorize(part["pump_type"])
        rows = sparse.csr_array((ones[early], (kinds[early], k[early])), shape=(len(types), n))
        rows = sparse.hstack([rows, sparse.csr_array((len(types), j + m))]).tocsr()
        depot = part["depot"].iloc[0]
        have = np.array([on_hand.get((depot, t), 0) for t in types], float)
        constraints.append(optimize.LinearConstraint(rows, -np.inf, have))

    found = optimize.milp(
        cost, integrality=np.ones(len(cost), int), bounds=optimize.Bounds(0, 1), constraints=constraints,
        options={"time_limit": limit_s, "mip_rel_gap": TINY_GAP},
    )  # fmt: skip
    if found.x is None:  # out of time without any answer: nothing is placed, and the gap says so
        return pd.Series(dtype=int), float(leaving.sum()), float(np.minimum(cost, 0).sum())
    taken = found.x[:n] > 0.5
    picked = pd.Series(part.index[taken], index=part["pump_id"].to_numpy()[taken])
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else found.fun
    return picked, float(found.fun), float(bound)
