"""Learn failure levels, their spread and the sudden hazard from what followed each visit.

log-likelihood = sum over gaps of log S;  where the pump failed, log S up to its last stretch, plus
log(1 - S) over that, plus log P(what the strip-down found | failed)
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from analytics.learning.gaps import FOUND, Gaps, says_itself
from analytics.learning.shrinking import Columns, Prior, maximise
from analytics.wear_model.failure_risk import CAUSES, FailureParameters, Known, onset_survival
from analytics.wear_model.model import Parameters, risk_model
from analytics.wear_model.onsets import NAMES, OnsetParameters, Onsets

HARMLESS = (0.1, 0.7)  # and no more than MOST_HARMLESS
MOST_HARMLESS = 0.7
FAILURE_PRIOR: Prior = {
    "wear_level": (9.0, 0.5),
    "wear_spread": (0.3, 0.35),
    "drag_level": (0.25, 0.5),
    "drag_spread": (0.3, 0.35),
    "sudden_per_km": (1e-6, 0.8),
    "starts": (1.0, 0.5),
    "harmless": HARMLESS,
}
# In a fleet without failures pumps that run on with damage move the level at which such ends one up by no
# more than this, of its natural log, and what readings show of it down to no less than this share of what the
# trade knows; both are let go as failures come (gaps.ENOUGH_FAILURES). Common practice, no source.
MOST_MOVED = 0.25
LEAST_FACTOR = 0.5
TYPE_PRIOR: Prior = {
    "level": (1.0, 0.15),
    "starts": (1.0, 0.4),
    "sudden": (1.0, 0.4),
}  # of a type, times the fleet's
TYPE_FAILURES = 8.0  # failures' worth of belief that a type fails like the rest, by each cause
CAUSE_FAILURES = 8.0  # the same that the fleet fails by each cause as by all of them
FLEET_FAILURES = 3.0  # the same that it fails by all of them as the formulas say: mean lives differ fourfold
FOUND_WRONG = (
    0.15  # chance that a strip-down names another cause than the true one: common practice, no source
)
FOUND_AS: dict[str, tuple[str, ...]] = {  # what a strip-down calls a pump that failed by each cause
    "wear": ("worn",),
    "drag": ("seized",),
    "sudden": ("electrical",),
    "hydraulic": ("worn",),
    "commutator": ("worn", "electrical"),
    "brush": ("worn",),
}
FAILED_WITHIN_KM = 1000.0  # a failure is dated no better than this


def _found_if() -> np.ndarray:
    """P(found | cause), (causes, FOUND and, last, nobody looked), in the order of CAUSES and FOUND."""
    made = np.ones((len(CAUSES), len(FOUND) + 1))
    for row, cause in enumerate(CAUSES):
        right = np.array([name in FOUND_AS[cause] for name in FOUND])
        made[row, :-1] = np.where(right, (1 - FOUND_WRONG) / right.sum(), FOUND_WRONG / (~right).sum())
    return made


FOUND_IF = _found_if()
FIRST = len(CAUSES) - len(NAMES)  # causes before those with an onset of their own channel


def learn_failure(
    p: Parameters, gaps: Gaps, weight: np.ndarray, *, failures: float, by_type: bool = True
) -> Parameters:
    """Learn failure levels, their spread, the sudden hazard and how often drag starts unseen.

    First for the fleet, then each type's own departures from it (TYPE_PRIOR), then a factor on what is left.
    failures: on record in the fleet.
    """
    k = len(p.types)
    one = np.ones(k)
    onsets = _of_onsets(p, gaps)
    values = maximise(
        lambda v: _first_likelihood(_failure_with(p, v, one, one, one), onsets, gaps, weight),
        FAILURE_PRIOR,
        {name: usual for name, (usual, _) in FAILURE_PRIOR.items()},
        20 if by_type else 10,
        most=farthest(FAILURE_PRIOR, failures),
    )
    if not by_type:
        return _failure_with(p, values, one, one, one)
    own = {name: np.ones(k) for name in TYPE_PRIOR}
    code = gaps.known.type_code
    for t in np.unique(code):
        rows = np.flatnonzero(code == t)
        mine, mine_weight = gaps.take(rows), weight[rows]
        theirs = _of_onsets(p, mine)

        def likelihood(
            v: Columns, mine: Gaps = mine, w: np.ndarray = mine_weight, theirs: Others = theirs
        ) -> np.ndarray:
            parts = (v[name] * one for name in TYPE_PRIOR)
            return _first_likelihood(_failure_with(p, values, *parts), theirs, mine, w)

        if mine.failed.any():
            found = maximise(likelihood, TYPE_PRIOR, {name: 1.0 for name in TYPE_PRIOR}, 10)
            for name, value in found.items():
                own[name][t] = value
    made = _failure_with(p, values, *own.values())
    factor = cause_factors(gap_hazards(made, gaps), gaps, weight, k)
    often, kept = _parted(factor["drag"], failures)
    failure = replace(
        made.failure,
        sudden_per_km=made.failure.sudden_per_km * factor["sudden"],
        wear_factor=factor["wear"],
        drag_factor=kept,
    )
    factored = {}
    for name in NAMES:
        of: OnsetParameters = getattr(p.onsets, name)
        more, held = _parted(of.factor * factor[name], failures)
        factored[name] = replace(of, factor=held, starts=of.starts * more)
    drag = replace(made.drag, starts=made.drag.starts * often)
    return replace(made, failure=failure, drag=drag, onsets=Onsets(**factored))


def farthest(prior: Prior, failures: float) -> dict[str, float]:
    """Return the highest levels, by the names of `prior`, to which pumps that run on may move where damages
    end a pump."""
    left = 1 - says_itself(failures)
    levels = ("drag_level", "fails_at") if left > 0 else ()
    return {name: prior[name][0] * np.exp(MOST_MOVED / left) for name in levels if name in prior}


def least_factor(failures: float) -> float:
    """Return how far damage that readings show counts at least, of what the trade knows of it."""
    return LEAST_FACTOR * (1 - says_itself(failures))


def _parted(factor: np.ndarray, failures: float) -> tuple[np.ndarray, np.ndarray]:
    """Part a damage's factor (types,) into one on how often it starts, and one on all it does, no less than
    `least_factor`: a fleet without failures may say that damage is rare, but not that it does no harm."""
    kept = np.maximum(factor, least_factor(failures))
    return np.where(kept > 0, factor / np.where(kept > 0, kept, 1.0), 1.0), kept


def cause_factors(hazards: GapHazards, gaps: Gaps, weight: np.ndarray, k: int) -> dict[str, np.ndarray]:
    """Return by cause (types,): failures seen over those expected, each type drawn toward the fleet.

    A gamma prior worth FLEET_FAILURES about 1 for all causes together, CAUSE_FAILURES about that for each,
    TYPE_FAILURES about the fleet's for a type. Without the first six causes would hold a fleet to the trade's
    usual lives with the weight of six times CAUSE_FAILURES.
    """
    rows = np.flatnonzero(gaps.failed)
    joint = hazards.at_failure * FOUND_IF[:, gaps.found[rows]]
    seen = weight[rows] * joint / joint.sum(0)
    expected = weight * hazards.over
    level = (seen.sum() + FLEET_FAILURES) / (expected.sum() + FLEET_FAILURES)
    fleet = (seen.sum(1) + CAUSE_FAILURES * level) / (expected.sum(1) + CAUSE_FAILURES)
    code = gaps.known.type_code
    return {
        name: (np.bincount(code[rows], s, k) + TYPE_FAILURES * f) / (np.bincount(code, e, k) + TYPE_FAILURES)
        for name, s, e, f in zip(CAUSES, seen, expected, fleet, strict=True)
    }


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
    return replace(
        p,
        failure=failure,
        drag=replace(p.drag, starts=v["starts"] * starts, harmless=np.minimum(v["harmless"], MOST_HARMLESS)),
    )


class GapHazards(NamedTuple):
    """Fall of -ln S by cause, in the order of CAUSES: `over` each gap (causes, gaps), and `at_failure`, over
    the last FAILED_WITHIN_KM before each failure (causes, failures); (causes, sets, ...) for several sets."""

    over: np.ndarray
    at_failure: np.ndarray


def gap_hazards(p: Parameters, gaps: Gaps) -> GapHazards:
    """Return what each gap's −ln S falls by, cause by cause."""
    model = risk_model(p)
    return _falls(lambda known, d: model.log_survival(known, d).array, gaps)


def _falls(fall: Callable[[Known, np.ndarray], np.ndarray], gaps: Gaps) -> GapHazards:
    """Return what -ln S falls by, `fall` telling it from a visit on, (..., n)."""
    failed = gaps.take(np.flatnonzero(gaps.failed))
    late = np.maximum(failed.d_to - FAILED_WITHIN_KM, failed.d_from)
    over = fall(gaps.known, gaps.d_to)
    at_failure = over[..., gaps.failed] - fall(failed.known, late)
    entered = np.flatnonzero(gaps.d_from > 0)  # at its visit nothing has fallen yet
    if len(entered):
        over[..., entered] -= fall(gaps.known.take(entered), gaps.d_from[entered])
    return GapHazards(np.maximum(over, 1e-9), np.maximum(at_failure, 1e-9))


def gap_likelihood(p: Parameters, gaps: Gaps, weight: np.ndarray) -> np.ndarray:
    """Sum over gaps of log S, and where it failed of log P(in its last stretch) + log P(found | failed).

    () or, for several sets of parameters, (sets,).
    """
    over, at_failure = gap_hazards(p, gaps)
    found = FOUND_IF[:, gaps.found[gaps.failed]]
    told = (at_failure * found.reshape(len(CAUSES), *(1,) * (at_failure.ndim - 2), -1)).sum(0)
    return _summed(over.sum(0), at_failure.sum(0), told, gaps, weight)


def _summed(
    over: np.ndarray, at_failure: np.ndarray, told: np.ndarray, gaps: Gaps, weight: np.ndarray
) -> np.ndarray:
    """Return the likelihood from sums over causes; told: the same of at_failure times P(found | cause)."""
    # Survived up to the last stretch, then failed in it: -(over - total) + log(1 - exp(-total)).
    ended = at_failure + np.log(-np.expm1(-at_failure) * told / at_failure)
    return ended @ weight[gaps.failed] - over @ weight


class Others(NamedTuple):
    """Sums over all causes but one: of `over` (gaps,), of `at_failure` and of that times P(found | cause)
    (failures,)."""

    over: np.ndarray
    at_failure: np.ndarray
    told: np.ndarray


def _of_onsets(p: Parameters, gaps: Gaps) -> Others:
    """Return what the damages with an onset bring, which stand while the others are learned."""
    model = risk_model(p)
    over, at_failure = _falls(lambda known, d: np.array(model.of_onsets(known, d)), gaps)
    told = at_failure * FOUND_IF[FIRST:, gaps.found[gaps.failed]]
    return Others(over.sum(0), at_failure.sum(0), told.sum(0))


def _first_likelihood(p: Parameters, onsets: Others, gaps: Gaps, weight: np.ndarray) -> np.ndarray:
    """As `gap_likelihood`, where only wear, drag and sudden failure are tried."""
    model = risk_model(p)
    over, at_failure = _falls(lambda known, d: np.array(np.broadcast_arrays(*model.of_first(known, d))), gaps)
    found = FOUND_IF[:FIRST, gaps.found[gaps.failed]]
    told = (at_failure * found.reshape(FIRST, *(1,) * (at_failure.ndim - 2), -1)).sum(0)
    return _summed(
        over.sum(0) + onsets.over, at_failure.sum(0) + onsets.at_failure, told + onsets.told, gaps, weight
    )


def other_hazards(p: Parameters, gaps: Gaps, name: str) -> Others:
    """Return what all causes but `name` bring."""
    over, at_failure = gap_hazards(p, gaps)
    rest = np.array([cause != name for cause in CAUSES])
    told = at_failure * FOUND_IF[:, gaps.found[gaps.failed]]
    return Others(over[rest].sum(0), at_failure[rest].sum(0), told[rest].sum(0))


def with_others_likelihood(
    p: OnsetParameters, name: str, others: Others, gaps: Gaps, weight: np.ndarray
) -> np.ndarray:
    """As `gap_likelihood`, where only the parameters of the damage `name` are tried."""
    over, at_failure = _falls(
        lambda known, d: np.array(onset_survival(p, getattr(known.begun, name), known, d)), gaps
    )
    found = FOUND_IF[CAUSES.index(name), gaps.found[gaps.failed]]
    total = at_failure + others.at_failure
    return _summed(over + others.over, total, at_failure * found + others.told, gaps, weight)
