"""Learn the fleet: how its pumps start, wear, drag and fail. Separate from scoring, and stored with its date.

Stages, each by maximum of a penalised likelihood, the penalty being the trade-knowledge prior of its module:
    exponents of the normalisation -> lines of current, ripple and speed (drift) -> wear (learn_wear.py) ->
    drag (learn_drag.py) -> what drag adds to ripple and lost speed, and wear without it -> failure levels
    (learn_failure.py) -> drag again with how lives ended -> failure levels again -> long-run cost under the
    cost rule (long_run.py)
The priors are common practice, no source, and weak: a fleet with some dozen failures overrules them.
"""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.learning.drag import DRAG_PRIOR, FILTER_PRIOR, MOST_AT_ONCE, learn_drag, refine_drag
from analytics.learning.failure import FAILURE_PRIOR, learn_failure
from analytics.learning.gaps import Gaps, make_gaps, runs_with_damage_counts
from analytics.learning.groups import learn_groups, on_the_books
from analytics.learning.onsets import (
    initial_onsets,
    keep_what_tells,
    learn_onset_failures,
    learn_onsets,
    refine_onsets,
)
from analytics.learning.wear import WEAR_PRIOR, learn_drag_points, learn_wear, refine_wear
from analytics.money.long_run import RATIOS, LongRun, learn_long_run
from analytics.past.history import History, load_history
from analytics.past.normalise import CIRCUMSTANCES, channels, fit_exponents
from analytics.statements import statement
from analytics.trend.drift import DriftFit, fit_drift
from analytics.wear_model.drag import DragParameters
from analytics.wear_model.failure_risk import FailureParameters
from analytics.wear_model.model import METHOD_VERSION, Parameters, risk_model, run_filters
from analytics.wear_model.onsets import NAMES
from analytics.wear_model.unrecorded import allow_for_unrecorded
from analytics.wear_model.wear import WearParameters
from ingest.author import PROGRAM
from ingest.ledger.connection import open_ledger
from ingest.ledger.numbers import new_id
from ingest.ledger.settings import settings_at
from ingest.ledger.transaction import transaction
from ingest.metrics import trended
from ingest.settings_in_force import Settings, by_name

log = logging.getLogger(__name__)
RESTS_ON = (
    "reference_supply_v",
    "idle_hour_miles",
)  # settings that must not have changed since
SAMPLE_PUMPS = 700  # failed, and as many others, that the slow likelihoods see; weighted to stand for all
READ_PUMPS = 300  # the same where readings alone tell: each pump has several, and but one end


@dataclass(frozen=True)
class Fit:
    """A stored fit: parameters learned from facts dated `data_from` to `data_until`.

    drift: by metric; None where too few pumps have two readings of it.
    """

    parameters: Parameters
    drift: dict[str, DriftFit | None]
    data_from: date | None
    data_until: date
    method_version: int
    pumps: int
    visits: int
    failures: int
    fit_id: int | None = None


def fit(ledger: Path, as_of: date | None = None) -> Fit:
    """Fit on everything known by `as_of` (default: all) and store it in the ledger; return the fit."""
    history = load_history(ledger, as_of)
    return store_fit(ledger, fit_history(history))


def store_fit(ledger: Path, made: Fit, *, wait_s: float = 3.0) -> Fit:
    """Store a fit and return it with its id."""
    row = {name: getattr(made, name) for name in ("data_from", "data_until", "method_version")}
    row |= {name: getattr(made, name) for name in ("pumps", "visits", "failures")}
    row["parameters"] = _to_json(made)
    with (
        open_ledger(ledger, read_only=False, wait_s=wait_s) as connection,
        transaction(connection, PROGRAM, "work") as stamp,
    ):
        fit_id = new_id(connection, "fit")
        connection.execute(statement("store_fit"), row | {"fit_id": fit_id, "fitted_at": stamp.at})
    return replace(made, fit_id=fit_id)


def stored_fit(ledger: Path, as_of: date | None = None, settings: Settings | None = None) -> Fit | None:
    """Return the newest readable fit of today's method whose data end by `as_of`, or None.

    settings: a fit serves only where it rests on the same (default: the latest).

    One that can't be read, or that another program stored in another shape, is passed over with a warning.
    """
    with open_ledger(ledger) as connection:
        known = connection.execute(
            statement("fits_known"),
            [METHOD_VERSION, as_of],
        ).fetchall()
        settings = settings or settings_at(connection)
        in_force = {name: by_name(settings, name) for name in RESTS_ON}
        for (fit_id,) in known:
            [(*facts, text)] = connection.execute(
                statement("fit"),
                [fit_id],
            ).fetchall()
            try:
                learned, drift = _from_json(text)
                if learned.summary["rests_on"] != in_force:
                    continue
            except (ValueError, KeyError, TypeError, AttributeError, IndexError):
                log.warning(
                    "Stored fit %d can't be read as one of method %d, so it is left aside and the fleet "
                    "learned anew where no other fit serves; readings and visits are untouched.",
                    fit_id,
                    METHOD_VERSION,
                )
                continue
            return Fit(learned, drift, *facts, fit_id)  # type: ignore[call-arg]
    return None


def _to_json(made: Fit) -> str:
    drift = {metric: found.to_plain() if found else None for metric, found in made.drift.items()}
    return json.dumps({"model": json.loads(made.parameters.to_json()), "drift": drift})


def _from_json(text: str) -> tuple[Parameters, dict[str, DriftFit | None]]:
    """Read what `_to_json` wrote; raises ValueError, KeyError or TypeError for anything else."""
    raw = json.loads(text)
    found = {m.name: raw["drift"][m.name] for m in trended()}
    drift = {metric: DriftFit.from_plain(of) if of else None for metric, of in found.items()}
    p = Parameters.from_json(json.dumps(raw["model"]))
    _demand_shapes(p, drift)
    return p, drift


def _demand_shapes(p: Parameters, drift: dict[str, DriftFit | None]) -> None:
    """Raise ValueError unless every array has the size that the types call for."""
    types = len(p.types)
    wanted: list[tuple[Any, tuple[int, ...]]] = [(p.exponents.of[m.name], (3,)) for m in trended()]
    wanted += [(p.exponents.beside[m.name], (len(CIRCUMSTANCES),)) for m in trended()]
    onsets = [(getattr(p.onsets, name), ()) for name in NAMES]
    for part, unused in ((p.wear, ("ripple_at", "brush_at")), (p.drag, ()), (p.failure, ()), *onsets):
        for f in fields(part):
            value = getattr(part, f.name)
            if f.name not in unused or len(value):  # these two stand empty while nothing was learned
                wanted.append((value, (types,) if f.type == "np.ndarray" else ()))
    long_run = LongRun.from_plain(p.summary["long_run"])
    wanted.append((long_run.per_km, (len(long_run.types), len(RATIOS))))
    for line in drift.values():
        if line is not None:
            wanted += [(line.line, (types, 2)), (line.line_cov, (types, 2, 2)), (line.pump_cov, (2, 2))]
    for value, shape in wanted:
        if np.asarray(value, float).shape != shape:
            raise ValueError(f"expected an array of {shape}")


def fit_history(history: History) -> Fit:
    """Fit on a history; pure, nothing is stored."""
    pumps, visits = history.pumps, history.visits
    p = initial_parameters(history)
    drift: dict[str, DriftFit | None] = dict.fromkeys(m.name for m in trended())
    if len(visits):
        p = replace(p, exponents=fit_exponents(visits, pumps))
        history = allow_for_unrecorded(history, p.exponents)
        code = p.type_codes(pumps["pump_type"])
        drift = {m: fit_drift(history, code, len(p.types) - 1, p.exponents, m) for m in drift}
    sample, weight = _sample(history, SAMPLE_PUMPS)
    failures = int(pumps["failed"].sum())
    if len(visits):
        p = _learn_from_readings(p, *_sample(history, READ_PUMPS))
        made = channels(sample.visits, sample.pumps, p.exponents)
        gaps = make_gaps(sample, run_filters(sample, p, keep=True), p)
        counted = weight[gaps.pump] * runs_with_damage_counts(gaps, failures)
        p = learn_failure(p, gaps, counted, failures=failures, by_type=False)
        p = learn_onset_failures(p, gaps, counted, failures)
        told = counted * on_the_books(p, gaps, weight[gaps.pump], sample.pumps)
        p = keep_what_tells(p, gaps, told, failures)
        p = refine_wear(p, sample, made, weight)
        p = refine_drag(p, sample, made, weight)
        p = refine_onsets(p, sample, made, weight)
    gaps = make_gaps(sample, run_filters(sample, p, keep=True), p)
    counted = weight[gaps.pump] * runs_with_damage_counts(gaps, failures)
    told = counted * on_the_books(p, gaps, weight[gaps.pump], sample.pumps)
    p = learn_onset_failures(p, gaps, told, failures)
    p = learn_failure(p, gaps, told, failures=failures)
    p = replace(p, groups=learn_groups(p, gaps, told, sample.pumps))
    p = replace(p, drag_life_km=_drag_life(p))
    summary = {
        "ratings": _ratings(p, gaps, weight[gaps.pump]),
        "long_run": learn_long_run(history, p).to_plain(),
        "watched_km": watched_km(pumps),
        "rests_on": {name: by_name(history.settings, name) for name in RESTS_ON},
    }
    p = replace(p, summary=summary)
    first = visits["day"].min() if len(visits) else None
    return Fit(
        p,
        drift,
        None if first is None else date.fromordinal(date(1970, 1, 1).toordinal() + int(first)),
        history.as_of,
        METHOD_VERSION,
        len(pumps),
        len(visits),
        int(pumps["failed"].sum()),
    )


def watched_km(pumps: pd.DataFrame) -> float:
    """Return over what distance of own clock these pumps' failures are on record, in km."""
    return float((pumps["now_km"] - pumps["entry_km"]).clip(lower=0.0).sum())


def _learn_from_readings(p: Parameters, sample: History, weight: np.ndarray) -> Parameters:
    """Learn all damages as readings show them; how they end pumps is learned later."""
    made = channels(sample.visits, sample.pumps, p.exponents)
    p = learn_wear(p, sample, made, weight)
    p = learn_drag(p, sample, made, weight)
    p = learn_onsets(p, sample, made, weight)
    p = learn_drag_points(p, sample, made, weight)
    return learn_drag(p, sample, made, weight) if p.wear.drag_points > 0 else p  # the indicator tells of it


def initial_parameters(history: History) -> Parameters:
    """Return the trade-knowledge priors as parameters."""
    types = (*sorted(set(history.pumps["pump_type"].dropna())), "")
    one = np.ones(len(types))
    wear, drag, failure = (
        {k: v[0] for k, v in prior.items()} for prior in (WEAR_PRIOR, DRAG_PRIOR, FAILURE_PRIOR)
    )
    exponents = fit_exponents(history.visits.iloc[:0], history.pumps)
    p = Parameters(
        types,
        exponents,
        WearParameters(
            8.0 * one,
            wear["level_var"],
            wear["rate"] * one,
            wear["rate_cv"],
            wear["walk"],
            wear["noise"],
            wear["power"],
        ),
        DragParameters(
            0.0 * one,
            drag["level_var"],
            drag["noise"],
            FILTER_PRIOR[0],
            drag["scale_km"],
            1.4,
            one,
            drag["growth"],
            drag["growth_cv"],
            most_at_once=MOST_AT_ONCE * failure["drag_level"],
        ),
        FailureParameters(
            failure["wear_level"] * one,
            failure["wear_spread"] * failure["wear_level"] * one,
            failure["drag_level"],
            failure["drag_spread"] * failure["drag_level"],
            failure["sudden_per_km"] * one,
            one,
            one,
        ),
        initial_onsets(len(types)),
        {},
        50e3,
        float(history.pumps["now_km"].max()) if len(history.pumps) else 0.0,
        {},
    )
    return replace(p, drag_life_km=_drag_life(p))


def _drag_life(p: Parameters) -> float:
    """Distance from the start of drag to failure, at the usual growth, with room for slow ones."""
    return float(1.5 * p.failure.drag_level / p.drag.growth * 10e3)


def _sample(history: History, most: int) -> tuple[History, np.ndarray]:
    """Return a history of at most so many failed pumps and so many others, and each pump's weight, so that
    weighted sums stand for all pumps."""
    pumps = history.pumps
    rng = np.random.default_rng(0)
    failed = pumps["failed"].to_numpy(bool)
    chosen, weights = [], []
    for group in (np.flatnonzero(failed), np.flatnonzero(~failed)):
        take = group if len(group) <= most else np.sort(rng.choice(group, most, replace=False))
        chosen.append(take)
        weights.append(np.full(len(take), len(group) / max(len(take), 1)))
    rows = np.concatenate(chosen)
    order = np.argsort(rows)
    rows, weight = rows[order], np.concatenate(weights)[order]
    place = np.full(len(pumps), -1)
    place[rows] = np.arange(len(rows))
    visits = history.visits
    if len(rows) < len(pumps):
        at = place[visits["pump"].to_numpy(int)]
        visits = visits[at >= 0].assign(pump=at[at >= 0]).reset_index(drop=True)
    return replace(history, pumps=pumps.iloc[rows].reset_index(drop=True), visits=visits), weight


def _ratings(p: Parameters, gaps: Gaps, weight: np.ndarray) -> dict[str, list[float]]:
    """Past readings grouped by the hazard per km they were rated at, with its mean, and how many a failure
    followed."""
    model = risk_model(p)
    hazard = (
        model.log_survival(gaps.known, gaps.d_to).total - model.log_survival(gaps.known, gaps.d_from).total
    )
    rated = (gaps.order_number > 0) & (gaps.d_to > gaps.d_from)
    if rated.sum() < 20:
        return {}
    rate = (hazard / np.maximum(gaps.d_to - gaps.d_from, 1.0))[rated]
    order = np.argsort(rate)
    w, k, rate = weight[rated][order], (weight * gaps.failed)[rated][order], rate[order]
    # Groups of equal size, finer toward the high end, where decisions are made.
    part = 1 - np.array([1, 0.7, 0.5, 0.35, 0.25, 0.17, 0.12, 0.08, 0.05, 0.03, 0.015])
    ends = np.searchsorted(np.cumsum(w) / w.sum(), part[1:])
    cut = np.unique(np.concatenate([[0], ends, [len(w)]]))
    while len(cut) > 2 and cut[-1] - cut[-2] < 15:
        cut = np.delete(cut, -2)
    edges = [0.0, *rate[cut[1:-1]].tolist(), float("inf")]
    return {
        "edges": [min(e, 1e9) for e in edges],
        "mean": (np.add.reduceat(w * rate, cut[:-1]) / np.add.reduceat(w, cut[:-1])).tolist(),
        "n": np.add.reduceat(w, cut[:-1]).tolist(),
        "k": np.add.reduceat(k, cut[:-1]).tolist(),
    }
