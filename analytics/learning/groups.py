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
from scipy.special import expit, gammaln

from analytics.learning.failure import FAILED_WITHIN_KM, FLEET_FAILURES
from analytics.learning.gaps import Gaps
from analytics.wear_model.exposure import KINDS, Groups, group_names
from analytics.wear_model.model import Parameters, risk_model

BELIEF = {"depot": 8.0, "class": 8.0, "lot": 5.0}  # failures' worth: common practice, no source
ROUNDS = 6
# One depot in thirteen keeps its failures from the books, all but a share, and half of these call them by no
# reason at all; untold: pumps' worth of belief about how often that is usual. Common practice, no source.
SILENT_ODDS = 1 / 12
SILENT_SHARES = (0.05, 0.15, 0.25, 0.35)  # each as likely
UNTOLD_SHARE, UNTOLD = 0.5, 0.5


def learn_groups(p: Parameters, gaps: Gaps, weight: np.ndarray, pumps: pd.DataFrame) -> Groups:
    """Return the factors of depots, classes and lots; weight (gaps,), less where failures
    may be off the books."""
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
    """Return the chance (gaps,) that each gap lies in a depot whose failures are written down.

    Two counts of a depot speak, each negative binomial, the Poisson mean spread by BELIEF: its failures, of
    which each of SILENT_SHARES is written down where they are kept from the books; and the pumps that it took
    off without a reason, which the other failures are then called in UNTOLD_SHARE of such depots.
    """
    code, names = pd.factorize(pumps["depot"])
    if len(names) < 2:
        return np.ones(len(gaps.pump))
    model = risk_model(p)
    over = model.log_survival(gaps.known, gaps.d_to).total - model.log_survival(gaps.known, gaps.d_from).total
    of_pump = np.zeros(len(pumps))
    of_pump[gaps.pump] = weight
    untold = pumps["removed"] & ~pumps["failed"] & (pumps["removal"].isna() | (pumps["removal"] == "other"))
    untold &= pumps["found"] != "tested_good"

    def by_depot(value: np.ndarray, depot: np.ndarray) -> np.ndarray:
        return np.bincount(depot[depot >= 0], value[depot >= 0], len(names))

    expected = by_depot(weight * over, code[gaps.pump])
    seen = by_depot(weight * gaps.failed, code[gaps.pump])
    off = by_depot(of_pump * untold.to_numpy(float), code)
    # Held against the other depots, not against a level of risk that is still being learned.
    others = expected.sum() - expected + FLEET_FAILURES
    expected = expected * np.minimum((seen.sum() - seen + FLEET_FAILURES) / others, 1.0)
    usual = expected * (off.sum() - off + UNTOLD) / others
    written = _log_chance(seen, expected) + _log_chance(off, usual)
    kept = [
        _log_chance(seen, share * expected)
        + np.logaddexp(
            np.log(UNTOLD_SHARE) + _log_chance(off, usual + (1 - share) * expected),
            np.log(1 - UNTOLD_SHARE) + _log_chance(off, usual),
        )
        for share in SILENT_SHARES
    ]
    odds = np.log(SILENT_ODDS / len(kept)) + np.logaddexp.reduce(kept, axis=0) - written
    depot = code[gaps.pump]
    return np.where(depot >= 0, expit(-odds)[depot], 1.0)


def _log_chance(seen: np.ndarray, mean: np.ndarray) -> np.ndarray:
    """Return the natural log of the chance of `seen` where `mean` is expected, spread by a depot's belief."""
    a, mean = BELIEF["depot"], np.maximum(mean, 1e-9)
    ways = gammaln(seen + a) - gammaln(seen + 1) - gammaln(a)
    return np.asarray(ways + a * np.log(a / (a + mean)) + seen * np.log(mean / (a + mean)))
