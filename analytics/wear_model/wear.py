"""Brush and commutator wear: ripple (with lost speed on known volts) above the pump's own level.

    u(x) = b + W(x) + noise,   W grows linearly in t = (x / 100,000 km)**power at a rate of its own,
    the rate itself a random walk; rate ~ N(type's, sd^2), b ~ N(type's, sd^2)
General path model after Lu & Meeker 1993, in state-space form.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from analytics.wear_model.level_rate import LevelRate, Value, predict, update
from analytics.wear_model.tracks import Track, Tracks, run_over

UNIT_KM = 100e3


@dataclass(frozen=True)
class WearParameters:
    """Fleet-wide, `level` and `rate` per pump type: (types,). Ripple points, t in (100,000 km)**power.

    drag_points: what a drag of 1 (ln torque) adds to the indicator where drag shows as ripple and lost speed.

    While learning, a value may be a column (sets, 1), to try several side by side; results are (sets, n)
    then.
    """

    level: np.ndarray
    level_var: Value
    rate: np.ndarray
    rate_cv: Value
    walk: Value
    noise: Value
    power: Value
    bad: Value = 0.02
    brush_weight: float = 0.0  # share of the brush channel in u
    brush_points: float = 0.0  # ripple points per unit of the brush channel
    drag_points: Value = 0.0
    ripple_at: np.ndarray = field(default_factory=lambda: np.zeros(0))  # (types,) usual first ripple
    brush_at: np.ndarray = field(default_factory=lambda: np.zeros(0))  # (types,) usual first brush channel


def clock(x_km: np.ndarray, power: Value) -> np.ndarray:
    """Return t = (x / 100,000 km)**power."""
    return (np.maximum(x_km, 0.0) / UNIT_KM) ** power


def indicator(ripple: np.ndarray, brush: np.ndarray, type_code: np.ndarray, p: WearParameters) -> np.ndarray:
    """Return u (visits,): ripple averaged with lost speed told in ripple points; one alone where one is
    missing."""
    if p.brush_weight == 0:  # so it is too where nothing was learned, and no type has usual readings yet
        return ripple
    from_speed = p.ripple_at[type_code] + p.brush_points * (brush - p.brush_at[type_code])
    both = (1 - p.brush_weight) * ripple + p.brush_weight * from_speed
    return np.where(np.isnan(both), np.where(np.isnan(ripple), from_speed, ripple), both)


def indicator_opened(of_ripple: np.ndarray, of_brush: np.ndarray, p: WearParameters) -> np.ndarray:
    """Return by what variance the pump's own level of u is open, (visits,), from the channels' (Hints)."""
    w = p.brush_weight
    return np.asarray((1 - w) ** 2 * of_ripple + (w * p.brush_points) ** 2 * of_brush)


def prior(p: WearParameters, type_code: np.ndarray) -> LevelRate:
    """Return the state of new pumps."""
    zero = np.zeros(len(type_code))
    level, rate = p.level[type_code], p.rate[..., type_code]
    bb, ss = p.level_var + zero, (p.rate_cv * rate) ** 2
    return LevelRate(*np.broadcast_arrays(level, zero, rate, bb, zero, zero, zero, zero, ss))


def filter_wear(
    p: WearParameters,
    tracks: Tracks,
    x_km: np.ndarray,
    u: np.ndarray,
    type_code: np.ndarray,
    opened: np.ndarray,
) -> tuple[Track[LevelRate], np.ndarray]:
    """Run the filter alone, as if drag left no trace in u; x_km, u and opened (of u) are (visits,), type_code
    (pumps,).

    Returns the track, told along `clock`, and the chance that each reading was wild by what was known until
    then, (visits,) or (sets, visits).
    """
    new = prior(p, type_code[tracks.order])
    wild = np.zeros((*new.b.shape[:-1], len(x_km)))
    t = clock(x_km, p.power)

    def step(
        state: LevelRate, before: np.ndarray, rows: np.ndarray, _: slice
    ) -> tuple[LevelRate, np.ndarray]:
        h = np.maximum(t[..., rows] - before, 0.0)
        ahead = predict(state, h, p.walk)
        ahead = ahead._replace(bb=ahead.bb + opened[rows])
        state, gained, wild[..., rows] = update(ahead, u[rows], p.noise, p.bad)
        return state, gained

    return run_over(tracks, t, new, step), wild


def with_types(
    p: WearParameters, state: LevelRate, counts: np.ndarray, type_code: np.ndarray
) -> WearParameters:
    """Move each type's level and rate to what its pumps show, pulled toward the fleet's (one EM step).

    state: (pumps,) after their last readings, counts (pumps,) of them.
    """
    k = len(p.rate)
    seen = counts > 0
    code = type_code[seen]
    rate_var = (p.rate_cv * p.rate[code]) ** 2
    fleet = float(np.average(p.rate, weights=np.bincount(type_code, minlength=k) + 1e-9))
    out = []
    for mean, var, prior_var, own in (
        (state.s[seen], state.ss[seen], rate_var, p.rate),
        (state.b[seen], state.bb[seen], np.full(seen.sum(), p.level_var), p.level),
    ):
        known = np.clip(1 - var / prior_var, 1e-6, 1.0)
        moved = np.bincount(code, mean - own[code], k) / np.maximum(np.bincount(code, known, k), 1e-9)
        precision = np.bincount(code, known / prior_var, k)
        out.append((own + np.clip(moved, -0.5 * np.abs(own), 0.5 * np.abs(own)), precision))
    (rate, rate_precision), (level, level_precision) = out
    prior_precision = 1 / (0.25 * fleet) ** 2
    rate = (rate * rate_precision + fleet * prior_precision) / (rate_precision + prior_precision)
    usual = float(np.average(level, weights=level_precision + 1e-9))
    level = (level * level_precision + usual / 9.0) / (level_precision + 1 / 9.0)
    return replace(p, rate=np.maximum(rate, 0.05), level=level)
