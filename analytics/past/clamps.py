"""What a clamp adds to the current it reads: a bias, and its drift over time.

    d = e(clamp now, half-year now) - e(clamp before, half-year before) + usual change + noise
over consecutive readings of one pump, where e = bias + what it has drifted by then, half-years of one clamp
sharing the bias. Solved by least squares with normal priors about 0, far differences pulled in (Huber 1964):
a pump that starts to drag tells nothing of its clamp. A clamp that shares no pump with others gets nothing:
its own drift and its pumps' look alike. Speed and ripple in percent don't go through the clamp's scale.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.sparse.linalg import spsolve

BIAS_SD, DRIFT_SD = 0.015, 0.01  # ln amps: common practice, no source
HALF_YEAR = 182.625  # days
SPAN = 1000  # half-years from 1970 on are fewer
FAR, ROUNDS = 2.0, 4
LEAST = 30  # pairs of readings by different clamps; with fewer nothing is learned

# "clamp at half-year", and "clamp" for any later: ln of its reading over the true current
Effects = dict[str, float]


def clamps_at(visits: pd.DataFrame) -> tuple[np.ndarray, list[str]]:
    """Return which clamp read each visit and in which half-year: a code (visits,), -1 where nobody says, and
    the name of each code."""
    if "clamp" not in visits or not len(visits):
        return np.full(len(visits), -1), []
    clamp, clamps = pd.factorize(visits["clamp"])
    half = (visits["day"].to_numpy(float) // HALF_YEAR).astype(int)
    pair, code = np.unique(np.where(clamp >= 0, clamp * SPAN + half, -1), return_inverse=True)
    named = [f"{clamps[k // SPAN]} at {k % SPAN}" for k in pair[pair >= 0]]
    return code.ravel() - int(pair[0] < 0), named


def effects_of(effects: Effects, visits: pd.DataFrame) -> np.ndarray:
    """Return what is to be taken off ln amps of each visit, (visits,), 0 where nothing is known."""
    if not effects:
        return np.zeros(len(visits))
    code, names = clamps_at(visits)
    usual = (effects.get(name, effects.get(_clamp(name), 0.0)) for name in names)
    return np.array([*usual, 0.0])[code]


def _clamp(name: str) -> str:
    return name.rsplit(" at ", 1)[0]


def _half_year(name: str) -> int:
    return int(name.rsplit(" at ", 1)[1])


def learn_clamps(visits: pd.DataFrame, ln_a: np.ndarray) -> Effects:
    """Learn the effects from comparable ln amps (visits,), NaN where there is none."""
    at, names = clamps_at(visits)
    rows = np.flatnonzero(np.isfinite(ln_a) & (at >= 0))
    if not len(rows):
        return {}
    code = at[rows]
    clamp, _ = pd.factorize(pd.Series(names, dtype=object).str.rsplit(" at ", n=1).str[0])
    pump = visits["pump"].to_numpy(int)[rows]
    same = np.flatnonzero(pump[1:] == pump[:-1])
    now, before = code[same + 1], code[same]
    apart = clamp[now] != clamp[before]
    if apart.sum() < LEAST:
        return {}
    d = (ln_a[rows][1:] - ln_a[rows][:-1])[same]
    n, k = len(names), int(clamp.max()) + 1
    line = np.arange(len(d))
    design = sparse.csr_matrix((np.ones(len(d)), (line, now)), (len(d), n)) - sparse.csr_matrix(
        (np.ones(len(d)), (line, before)), (len(d), n)
    )
    of_clamp = sparse.csr_matrix((np.ones(n), (np.arange(n), clamp)), (n, k))
    whole = sparse.hstack([design, design @ of_clamp]).tocsr()
    prior = sparse.diags(np.concatenate([np.full(n, DRIFT_SD**-2), np.full(k, BIAS_SD**-2)]))
    found, d = np.zeros(n + k), d - np.median(d)
    for _ in range(ROUNDS):
        rest = d - whole @ found
        sd = max(1.4826 * float(np.median(np.abs(rest))), 1e-6)
        weight = 1 / np.maximum(np.abs(rest) / (FAR * sd), 1.0) / sd**2
        scaled = whole.multiply(weight[:, None]).tocsr()
        found = spsolve((whole.T @ scaled + prior).tocsc(), scaled.T @ d)
    effect = found[:n] + found[n:][clamp]
    shares = np.zeros(k, bool)
    shares[clamp[now[apart]]] = shares[clamp[before[apart]]] = True
    made = {str(name): float(e) for name, e, ok in zip(names, effect, shares[clamp], strict=True) if ok}
    # In half-years after those learned from a clamp reads as it did in its last.
    last = {_clamp(name): value for name, value in sorted(made.items(), key=lambda item: _half_year(item[0]))}
    return made | last
