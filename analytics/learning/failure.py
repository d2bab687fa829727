"""Learn failure levels, their spread and the sudden hazard from what followed each visit.

log-likelihood = sum over gaps of log S;  where the pump failed, log S up to its last stretch, plus
log(1 - S) over that, plus log P(what the strip-down found | failed)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from analytics.learning.gaps import Gaps
from analytics.learning.shrinking import Columns, Prior, maximise
from analytics.wear_model.failure_risk import FailureParameters, LogSurvival, RiskModel
from analytics.wear_model.model import Parameters

FAILURE_PRIOR: Prior = {
    "wear_level": (9.0, 0.5),
    "wear_spread": (0.3, 0.35),
    "drag_level": (0.25, 0.5),
    "drag_spread": (0.3, 0.35),
    "sudden_per_km": (1e-6, 0.8),
    "starts": (1.0, 0.5),
}
TYPE_PRIOR: Prior = {
    "level": (1.0, 0.15),
    "starts": (1.0, 0.4),
    "sudden": (1.0, 0.4),
}  # of a type, times the fleet's
TYPE_FAILURES = 8.0  # failures' worth of belief that a type fails like the rest, by each cause
CAUSE_FAILURES = 8.0  # the same that the fleet fails by each cause as the formulas say
FOUND_WRONG = (
    0.15  # chance that a strip-down names another cause than the true one: common practice, no source
)
FAILED_WITHIN_KM = 1000.0  # a failure is dated no better than this


def learn_failure(p: Parameters, gaps: Gaps, weight: np.ndarray, *, by_type: bool = True) -> Parameters:
    """Learn failure levels, their spread, the sudden hazard and how often drag starts unseen.

    First for the fleet, then each type's own departures from it (TYPE_PRIOR), then a factor on what is left.
    """
    k = len(p.types)
    one = np.ones(k)
    values = maximise(
        lambda v: gap_likelihood(_failure_with(p, v, one, one, one), gaps, weight),
        FAILURE_PRIOR,
        {name: usual for name, (usual, _) in FAILURE_PRIOR.items()},
        20 if by_type else 10,
    )
    if not by_type:
        return _failure_with(p, values, one, one, one)
    own = {name: np.ones(k) for name in TYPE_PRIOR}
    code = gaps.known.type_code
    for t in np.unique(code):
        rows = np.flatnonzero(code == t)
        mine, mine_weight = gaps.take(rows), weight[rows]

        def likelihood(v: Columns, mine: Gaps = mine, w: np.ndarray = mine_weight) -> np.ndarray:
            parts = (v[name] * one for name in TYPE_PRIOR)
            return gap_likelihood(_failure_with(p, values, *parts), mine, w)

        if mine.failed.any():
            found = maximise(likelihood, TYPE_PRIOR, {name: 1.0 for name in TYPE_PRIOR}, 10)
            for name, value in found.items():
                own[name][t] = value
    made = _failure_with(p, values, *own.values())
    wear, drag, sudden = _cause_factors(_gap_hazards(made, gaps), gaps, weight, k)
    return replace(
        made,
        failure=replace(
            made.failure,
            sudden_per_km=made.failure.sudden_per_km * sudden,
            wear_factor=wear,
            drag_factor=drag,
        ),
    )


def _cause_factors(hazards: GapHazards, gaps: Gaps, weight: np.ndarray, k: int) -> np.ndarray:
    """Return (3, types): failures seen over those expected by cause, each type drawn toward the fleet.

    A gamma prior worth CAUSE_FAILURES about 1 for the fleet, TYPE_FAILURES about the fleet's for a type.
    """
    rows = np.flatnonzero(gaps.failed)
    share = hazards.at_failure / hazards.at_failure.sum(0)
    likely = np.where(np.arange(3)[:, None] == gaps.cause[rows], 1 - FOUND_WRONG, FOUND_WRONG / 2)
    joint = share * np.where(gaps.cause[rows] >= 0, likely, 1.0)
    seen = weight[rows] * joint / joint.sum(0)
    expected = weight * hazards.over
    fleet = (seen.sum(1) + CAUSE_FAILURES) / (expected.sum(1) + CAUSE_FAILURES)
    code = gaps.known.type_code
    by_type = [
        (np.bincount(code[rows], s, k) + TYPE_FAILURES * f) / (np.bincount(code, e, k) + TYPE_FAILURES)
        for s, e, f in zip(seen, expected, fleet, strict=True)
    ]
    return np.array(by_type)


def _failure_with(
    p: Parameters, v: Mapping[str, Any], level: np.ndarray, starts: np.ndarray, sudden: np.ndarray
) -> Parameters:
    """Return `p` with the fleet's values `v` and each type's factors on them, (types,) each (or (sets,
    types))."""
    one = np.ones(np.shape(level)[-1])
    failure = FailureParameters(
        v["wear_level"] * level,
        v["wear_spread"] * v["wear_level"] * level,
        v["drag_level"],
        v["drag_spread"] * v["drag_level"],
        v["sudden_per_km"] * sudden,
        one,
        one,
    )
    return replace(p, failure=failure, drag=replace(p.drag, starts=v["starts"] * starts))


class GapHazards(NamedTuple):
    """Fall of -ln S by wear, drag and sudden failure: `over` each gap (3, gaps), and `at_failure`, over the
    last FAILED_WITHIN_KM before each failure (3, failures); (3, sets, ...) for several sets of parameters."""

    over: np.ndarray
    at_failure: np.ndarray


def _gap_hazards(p: Parameters, gaps: Gaps) -> GapHazards:
    model = RiskModel(p.wear, p.drag, p.failure)
    failed = gaps.take(np.flatnonzero(gaps.failed))
    late = np.maximum(failed.d_to - FAILED_WITHIN_KM, failed.d_from)
    after, before = (_by_cause(model.log_survival(gaps.known, d)) for d in (gaps.d_to, gaps.d_from))
    at_failure = after[..., gaps.failed] - _by_cause(model.log_survival(failed.known, late))
    return GapHazards(np.maximum(after - before, 1e-9), np.maximum(at_failure, 1e-9))


def _by_cause(parts: LogSurvival) -> np.ndarray:
    return np.array(np.broadcast_arrays(*parts))


def gap_likelihood(p: Parameters, gaps: Gaps, weight: np.ndarray) -> np.ndarray:
    """Sum over gaps of log S, and where it failed of log P(in its last stretch) + log P(found | failed).

    () or, for several sets of parameters, (sets,).
    """
    over, at_failure = _gap_hazards(p, gaps)
    failed, cause = gaps.failed, gaps.cause[gaps.failed]
    total = at_failure.sum(0)
    row = np.broadcast_to(np.maximum(cause, 0), total.shape)
    share = np.take_along_axis(at_failure, row[None], 0)[0] / total
    found = np.where(cause >= 0, share * (1 - 1.5 * FOUND_WRONG) + FOUND_WRONG / 2, 1.0)
    # Survived up to the last stretch, then failed in it: -(over - total) + log(1 - exp(-total)).
    return (total + np.log(-np.expm1(-total) * found)) @ weight[failed] - over.sum(0) @ weight
