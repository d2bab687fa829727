"""Learn wear: level, rate and their spread by pump type, power of distance, wander, noise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from analytics.learning.failure import gap_likelihood
from analytics.learning.gaps import last_gaps
from analytics.learning.shrinking import MOST_BAD, Columns, Prior, first_levels, maximise, mean_for_others
from analytics.past.history import History
from analytics.past.normalise import Channels
from analytics.wear_model.model import Parameters
from analytics.wear_model.onsets import filter_one
from analytics.wear_model.readings import Readings
from analytics.wear_model.wear import WearParameters, with_types

WEAR_PRIOR: Prior = {
    "level_var": (1.2**2, 0.8),
    "rate": (4.0, 0.6),
    "rate_cv": (0.4, 0.3),
    "walk": (2.0, 1.2),
    "noise": (0.7**2, 1.0),
    "power": (1.3, 0.25),
    "bad": (0.006, 1.0),
}
ENDS_TELL = ("rate", "rate_cv", "walk", "power")  # what refine_wear learns again
DRAG_POINTS = np.geomspace(1.0, 200.0, 40)[:, None]  # tried, a column
CLEAR_RISE = 4.0
CLEAR_GAIN = 5.0  # of log-likelihood: 3.2 standard errors from 0


def learn_wear(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    """Learn wear from the readings, as if drag left no trace in them; weight (pumps,) of the sample."""
    visits, pumps = sample.visits, sample.pumps
    pump = visits["pump"].to_numpy(int)
    code = p.type_codes(pumps["pump_type"])
    ripple_at = first_levels(made.ripple, pump, code, len(p.types), 8.0)
    brush_at = first_levels(made.brush, pump, code, len(p.types), 0.0)
    wear = replace(p.wear, ripple_at=ripple_at, brush_at=brush_at, level=ripple_at.copy())
    wear = replace(wear, **_brush_share(made, pump, visits["x_km"].to_numpy(float)))  # type: ignore[arg-type]
    p = replace(p, wear=wear)
    return _learn_from(Readings(p, sample, made), p, weight)


def learn_drag_points(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    """Learn how much of drag shows in the wear indicator, and wear again beside it.

    Taken up only where the likelihood of all readings gains more than CLEAR_GAIN by it, against ripple that
    goes its own way, be it slowly or at once (commutator damage): else drag is torque alone, as the
    linearised motor has it.
    """
    read = Readings(p, sample, made)
    if not (read.counts(read.u) @ weight and read.counts(made.load) @ weight):
        return p
    without = read.together(p.wear, p.drag).log_likelihood @ weight
    if p.wear.brush_weight == 0:
        without = max(without, (_own_way(read) + read.with_drag(p.drag).log_likelihood) @ weight)
    for _ in range(2):
        tried = read.together(replace(p.wear, drag_points=DRAG_POINTS), p.drag).log_likelihood @ weight
        best = int(tried.argmax())
        if tried[best] - without < CLEAR_GAIN * weight.mean():
            return p
        p = replace(p, wear=replace(p.wear, drag_points=float(DRAG_POINTS[best, 0])))
        read = Readings(p, sample, made)
        p = _learn_from(read, p, weight)
    return p


def _own_way(read: Readings) -> np.ndarray:
    """Log-likelihood of ripple by commutator damage alone, (pumps,), of the points it is told in."""
    ripple = read.shown["commutator"]
    of_log = filter_one(read.p.onsets.commutator, read.tracks, read.x_km, ripple, read.code).log_likelihood
    return of_log - np.bincount(read.pump, np.nan_to_num(ripple.y), len(of_log))


def refine_wear(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    """Learn rate, wander and power again, from readings and from what came after each pump's last one.

    Fast wear leaves few readings, as it soon ends in failure: readings alone would call wear slow.
    """
    read = Readings(p, sample, made)
    if np.isnan(read.u).all():
        return p

    def likelihood(values: Columns) -> np.ndarray:
        wear = _paced(p.wear, values)
        told = read.with_wear(wear)
        ends = last_gaps(sample, told, read.begun, read.code)
        return told.log_likelihood @ weight + gap_likelihood(replace(p, wear=wear), ends, weight)

    start = {"rate": float(p.wear.rate.mean())} | {name: getattr(p.wear, name) for name in ENDS_TELL[1:]}
    values = maximise(likelihood, {name: WEAR_PRIOR[name] for name in ENDS_TELL}, start, 10)
    return replace(p, wear=_paced(p.wear, values))


def _learn_from(read: Readings, p: Parameters, weight: np.ndarray) -> Parameters:
    """Maximum of the penalised likelihood of the readings over wear, by type."""
    if np.isnan(read.u).all():
        return p
    wear, counts = p.wear, read.counts(read.u)

    def likelihood(values: Columns) -> np.ndarray:
        return read.with_wear(_wear_with(wear, values)).log_likelihood @ weight

    start = {k: v[0] for k, v in WEAR_PRIOR.items()}
    for rounds in (14, 6):
        start = maximise(likelihood, WEAR_PRIOR, start, rounds)
        wear = _wear_with(wear, start)
        for _ in range(2):
            wear = with_types(wear, read.with_wear(wear).state.wear, counts, read.code)
        wear = replace(wear, level=mean_for_others(wear.level), rate=mean_for_others(wear.rate))
    return replace(p, wear=wear)


def _wear_with(wear: WearParameters, values: Mapping[str, Any]) -> WearParameters:
    return replace(_paced(wear, values), bad=np.minimum(values["bad"], MOST_BAD))


def _paced(wear: WearParameters, values: Mapping[str, Any]) -> WearParameters:
    """Return `wear` with the values, `rate` being the mean of the types' rates."""
    rate = wear.rate * (values["rate"] / wear.rate.mean())
    return replace(wear, **(dict(values) | {"rate": rate}))


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
    if not (_follows(dx, d_brush) and _follows(dx, d_ripple)):  # they don't show one and the same wear
        return none
    ratio = dx @ d_ripple / (dx @ d_brush)
    same = pump[both][1:] == pump[both][:-1]
    noise = [
        (1.4826 * np.median(np.abs(np.diff(v[both])[same]))) ** 2 / 2
        for v in (made.ripple, made.brush * ratio)
    ]
    return {"brush_weight": float(noise[0] / (noise[0] + noise[1])), "brush_points": float(ratio)}


def _follows(dx: np.ndarray, dy: np.ndarray) -> bool:
    """Whether a channel rises with distance beyond CLEAR_RISE standard errors."""
    slope = dx @ dy / (dx @ dx)
    se = np.sqrt(np.sum(dx**2 * (dy - slope * dx) ** 2)) / (dx @ dx)
    return bool(slope >= CLEAR_RISE * se)
