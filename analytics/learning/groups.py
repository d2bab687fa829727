"""Depots, classes and lots that fail more or less often than the rest, drawn toward 1; and depots that don't
write failures down.

A group's factor multiplies what its readings do not show yet: damages that have not started and sudden
failures. With u that part of a pump's -ln S and s the rest, each failure is the group's own with chance
r = m u' / (s' + m u'), u' and s' over the last stretch before it; m = (a + sum r)/(a + sum u) is its
posterior mean under a gamma prior about 1 worth `a` failures. The three kinds are fitted in turn, each given
the others.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import pdtr

from analytics.learning.failure import FAILED_WITHIN_KM
from analytics.learning.gaps import Gaps
from analytics.wear_model.exposure import KINDS, Groups, group_names
from analytics.wear_model.model import Parameters, risk_model

BELIEF = {"depot": 8.0, "class": 8.0, "lot": 5.0}  # failures' worth: common practice, no source
ROUNDS = 6
# A depot is taken to keep failures from the books where so few would be a rare chance at this share of them.
SILENT_SHARE, RARE = 0.4, 0.005


def learn_groups(p: Parameters, gaps: Gaps, weight: np.ndarray, pumps: pd.DataFrame) -> Groups:
    """Return the factors of depots, classes and lots; weight (gaps,), 0 off the books."""
    model = risk_model(p)
    failed = gaps.take(np.flatnonzero(gaps.failed))
    late = np.maximum(failed.d_to - FAILED_WITHIN_KM, failed.d_from)

    def fall(of: Gaps, since: np.ndarray) -> np.ndarray:
        fell = model.unseen(of.known, of.d_to) - model.unseen(of.known, since)
        return np.maximum(fell, 1e-12)

    unseen, at_unseen = fall(gaps, gaps.d_from) * weight, fall(failed, late)
    last = model.log_survival(failed.known, failed.d_to).total - model.log_survival(failed.known, late).total
    at_seen = np.maximum(last - at_unseen, 1e-12)
    codes, labels = {}, {}
    for kind in KINDS:
        codes[kind], names = pd.factorize(group_names(pumps, kind))
        labels[kind] = [str(name) for name in names]
    factor = {kind: np.ones(len(labels[kind])) for kind in KINDS}
    mine = {kind: codes[kind][gaps.pump] for kind in KINDS}
    w = weight[gaps.failed]

    def product(rows: slice | np.ndarray, but: str = "") -> np.ndarray:
        out = np.ones(len(gaps.pump))[rows]
        for kind in KINDS:
            if kind != but and len(factor[kind]):
                out = out * np.where(mine[kind][rows] >= 0, factor[kind][mine[kind][rows]], 1.0)
        return out

    for _ in range(ROUNDS):
        for kind in KINDS:
            if not len(factor[kind]):
                continue
            m = product(gaps.failed) * at_unseen
            r = w * m / (at_seen + m)
            expected = unseen * product(slice(None), kind)
            known = mine[kind] >= 0
            ended = known[gaps.failed]
            size = len(factor[kind])
            seen = np.bincount(mine[kind][gaps.failed][ended], r[ended], size)
            should = np.bincount(mine[kind][known], expected[known], size)
            factor[kind] = (seen + BELIEF[kind]) / (should + BELIEF[kind])
    return {
        kind: {name: float(f) for name, f in zip(labels[kind], factor[kind], strict=True)} for kind in KINDS
    }


def on_the_books(p: Parameters, gaps: Gaps, weight: np.ndarray, pumps: pd.DataFrame) -> np.ndarray:
    """Return whether each gap (gaps,) lies in a depot whose failures are written down, by all signs."""
    code, names = pd.factorize(pumps["depot"])
    if len(names) < 2:
        return np.ones(len(gaps.pump), bool)
    model = risk_model(p)
    over = model.log_survival(gaps.known, gaps.d_to).total - model.log_survival(gaps.known, gaps.d_from).total
    depot = code[gaps.pump]
    known = depot >= 0
    expected = np.bincount(depot[known], (weight * over)[known], len(names))
    seen = np.bincount(depot[known], (weight * gaps.failed)[known], len(names))
    # Held against the other depots, not against a level of risk that is still being learned.
    rest = (seen.sum() - seen) / np.maximum(expected.sum() - expected, 1e-9)
    expected = expected * np.minimum(rest, 1.0)
    silent = np.asarray(pdtr(np.floor(seen), SILENT_SHARE * expected) < RARE)
    return np.asarray(~known | ~silent[depot])
