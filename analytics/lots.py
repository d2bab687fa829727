"""Pump types and lots that fail early against the rest: an exact test, with room for many looks.

Within bands of distance the group ran a share e_b of all distance. Were the group like the rest, each of
the k_b
failures of the band would be the group's with chance e_b, so its failures are a sum of binomials whose
upper tail is
exact (conditional test of Poisson rates, Przyborowski & Wilenski 1940, by strata). The data are looked at
again after every failure and for every group, so the k-th failure of one of G groups is held against
alpha * 6 / (pi^2 k^2 G): these add up to alpha over all looks and groups (Bonferroni).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.history import History

BANDS_KM = np.array([0, 10e3, 25e3, 50e3, 75e3, 100e3, 150e3, 200e3, np.inf])
ALPHA = 0.05


def early_failures(history: History, *, alpha: float = ALPHA) -> pd.DataFrame:
    """Return one row per type and per lot with a failure or two pumps, likeliest trouble first.

    Columns: kind (type | lot), name, pumps, failed, expected, ratio, p_value, threshold, flagged, text.
    A lot is held against all pumps of its own type, a type against all pumps.
    """
    pumps = history.pumps
    exposure = _exposure(pumps)
    failed = pumps["failed"].to_numpy(bool)
    band = np.searchsorted(BANDS_KM, pumps["now_km"].to_numpy(float), side="right") - 1
    groups = []
    for name, rows in pumps.groupby("pump_type").indices.items():
        groups.append(("type", str(name), rows, np.arange(len(pumps))))
    lots = pumps.dropna(subset=["lot"]).drop_duplicates(["pump_type", "lot"])[["pump_type", "lot"]]
    for kind, lot in lots.itertuples(index=False):
        same = np.flatnonzero(pumps["pump_type"].to_numpy() == kind)
        rows = np.flatnonzero((pumps["pump_type"] == kind) & (pumps["lot"] == lot))
        groups.append(("lot", f"{lot} ({kind})", rows, same))
    groups = [g for g in groups if len(g[2]) >= 2 and len(g[3]) > len(g[2])]
    out = []
    for kind, name, rows, among in groups:
        k = int(failed[rows].sum())
        share = exposure[rows].sum(0) / np.maximum(exposure[among].sum(0), 1e-9)
        events = np.bincount(band[among][failed[among]], minlength=len(BANDS_KM) - 1)
        expected = float(share @ events)
        threshold = alpha * 6 / (np.pi**2 * max(k, 1) ** 2 * len(groups))
        p = upper_tail(k, events, share)
        flagged = k > expected and p <= threshold
        ratio = k / expected if expected > 0 else float("nan")
        judged = "that is no chance finding" if flagged else "chance can do that"
        text = (
            f"{name}: {k} of {len(rows)} pumps failed where the rest would have had {expected:.1f}; "
            f"{judged} (p {p:.2g}, flagged below {threshold:.2g})."
        )
        out.append((kind, name, len(rows), k, expected, ratio, p, threshold, flagged, text))
    columns = [
        "kind",
        "name",
        "pumps",
        "failed",
        "expected",
        "ratio",
        "p_value",
        "threshold",
        "flagged",
        "text",
    ]
    return pd.DataFrame(out, columns=columns).sort_values("p_value").reset_index(drop=True)


def upper_tail(k: int, events: np.ndarray, share: np.ndarray) -> float:
    """Return P(X >= k) for X the sum over strata of Binomial(events, share), by convolution."""
    from scipy.stats import binom

    total = np.ones(1)
    for n, e in zip(events.astype(int), np.clip(share, 0, 1), strict=True):
        if n:
            total = np.convolve(total, binom.pmf(np.arange(n + 1), n, e))
    return float(min(total[k:].sum(), 1.0)) if k else 1.0


def _exposure(pumps: pd.DataFrame) -> np.ndarray:
    """Distance each pump ran in each band while it was on record, (n, bands)."""
    low = np.maximum(pumps["entry_km"].to_numpy(float)[:, None], BANDS_KM[None, :-1])
    high = np.minimum(pumps["now_km"].to_numpy(float)[:, None], BANDS_KM[None, 1:])
    return np.maximum(high - low, 0.0)
