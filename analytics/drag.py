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

from analytics.level_rate import LOG_2PI, LevelRate, Value, merge, predict, update, weigh
from analytics.tracks import Tracks

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

    def take(self, rows: slice | np.ndarray) -> DragState:
        """Return the states of `rows`."""
        return DragState(self.started[..., rows], self.drag.take(rows), self.b[..., rows], self.bb[..., rows])


@dataclass(frozen=True)
class DragTrack:
    """As WearTrack. shown: (visits,), the drag likeliest after each visit's reading, 0 where not started."""

    state: DragState
    x_km: np.ndarray
    log_likelihood: np.ndarray
    per_visit: list[DragState]
    shown: np.ndarray


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
) -> tuple[DragState, np.ndarray]:
    """Move from one visit to the next and take in its reading; return the state and log-likelihood.

    wild: chance that the visit's other measures were wild.

    A pump still running can't have dragged for longer than about `life_km`, so older starts don't count.
    """
    bad = p.bad + (ALSO_WILD - p.bad) * wild
    since = np.maximum(x_from, x_to - life_km)
    p_new = -np.expm1(-starts * (cumulative_starts(x_to, p) - cumulative_starts(since, p)))
    was = state.started
    now = was + (1 - was) * p_new
    b, bb, l_not = _update_level(state.b, state.bb, y, r, bad)
    old, l_old, _ = update(predict(state.drag, (x_to - x_from) / UNIT_KM, p.walk), y, r, bad)
    new, l_new, _ = update(_new_drag(p, state.b, state.bb, (x_to - since) / UNIT_KM), y, r, bad)
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
    wild: np.ndarray | None = None,
    keep: bool = False,
) -> DragTrack:
    """Run both hypotheses over all visits; visit arrays are (visits,), type_code (pumps,).

    wild: as in `advance`, by visit (WearTrack.wild).
    """
    n = len(type_code)
    code = type_code[tracks.order]
    starts = p.starts[..., code]
    state = prior(p, code)
    y = load - p.filter_per_km * filter_km
    r = p.noise * noise_factor
    x_last = np.zeros(n)
    log_likelihood = np.zeros(np.shape(state.b))
    shown = np.zeros((*np.shape(state.b)[:-1], len(x_km)))
    done: list[DragState] = []
    history: list[DragState] = []
    for rows in tracks.index:
        m = len(rows)
        if m < state.b.shape[-1]:
            done.append(state.take(slice(m, None)))
            state = state.take(slice(0, m))
        state, gained = advance(
            p,
            state,
            x_last[:m],
            x_km[rows],
            starts[..., :m],
            y[rows],
            r[..., rows],
            life_km,
            0.0 if wild is None else wild[rows],
        )
        x_last[:m] = x_km[rows]
        log_likelihood[..., :m] += gained
        shown[..., rows] = state.shown
        if keep:
            history.append(state)
    done.append(state)
    done.reverse()
    joined = DragState(
        np.concatenate([d.started for d in done], axis=-1),
        LevelRate(*(np.concatenate([d.drag[i] for d in done], axis=-1) for i in range(9))),
        np.concatenate([d.b for d in done], axis=-1),
        np.concatenate([d.bb for d in done], axis=-1),
    )
    back = np.empty(n, int)
    back[tracks.order] = np.arange(n)
    return DragTrack(joined.take(back), x_last[back], log_likelihood[..., back], history, shown)
