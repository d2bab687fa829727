"""Learn the fleet: how its pumps start, wear, drag and fail. Separate from scoring, and stored with its date.

Stages, each by maximum of a penalised likelihood (the penalty is the trade-knowledge prior below):
    exponents of the normalisation -> lines of current, ripple and speed (drift) -> wear (level, rate, power,
    noise) -> drag -> failure levels by interval likelihood, the sum over gaps of  log(1 - S) if failed in it,
    else log S
The priors are common practice, no source, and weak: a fleet with some dozen failures overrules them.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from analytics.drag import DragParameters, DragTrack, filter_drag
from analytics.drift import METRICS, DriftFit, fit_drift
from analytics.failure_risk import FailureParameters, RiskModel
from analytics.gaps import Gaps, make_gaps
from analytics.history import History, load_history
from analytics.model import METHOD_VERSION, Parameters, run_filters
from analytics.normalise import Channels, channels, fit_exponents
from analytics.tracks import make_tracks
from analytics.unrecorded import allow_for_unrecorded
from analytics.wear import WearParameters, filter_wear, indicator, with_types
from ingest.ledger import open_ledger

SAMPLE_PUMPS = 700  # failed, and as many others, that the slow likelihoods see; weighted to stand for all
TYPE_FAILURES = 8.0  # failures' worth of belief that a type fails like the rest

# name: (usual value, sd of its natural log)
WEAR_PRIOR = {
    "level_var": (1.2**2, 0.8),
    "rate": (4.0, 0.6),
    "rate_cv": (0.4, 0.3),
    "walk": (2.0, 1.2),
    "noise": (0.7**2, 1.0),
    "power": (1.3, 0.25),
}
DRAG_PRIOR = {
    "level_var": (0.05**2, 0.8),
    "noise": (0.012**2, 1.0),
    "scale_km": (280e3, 0.6),
    "growth": (0.09, 0.5),
    "growth_cv": (0.4, 0.3),
}
FAILURE_PRIOR = {
    "wear_level": (9.0, 0.5),
    "wear_spread": (0.3, 0.35),
    "drag_level": (0.25, 0.5),
    "drag_spread": (0.3, 0.35),
    "sudden_per_km": (1e-6, 0.8),
    "starts": (1.0, 0.5),
}
FILTER_PRIOR = (1.0e-6, 1.0e-6)  # ln torque per km on one filter: usual value and sd


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
    with open_ledger(ledger, read_only=False, wait_s=wait_s) as connection:
        rows = connection.execute(
            (Path(__file__).with_name("sql") / "store_fit.sql").read_text(encoding="utf-8"),
            [
                made.data_from,
                made.data_until,
                made.method_version,
                made.pumps,
                made.visits,
                made.failures,
                _to_json(made),
            ],
        ).fetchall()
    return replace(made, fit_id=rows[0][0])


def stored_fit(ledger: Path, as_of: date | None = None) -> Fit | None:
    """Return the newest stored fit of today's method whose data end by `as_of`, or None."""
    with open_ledger(ledger) as connection:
        rows = connection.execute(
            "SELECT fit_id, data_from, data_until, method_version, pumps, visits, failures, parameters"
            " FROM fit"
            " WHERE method_version = ? AND data_until <= coalesce(?, DATE '9999-12-31')"
            " ORDER BY data_until DESC, fit_id DESC LIMIT 1",
            [METHOD_VERSION, as_of],
        ).fetchall()
    if not rows:
        return None
    fit_id, data_from, data_until, version, pumps, visits, failures, parameters = rows[0]
    learned, drift = _from_json(parameters)
    return Fit(learned, drift, data_from, data_until, version, pumps, visits, failures, fit_id)


def _to_json(made: Fit) -> str:
    drift = {metric: found.to_plain() if found else None for metric, found in made.drift.items()}
    return json.dumps({"model": json.loads(made.parameters.to_json()), "drift": drift})


def _from_json(text: str) -> tuple[Parameters, dict[str, DriftFit | None]]:
    raw = json.loads(text)
    drift = {metric: DriftFit.from_plain(found) if found else None for metric, found in raw["drift"].items()}
    return Parameters.from_json(json.dumps(raw["model"])), drift


def fit_history(history: History) -> Fit:
    """Fit on a history; pure, nothing is stored."""
    pumps, visits = history.pumps, history.visits
    p = initial_parameters(history)
    drift: dict[str, DriftFit | None] = dict.fromkeys(METRICS)
    if len(visits):
        p = replace(p, exponents=fit_exponents(visits, pumps))
        history = allow_for_unrecorded(history, p.exponents)
        code = p.type_codes(pumps["pump_type"])
        drift = {m: fit_drift(history, code, len(p.types) - 1, p.exponents, m) for m in METRICS}
    sample, weight = _sample(history)
    if len(visits):
        made = channels(sample.visits, sample.pumps, p.exponents)
        p = _fit_wear(p, sample, made, weight)
        p = _fit_drag(p, sample, made, weight)
    filtered = run_filters(sample, p, keep=True)
    gaps = make_gaps(sample, filtered, p)
    p = _fit_failure(p, gaps, weight[gaps.pump])
    p = replace(p, drag_life_km=_drag_life(p), summary={"ratings": _ratings(p, gaps, weight[gaps.pump])})
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
        ),
        FailureParameters(
            failure["wear_level"],
            failure["wear_spread"] * failure["wear_level"],
            failure["drag_level"],
            failure["drag_spread"] * failure["drag_level"],
            failure["sudden_per_km"] * one,
            one,
            one,
        ),
        50e3,
        float(history.pumps["now_km"].max()) if len(history.pumps) else 0.0,
        {},
    )
    return replace(p, drag_life_km=_drag_life(p))


def _drag_life(p: Parameters) -> float:
    """Distance from the start of drag to failure, at the usual growth, with room for slow ones."""
    return 1.5 * p.failure.drag_level / p.drag.growth * 10e3


def _sample(history: History) -> tuple[History, np.ndarray]:
    """Return a smaller history and each pump's weight, so that weighted sums stand for all pumps."""
    pumps = history.pumps
    rng = np.random.default_rng(0)
    failed = pumps["failed"].to_numpy(bool)
    chosen, weights = [], []
    for group in (np.flatnonzero(failed), np.flatnonzero(~failed)):
        take = (
            group if len(group) <= SAMPLE_PUMPS else np.sort(rng.choice(group, SAMPLE_PUMPS, replace=False))
        )
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


def _maximise(
    objective: Callable[[dict[str, float]], float],
    prior: dict[str, tuple[float, float]],
    start: dict[str, float],
    rounds: int = 20,
) -> dict[str, float]:
    """Maximise log-likelihood + log prior over the natural logs of the named values."""
    names = list(prior)
    centre = np.log([prior[k][0] for k in names])
    sd = np.array([prior[k][1] for k in names])

    def cost(z: np.ndarray) -> float:
        value = objective(dict(zip(names, np.exp(centre + sd * z), strict=True)))
        return 1e12 if not np.isfinite(value) else -value + 0.5 * float(z @ z)

    z_0 = (np.log([start[k] for k in names]) - centre) / sd
    found = minimize(
        cost,
        np.clip(z_0, -5, 5),
        method="L-BFGS-B",
        bounds=[(-6, 6)] * len(names),
        options={"maxiter": rounds, "eps": 1e-3, "ftol": 2e-6},
    )
    return dict(zip(names, (float(v) for v in np.exp(centre + sd * found.x)), strict=True))


def _fit_wear(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    visits, pumps = sample.visits, sample.pumps
    pump = visits["pump"].to_numpy(int)
    code = p.type_codes(pumps["pump_type"])
    x = visits["x_km"].to_numpy(float)
    ripple_at = _first_levels(made.ripple, pump, code, len(p.types), 8.0)
    brush_at = _first_levels(made.brush, pump, code, len(p.types), 0.0)
    wear = replace(p.wear, ripple_at=ripple_at, brush_at=brush_at, level=ripple_at.copy())
    wear = replace(wear, **_brush_share(made, pump, x))  # type: ignore[arg-type]
    u = indicator(made.ripple, made.brush, code[pump], wear)
    tracks = make_tracks(pump, ~np.isnan(u), len(pumps))
    if not tracks.index:
        return replace(p, wear=wear)

    def likelihood(values: dict[str, float]) -> float:
        return float(weight @ filter_wear(_wear_with(wear, values), tracks, x, u, code).log_likelihood)

    counts = np.zeros(len(pumps), int)
    counts[tracks.order] = tracks.counts
    start = {k: v[0] for k, v in WEAR_PRIOR.items()}
    for rounds in (14, 6):
        start = _maximise(likelihood, WEAR_PRIOR, start, rounds)
        wear = _wear_with(wear, start)
        for _ in range(2):
            wear = with_types(wear, filter_wear(wear, tracks, x, u, code), counts, code)
        wear = replace(wear, level=_other(wear.level), rate=_other(wear.rate))
    return replace(p, wear=wear)


def _wear_with(wear: WearParameters, values: dict[str, float]) -> WearParameters:
    rate = wear.rate * (values["rate"] / wear.rate.mean())
    return replace(wear, **(values | {"rate": rate}))


def _drag_with(drag: DragParameters, values: dict[str, float]) -> DragParameters:
    return replace(drag, **values)  # type: ignore[arg-type]


def _other(by_type: np.ndarray) -> np.ndarray:
    """Give the entry for unknown types the mean of the known ones."""
    out = by_type.copy()
    if len(out) > 1:
        out[-1] = out[:-1].mean()
    return out


def _first_levels(
    value: np.ndarray, pump: np.ndarray, code: np.ndarray, types: int, usual: float
) -> np.ndarray:
    """Median of each type's first readings; the fleet's where a type has none."""
    ok = np.flatnonzero(~np.isnan(value))
    first = ok[np.unique(pump[ok], return_index=True)[1]]
    everything = float(np.median(value[first])) if len(first) else usual
    return np.array(
        [
            np.median(value[first][code[pump[first]] == t]) if np.any(code[pump[first]] == t) else everything
            for t in range(types)
        ]
    )


def _brush_share(made: Channels, pump: np.ndarray, x: np.ndarray) -> dict[str, float]:
    """How lost speed translates into ripple points, and the weight it deserves beside ripple.

    Both channels rise with the same wear, so distance serves as the instrument for their ratio:
    points = sum(d ripple * d x) / sum(d brush * d x) over first-to-last differences within pumps.
    """
    both = np.flatnonzero(~np.isnan(made.ripple) & ~np.isnan(made.brush))
    none = {"brush_weight": 0.0, "brush_points": 0.0}
    if len(both) < 60:
        return none
    who = pump[both]
    first = np.unique(who, return_index=True)[1]
    last = np.concatenate([first[1:], [len(both)]]) - 1
    long = x[both[last]] - x[both[first]] > 20e3
    a, b = both[first[long]], both[last[long]]
    if len(a) < 20:
        return none
    dx = x[b] - x[a]
    d_ripple, d_brush = made.ripple[b] - made.ripple[a], made.brush[b] - made.brush[a]
    d_brush = np.clip(d_brush, *np.quantile(d_brush, [0.02, 0.98]))
    d_ripple = np.clip(d_ripple, *np.quantile(d_ripple, [0.02, 0.98]))
    slope = dx @ d_brush / (dx @ dx)
    se = np.sqrt(np.sum(dx**2 * (d_brush - slope * dx) ** 2)) / (dx @ dx)
    ratio = dx @ d_ripple / (dx @ d_brush)
    if slope < 4 * se or ratio <= 0:  # speed does not follow wear in this fleet
        return none
    same = pump[both][1:] == pump[both][:-1]
    noise = [
        (1.4826 * np.median(np.abs(np.diff(v[both])[same]))) ** 2 / 2
        for v in (made.ripple, made.brush * ratio)
    ]
    return {"brush_weight": float(noise[0] / (noise[0] + noise[1])), "brush_points": float(ratio)}


def _fit_drag(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    visits, pumps = sample.visits, sample.pumps
    pump = visits["pump"].to_numpy(int)
    code = p.type_codes(pumps["pump_type"])
    x, filter_km = visits["x_km"].to_numpy(float), visits["filter_km"].to_numpy(float)
    tracks = make_tracks(pump, ~np.isnan(made.load), len(pumps))
    if not tracks.index:
        return p
    drag = replace(
        p.drag,
        level=_first_levels(made.load, pump, code, len(p.types), 0.0),
        filter_per_km=_filter_effect(made.load, pump, x, filter_km),
    )

    def run(with_these: DragParameters) -> DragTrack:
        return filter_drag(
            with_these, tracks, x, made.load, made.load_noise, filter_km, code, life_km=p.drag_life_km
        )

    def likelihood(values: dict[str, float]) -> float:
        return float(weight @ run(_drag_with(drag, values)).log_likelihood)

    start = {k: v[0] for k, v in DRAG_PRIOR.items()}
    for rounds in (14, 6):
        start = _maximise(likelihood, DRAG_PRIOR, start, rounds)
        drag = _drag_with(drag, start)
        state = run(drag).state
        seen = np.zeros(len(pumps), bool)
        seen[tracks.order] = tracks.counts > 0
        # The own level of pumps without drag tells the type's; pulled to nothing, as every type is well seen.
        own = np.where(state.started < 0.5, state.b, np.nan)
        level = drag.level.copy()
        for t in range(len(level)):
            mine = own[seen & (code == t) & ~np.isnan(own)]
            if len(mine) >= 3:
                level[t] = np.median(mine)
        drag = replace(drag, level=level)
    return replace(p, drag=replace(drag, level=_other(drag.level)))


def _filter_effect(load: np.ndarray, pump: np.ndarray, x: np.ndarray, filter_km: np.ndarray) -> float:
    """Rise of the load per km on one filter, from the steps at filter changes (normal prior FILTER_PRIOR)."""
    ok = np.flatnonzero(~np.isnan(load))
    same = pump[ok][1:] == pump[ok][:-1]
    d_load, d_filter = np.diff(load[ok])[same], np.diff(filter_km[ok])[same]
    change = d_filter < -1e3
    usual, sd = FILTER_PRIOR
    if change.sum() < 5:
        return usual
    # Without a change the load rises by drag and filter alike; only changes tell them apart.
    d_load, d_filter = (
        d_load[change] - np.median(d_load[~change]),
        d_filter[change] - np.median(d_filter[~change]),
    )
    spread = 1.4826 * np.median(np.abs(d_load - np.median(d_load)))
    d_load = np.clip(d_load, np.median(d_load) - 3 * spread, np.median(d_load) + 3 * spread)
    precision = 1 / sd**2 + d_filter @ d_filter / spread**2
    return float(max((usual / sd**2 + d_filter @ d_load / spread**2) / precision, 0.0))


def _fit_failure(p: Parameters, gaps: Gaps, weight: np.ndarray) -> Parameters:
    """Learn failure levels, their spread, the sudden hazard and how often drag starts unseen."""
    k = len(p.types)

    def with_values(v: dict[str, float], factor: np.ndarray) -> Parameters:
        failure = FailureParameters(
            v["wear_level"],
            v["wear_spread"] * v["wear_level"],
            v["drag_level"],
            v["drag_spread"] * v["drag_level"],
            v["sudden_per_km"] * factor,
            factor,
            factor,
        )
        return replace(p, failure=failure, drag=replace(p.drag, starts=np.full(k, v["starts"])))

    def gap_hazard(made: Parameters) -> np.ndarray:
        model = RiskModel(made.wear, made.drag, made.failure)
        after = model.log_survival(gaps.known, gaps.d_to).total
        before = model.log_survival(gaps.known, gaps.d_from).total
        return np.maximum(after - before, 1e-9)

    def likelihood(values: dict[str, float]) -> float:
        hazard = gap_hazard(with_values(values, np.ones(k)))
        return float(weight @ np.where(gaps.failed, np.log(-np.expm1(-hazard)), -hazard))

    values = _maximise(likelihood, FAILURE_PRIOR, {name: v[0] for name, v in FAILURE_PRIOR.items()})
    expected = weight * gap_hazard(with_values(values, np.ones(k)))
    code = gaps.known.type_code
    seen = np.bincount(code, weight * gaps.failed, k)
    factor = (seen + TYPE_FAILURES) / (np.bincount(code, expected, k) + TYPE_FAILURES)
    return with_values(values, factor)


def _ratings(p: Parameters, gaps: Gaps, weight: np.ndarray) -> dict[str, list[float]]:
    """Past readings grouped by the hazard they were rated at, with how many were followed by a failure."""
    model = RiskModel(p.wear, p.drag, p.failure)
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
        "n": np.add.reduceat(w, cut[:-1]).tolist(),
        "k": np.add.reduceat(k, cut[:-1]).tolist(),
    }
