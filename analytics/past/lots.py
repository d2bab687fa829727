"""Pump types and lots that fail early against the rest: an exact test, with room for many looks.

Within bands of distance the group ran a share e_b of all distance. Were the group like the rest, each of the
k_b failures of the band would be the group's with chance e_b, so its failures are a sum of binomials whose
upper tail is exact (conditional test of Poisson rates, Przyborowski & Wilenski 1940, by strata).

Many looks: seen at the group's k-th failure, that tail is the chance that the k-th comes this early, and it
only rises until the next one; so the looks that count are one for each k. The k-th failure of one of G
groups is held against alpha * 6 / (pi^2 k^2 G): these add up to alpha over all looks and groups (Bonferroni).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import gammaln, xlog1py, xlogy

from analytics.past.frames import each
from analytics.past.history import History

BANDS_KM = np.array([0, 10e3, 25e3, 50e3, 75e3, 100e3, 150e3, 200e3, np.inf])
ALPHA = 0.05


def early_failures(history: History, *, alpha: float = ALPHA) -> pd.DataFrame:
    """Return one row per type and per lot of two or more pumps, likeliest trouble first.

    Columns: kind (type | lot), name, pumps, failed, expected, ratio, p_value, threshold, flagged, text.
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
    count = np.maximum(groups["failed"], 1)
    threshold = alpha * 6 / (np.pi**2 * count**2 * max(len(groups), 1))
    flagged = (groups["failed"] > groups["expected"]) & (groups["p_value"] <= threshold)
    groups = groups.assign(threshold=threshold, flagged=flagged)
    groups["text"] = [
        f"{g.name}: {g.failed:,} of {g.pumps:,} pumps failed "
        f"where the rest would have had {g.expected:,.1f}; "
        + (
            f"that is no chance finding, however often one looks (p {_chance(g.p_value)})."
            if g.flagged
            else f"chance can do that (p {_chance(g.p_value)}, named below {_chance(g.threshold)})."
        )
        for g in each(groups)
    ]
    return groups.sort_values("p_value").reset_index(drop=True)


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
        }
    )


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
