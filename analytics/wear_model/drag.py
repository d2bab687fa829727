"""Drag of bearing or contamination: the load channel above the pump's own level, from an unknown distance on.

Two hypotheses go side by side, each a Kalman filter with a good and a wild variant of every reading:
    not started   G = b + f * (distance since the filter was new) + noise
    started       G = b + f * (...) + D + noise,   D grows at a rate of its own
Between two visits drag starts with probability 1 - exp(-(L(x2) - L(x1))), L(x) = (x/scale)**shape; a newly
started drag is merged into the started one by matching moments (generalised pseudo-Bayes, Ackerson & Fu
1970). Its posterior chance and level feed the risk. Delay-time idea: Christer & Waller 1984.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from analytics.wear_model.level_rate import LOG_2PI, LevelRate, Value, merge, predict, update, weigh
from analytics.wear_model.tracks import Track, Tracks, run_over

UNIT_KM = 10e3
# Where a capture is wild in ripple and speed, the chance that its average is too: a slipped clamp, a wrong
# wire, another pump (common practice, no source).
ALSO_WILD = 0.8


@dataclass(frozen=True)
class DragParameters:
    """Natural-log units of torque; growth per 10,000 km. `level` and `starts` are per pump type (types,).

    While learning, values may be columns, as those of WearParameters.
    """

    level: np.ndarray
    level_var: Value
    noise: Value
    filter_per_km: float
    scale_km: Value
    shape: Value
    starts: np.ndarray  # factor on L(x) by type
    growth: Value
    growth_cv: Value
    walk: float = 1e-5
    bad: Value = 0.02


class DragState(NamedTuple):
    """Chance that drag has started, the state if so, and own level and its variance if not. All (n,), or
    (sets, n)."""

    started: np.ndarray
    drag: LevelRate
    b: np.ndarray
    bb: np.ndarray

    @property
    def shown(self) -> np.ndarray:
        """Mean of the drag, 0 as far as it has not started."""
        return self.started * np.maximum(self.drag.w, 0.0)

    @property
    def shown_variance(self) -> np.ndarray:
        """Variance of the drag, of which it is not certain either that it has started."""
        return self.started * (self.drag.ww + (1 - self.started) * np.maximum(self.drag.w, 0.0) ** 2)


class InWear(NamedTuple):
    """What a wear reading shows of drag: all that its forecast leaves over, in ln torque.

    y (n,); r, bad: variance of a good reading and share of wild ones; blur: variance of the forecast.
    """

    y: np.ndarray
    r: Value
    bad: Value
    blur: np.ndarray


def cumulative_starts(x_km: np.ndarray, p: DragParameters) -> np.ndarray:
    """Return (x/scale)**shape, before the type's factor."""
    return (np.maximum(x_km, 0.0) / p.scale_km) ** p.shape


def _new_drag(p: DragParameters, b: np.ndarray, bb: np.ndarray, span: np.ndarray) -> LevelRate:
    """State of a drag that started anywhere in the last `span` (10,000 km)."""
    g, v = p.growth, (p.growth * p.growth_cv) ** 2
    zero = np.zeros(np.broadcast_shapes(np.shape(g), np.shape(bb)))
    # D = rate * age, age uniform on [0, span]
    ww = (g * g + v) * span**2 / 3 - (g * span / 2) ** 2
    return LevelRate(b + zero, g * span / 2, g + zero, bb + zero, zero, zero, ww, v * span / 2, v + zero)


def prior(p: DragParameters, type_code: np.ndarray) -> DragState:
    """Return the state of new pumps: not started."""
    zero = np.zeros(len(type_code))
    drag = _new_drag(p, p.level[type_code], p.level_var + zero, zero)
    return DragState(np.zeros(drag.b.shape), LevelRate(*np.broadcast_arrays(*drag)), drag.b, drag.bb)


def _update_level(
    b: np.ndarray, bb: np.ndarray, y: np.ndarray, r: np.ndarray, bad: Value
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As level_rate.update for the own level alone."""
    seen = ~np.isnan(y)
    e = np.where(seen, y - b, 0.0)
    total, _, gain, second = weigh(e, bb, r, bad)
    shrink = gain - e * e * (second - gain * gain)
    return (
        np.where(seen, b + bb * gain * e, b),
        np.where(seen, bb - bb * bb * shrink, bb),
        np.where(seen, total - 0.5 * LOG_2PI, 0.0),
    )


def advance(
    p: DragParameters,
    state: DragState,
    x_from: np.ndarray,
    x_to: np.ndarray,
    starts: np.ndarray,
    y: np.ndarray,
    r: np.ndarray,
    life_km: float,
    wild: Value = 0.0,
    in_wear: InWear | None = None,
) -> tuple[DragState, np.ndarray]:
    """Move from one visit to the next and take in its reading; return the state and log-likelihood.

    wild: chance that the visit's other measures were wild; in_wear: the wear reading, where drag shows in it.

    A pump still running can't have dragged for longer than about `life_km`, so older starts don't count.
    """
    since = np.maximum(x_from, x_to - life_km)
    p_new = -np.expm1(-starts * (cumulative_starts(x_to, p) - cumulative_starts(since, p)))
    was = state.started
    now = was + (1 - was) * p_new
    in_wear_not, wild_not = (0.0, wild) if in_wear is None else _without_drag(in_wear)
    b, bb, l_not = _update_level(state.b, state.bb, y, r, _bad(p, wild_not))
    l_not = l_not + in_wear_not
    ahead = predict(state.drag, (x_to - x_from) / UNIT_KM, p.walk)
    old, l_old = _with_drag(p, ahead, y, r, wild, in_wear)
    fresh = _new_drag(p, state.b, state.bb, (x_to - since) / UNIT_KM)
    new, l_new = _with_drag(p, fresh, y, r, wild, in_wear)
    # A hypothesis without any weight must not set the scale.
    top = np.maximum(l_not, np.where(was > 0, l_old, -np.inf))
    top = np.maximum(top, np.where(p_new > 0, l_new, -np.inf))
    w_not = (1 - now) * np.exp(l_not - top)
    w_old = was * np.exp(np.minimum(l_old - top, 0.0))
    w_new = (1 - was) * p_new * np.exp(np.minimum(l_new - top, 0.0))
    w_drag = w_old + w_new
    total = w_not + w_drag
    share_old = np.where(w_drag > 0, w_old / np.where(w_drag > 0, w_drag, 1), 0.0)
    return DragState(np.minimum(w_drag / total, 1 - 1e-9), merge(old, new, share_old), b, bb), np.log(
        total
    ) + top


def _with_drag(
    p: DragParameters, state: LevelRate, y: np.ndarray, r: np.ndarray, wild: Value, in_wear: InWear | None
) -> tuple[LevelRate, np.ndarray]:
    """Take in the readings where drag has started; return the state and their log-likelihood."""
    of_wear: Value = 0.0
    if in_wear is not None:
        state, of_wear, wild = update(state, in_wear.y, in_wear.r, in_wear.bad, level=0.0, blur=in_wear.blur)
    state, of_load, _ = update(state, y, r, _bad(p, wild))
    return state, of_wear + of_load


def _without_drag(in_wear: InWear) -> tuple[np.ndarray, np.ndarray]:
    """Log-likelihood of the wear reading where no drag has started, and the chance that it was wild."""
    seen = ~np.isnan(in_wear.y)
    total, wild, *_ = weigh(np.where(seen, in_wear.y, 0.0), in_wear.blur, in_wear.r, in_wear.bad)
    return np.where(seen, total - 0.5 * LOG_2PI, 0.0), np.where(seen, wild, 0.0)


def _bad(p: DragParameters, wild: Value) -> Value:
    """Share of load readings that are wild where other measures of the visit are so with chance `wild`."""
    return p.bad + (ALSO_WILD - p.bad) * wild


def filter_drag(
    p: DragParameters,
    tracks: Tracks,
    x_km: np.ndarray,
    load: np.ndarray,
    noise_factor: np.ndarray,
    filter_km: np.ndarray,
    type_code: np.ndarray,
    *,
    life_km: float,
    wild: np.ndarray,
) -> Track[DragState]:
    """Run both hypotheses over all visits, as if drag showed in the load alone.

    Visit arrays are (visits,), type_code (pumps,); wild: from `filter_wear`.
    """
    code = type_code[tracks.order]
    starts, new = p.starts[..., code], prior(p, code)
    y, r = load - p.filter_per_km * filter_km, p.noise * noise_factor

    def step(state: DragState, before: np.ndarray, rows: np.ndarray) -> tuple[DragState, np.ndarray]:
        own = starts[..., : len(rows)]
        return advance(p, state, before, x_km[rows], own, y[rows], r[..., rows], life_km, wild[rows])

    return run_over(tracks, x_km, new, step)
