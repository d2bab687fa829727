"""Pump types and lots that fail early against the rest: an exact test, with room for many looks.

Within bands of distance the group ran a share e_b of all distance. Were the group like the rest, each of the
k_b failures of the band would be the group's with chance e_b, so its failures are a sum of binomials whose
upper tail is exact (conditional test of Poisson rates, Przyborowski & Wilenski 1940, by strata).

Many looks: a group is named by how many times likelier its failures are of one that fails `times` as often
than of one like the rest, the likeliest of TIMES,
    ratio = times^k / product over bands of (1 - e_b + times * e_b)^(n_b),
n_b all failures of the band. However often one looks, such a ratio passes 1/alpha with a chance of alpha at
most where the group is like the rest (Ville 1939; Wald 1945 for one ratio; that the likeliest of several is
taken, and shares are those of today, is held against fleets in tests/benchmarks/lots_study.py). With G groups
it takes G/alpha.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scipy.special import gammaln, xlog1py, xlogy

from analytics.past.frames import each
from analytics.past.history import History

BANDS_KM = np.array([0, 10e3, 25e3, 50e3, 75e3, 100e3, 150e3, 200e3, np.inf])
TIMES = np.array([1.5, 2.0, 3.0, 4.0, 6.0, 9.0, 14.0])
ALPHA = 0.01  # of fleets with equal groups may ever see one named as failing early
SUSPECT_ALPHA = 0.3  # and as a suspect
FAILS_EARLY, SUSPECT, CHANCE = "fails early", "suspect", "chance can do that"


def early_failures(history: History, *, alpha: float = ALPHA) -> pd.DataFrame:
    """Return one row per type and per lot of two or more pumps, likeliest trouble first.

    Columns: kind (type | lot), name, pumps, failed, expected, ratio, p_value, likelier (likelihood ratio),
    threshold (that it takes to be named), finding (FAILS_EARLY | SUSPECT | CHANCE), flagged, text.
    A lot is held against all pumps of its own type, a type against all pumps.
    """
    pumps = history.pumps
    ran = _exposure(pumps)
    failed = pumps["failed"].to_numpy(bool)
    band = np.searchsorted(BANDS_KM, pumps["now_km"].to_numpy(float), side="right") - 1
    fell = np.zeros(ran.shape)
    fell[np.flatnonzero(failed), band[failed]] = 1.0

    everyone = np.zeros(len(pumps), int)
    kind, kinds = pd.factorize(pumps["pump_type"])
    known = pumps["lot"].notna().to_numpy()
    lot = np.full(len(pumps), -1)
    lot[known], lots = pd.factorize(pd.MultiIndex.from_frame(pumps.loc[known, ["pump_type", "lot"]]))
    groups = pd.concat(
        [
            _groups("type", kind, everyone, [str(name) for name in kinds], ran, fell),
            _groups("lot", lot, kind, [f"{name} ({of})" for of, name in lots], ran, fell),
        ],
        ignore_index=True,
    )
    threshold = max(len(groups), 1) / alpha
    likelier = groups["likelier"].to_numpy(float)
    suspected = likelier >= min(max(len(groups), 1) / SUSPECT_ALPHA, threshold)
    finding = np.where(likelier >= threshold, FAILS_EARLY, np.where(suspected, SUSPECT, CHANCE))
    groups = groups.assign(threshold=threshold, finding=finding, flagged=finding == FAILS_EARLY)
    groups["text"] = [
        f"{g.name}: {g.failed:,} of {g.pumps:,} pumps failed "
        f"where the rest would have had {g.expected:,.1f}; {_said(g)}"
        for g in each(groups)
    ]
    return groups.sort_values("p_value").reset_index(drop=True)


def _said(group: Any) -> str:
    """Return in words what a group's failures say."""
    odds = f"{_times(group.likelier)} likelier of a group that fails more often than of one like the rest"
    if group.finding == FAILS_EARLY:
        return f"that is no chance finding, however often one looks ({odds})."
    if group.finding == SUSPECT:
        return f"watch it: this is {odds}; at {_times(group.threshold)} it would be named as failing early."
    return f"chance can do that (p {_chance(group.p_value)})."


def _times(ratio: float) -> str:
    if ratio > 1e6:
        return "over a million times"
    return f"{ratio:,.0f} times" if ratio >= 10 else f"{ratio:.1f} times"


def _chance(p: float) -> str:
    """Return a probability as read: two digits, and no more noughts than anyone counts."""
    return f"{p:.2g}" if p >= 1e-4 else "under 0.0001"


def _groups(
    of: str, group: np.ndarray, among: np.ndarray, names: list[str], ran: np.ndarray, fell: np.ndarray
) -> pd.DataFrame:
    """Hold each group (codes, -1: in none) against all pumps with its code in `among`.

    ran, fell (pumps, bands): distance run and failures.
    """
    mine = np.flatnonzero(group >= 0)
    size = np.bincount(group[mine], minlength=len(names))
    whole = np.zeros(len(names), int)
    whole[group[mine]] = among[mine]
    rest = np.bincount(among, minlength=1)[whole]
    chosen = np.flatnonzero((size >= 2) & (rest > size))

    def by(code: np.ndarray, rows: np.ndarray, value: np.ndarray) -> np.ndarray:
        return np.column_stack([np.bincount(code[rows], column[rows]) for column in value.T])

    every = np.arange(len(among))
    share = by(group, mine, ran)[chosen] / np.maximum(by(among, every, ran)[whole[chosen]], 1e-9)
    events = by(among, every, fell)[whole[chosen]]
    failed = by(group, mine, fell)[chosen].sum(1).astype(int)
    expected = (share * events).sum(1)
    return pd.DataFrame(
        {
            "kind": of,
            "name": [names[i] for i in chosen],
            "pumps": size[chosen],
            "failed": failed,
            "expected": expected,
            "ratio": np.where(expected > 0, failed / np.where(expected > 0, expected, 1), np.nan),
            "p_value": [upper_tail(*case) for case in zip(failed, events, share, strict=True)],
            "likelier": likelihood_ratio(failed, events, share),
        }
    )


def likelihood_ratio(failed: np.ndarray, events: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Return how many times likelier `failed` (groups,) of all `events` (groups, strata) are of a group that
    fails more often, the likeliest of TIMES, than of one that has its `share` (groups, strata); 1 where it
    fails no more often."""
    each_time = failed[:, None] * np.log(TIMES) - np.einsum(
        "gb,gbt->gt", events, np.log1p(share[..., None] * (TIMES - 1))
    )
    more = failed > (share * events).sum(1)
    return np.exp(np.where(more, np.clip(each_time.max(1), 0.0, 700.0), 0.0))


def upper_tail(k: int, events: np.ndarray, share: np.ndarray) -> float:
    """Return P(X >= k) for X the sum over strata of Binomial(events, share), by convolution."""
    if k <= 0:
        return 1.0
    total, start = np.ones(1), 0
    for n, e in zip(events.astype(int), np.clip(share, 0.0, 1.0), strict=True):
        if n:
            low, chances = _binomial(n, e)
            total, start = np.convolve(total, chances), start + low
    return float(min(total[max(k - start, 0) :].sum(), 1.0))


def _binomial(n: int, e: float) -> tuple[int, np.ndarray]:
    """Return the lowest count and the chances of it and those above; less likely ones than 1e-30 left out."""
    half = 12 * np.sqrt(n * e * (1 - e)) + 60
    low, high = max(int(n * e - half), 0), min(int(n * e + half) + 1, n)
    x = np.arange(low, high + 1)
    return low, np.exp(
        gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1) + xlogy(x, e) + xlog1py(n - x, -e)
    )


def _exposure(pumps: pd.DataFrame) -> np.ndarray:
    """Distance each pump ran in each band while it was on record, (n, bands)."""
    low = np.maximum(pumps["entry_km"].to_numpy(float)[:, None], BANDS_KM[None, :-1])
    high = np.minimum(pumps["now_km"].to_numpy(float)[:, None], BANDS_KM[None, 1:])
    return np.maximum(high - low, 0.0)
