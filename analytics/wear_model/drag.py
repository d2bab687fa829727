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

from analytics.past.signs import Flow, Hints
from analytics.wear_model.level_rate import (
    LOG_2PI,
    LevelRate,
    Value,
    merge,
    parted,
    predict,
    stacked,
    update,
    weigh,
    where_seen,
)
from analytics.wear_model.tracks import Track, Tracks, put, run_over, take

UNIT_KM = 10e3
# Where a capture is wild in ripple and speed, the chance that its average is too: a slipped clamp, a wrong
# wire, another pump (common practice, no source).
ALSO_WILD = 0.8
FAR_CV = 1.0  # how far growth differs after a start that came at once: no source, too
ASIDE_FLOW = 2.0  # ln delivery lost for each of load that a cause beside the pump shifts: no source, too
FLOW_CAUSES = 0.7  # share of causes beside the pump that take from the delivery: no source, too
FLOW_BAD = 0.1  # share of deliveries and pressures that say nothing of the pump: no source, too
LEAST_LOG = -600.0  # of a likelihood beside another: its exponential is not nought yet
ASIDE_STAYS_KM = 20e3  # how long a cause beside the pump lasts that nobody names (common practice, no source)


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
    jump: Value = 0.0  # what there is at once where it starts, its mean and standard deviation
    jump_sd: Value = 0.0
    at_once_per_km: Value = 0.0  # how often it starts with a jump of anything up to `most_at_once`
    most_at_once: float = 1.0
    aside_per_km: Value = 0.0  # how often something beside the pump shifts the channel; 0: never
    aside_sd: Value = 0.0  # how far, either way
    harmless: Value = 0.0  # of what passes for a damage that has started, the share that ends no pump
    flow_points: Value = 0.0  # ln delivery lost for a damage of 1; 0: the damage takes none


class Aside(NamedTuple):
    """Chance that something beside the pump shifts the channel, either way; if so, own level b and shift o
    with their variances and covariance. All (n,), or (sets, n)."""

    p: np.ndarray
    b: np.ndarray
    o: np.ndarray
    bb: np.ndarray
    bo: np.ndarray
    oo: np.ndarray


class DragState(NamedTuple):
    """Chance that drag has started, the state if so, own level and its variance if not, and the same with
    something beside the pump. All (n,), or (sets, n)."""

    started: np.ndarray
    drag: LevelRate
    b: np.ndarray
    bb: np.ndarray
    aside: Aside

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
    """Return (x/scale)**shape + x * at_once_per_km, before the type's factor."""
    x = np.maximum(x_km, 0.0)
    return np.asarray((x / p.scale_km) ** p.shape + x * p.at_once_per_km)


def _new_drag(
    p: DragParameters,
    b: np.ndarray,
    bb: np.ndarray,
    span: np.ndarray,
    jump: Value,
    jump_sd: Value,
    growth_cv: Value,
) -> LevelRate:
    """State of a drag that started anywhere in the last `span` (10,000 km) with such a jump."""
    g, v = p.growth, (p.growth * growth_cv) ** 2
    sets = (np.shape(value) for value in (g, jump, p.scale_km, p.shape))
    zero = np.zeros(np.broadcast_shapes(*sets, np.shape(bb)))
    # D = jump + rate * age, age uniform on [0, span]
    ww = (g * g + v) * span**2 / 3 - (g * span / 2) ** 2 + jump_sd**2
    w = jump + g * span / 2
    return LevelRate(b + zero, w + zero, g + zero, bb + zero, zero, zero, ww, v * span / 2, v + zero)


def far_jump(p: DragParameters) -> tuple[float, float]:
    """Mean and standard deviation of a jump that may be anything up to `most_at_once`."""
    return p.most_at_once / 2, p.most_at_once / 12**0.5


def _either(
    one: LevelRate, l_one: np.ndarray, other: LevelRate, l_other: np.ndarray, share: np.ndarray
) -> tuple[LevelRate, np.ndarray]:
    """Merge two states; before a reading of these likelihoods the other holds with chance `share`."""
    top = np.maximum(l_one, l_other)
    # Of a reading beyond all belief one may be as nothing beside the other, which has no share: 0 / 0.
    w_one = (1 - share) * np.exp(np.maximum(l_one - top, LEAST_LOG))
    w_other = share * np.exp(np.maximum(l_other - top, LEAST_LOG))
    return merge(one, other, w_one / (w_one + w_other)), np.log(w_one + w_other) + top


def prior(p: DragParameters, type_code: np.ndarray) -> DragState:
    """Return the state of new pumps: not started."""
    zero = np.zeros(len(type_code))
    drag = LevelRate(
        *np.broadcast_arrays(
            *_new_drag(p, p.level[type_code], p.level_var + zero, zero, p.jump, p.jump_sd, p.growth_cv)
        )
    )
    none = np.zeros(drag.b.shape)
    return DragState(none, drag, drag.b, drag.bb, Aside(none, drag.b, none, drag.bb, none, none))


def _update_level(
    b: np.ndarray, bb: np.ndarray, y: np.ndarray, r: np.ndarray, bad: Value
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As level_rate.update for the own level alone."""
    seen = ~np.isnan(y)
    e = where_seen(seen, y - b)
    total, _, gain, second = weigh(e, bb, r, bad)
    shrink = where_seen(seen, gain - e * e * (second - gain * gain))
    return b + bb * gain * e, bb - bb * bb * shrink, where_seen(seen, total - 0.5 * LOG_2PI)


def advance(
    p: DragParameters,
    state: DragState,
    x_from: np.ndarray,
    x_to: np.ndarray,
    starts: np.ndarray,
    y: np.ndarray,
    r: np.ndarray,
    life_km: Value,
    wild: Value = 0.0,
    in_wear: InWear | None = None,
    hints: Hints | None = None,
    flow: Flow | None = None,
) -> tuple[DragState, np.ndarray]:
    """Move from one visit to the next and take in its reading; return the state and log-likelihood.

    wild: chance that the visit's other measures were wild; in_wear: the wear reading, where drag shows in it;
    hints, flow: what checks, work and delivery say of causes beside the pump.

    A pump still running can't have dragged for longer than about `life_km`, so older starts don't count.
    """
    since = np.maximum(x_from, x_to - life_km)
    begin = cumulative_starts(x_to, p) - cumulative_starts(since, p)
    p_new = -np.expm1(-starts * begin)
    was = state.started
    if hints is not None and hints.opened.any():
        state = _opened(state, hints.opened)
    aside, there, comes = state.aside, 0.0, 0.0
    clear = np.maximum(1 - was - aside.p, 1e-12)
    k_not, k_back = clear, 0.0 * clear
    if np.any(p.aside_per_km):
        worked, cured, odds = (0.0, 0.0, 0.0) if hints is None else hints[:3]
        p_aside = -np.expm1(-p.aside_per_km * (x_to - x_from))
        stays = (1 - worked) * np.exp((x_from - x_to) / ASIDE_STAYS_KM)
        # What a check named it may have mended before the reading was taken.
        there, comes = aside.p * stays * np.exp(odds), clear * p_aside * np.exp(odds)
        k_not, k_back = clear * (1 - p_aside) + comes * cured, aside.p * (1 - stays) + there * cured
        there, comes = there * (1 - cured), comes * (1 - cured)
    share = np.where(k_back > 0, k_not / np.where(k_back > 0, k_not + k_back, 1), 1.0)
    shift = state.b - aside.b
    state = state._replace(
        b=share * state.b + (1 - share) * aside.b,
        bb=share * state.bb + (1 - share) * aside.bb + share * (1 - share) * shift * shift,
    )
    in_wear_not, wild_not = (0.0, wild) if in_wear is None else _without_drag(in_wear)
    b, bb, l_not = _update_level(state.b, state.bb, y, r, _bad(p, wild_not))
    l_not = l_not + in_wear_not
    ahead = predict(state.drag, (x_to - x_from) / UNIT_KM, p.walk)
    span = (x_to - since) / UNIT_KM
    fresh = _new_drag(p, state.b, state.bb, span, p.jump, p.jump_sd, p.growth_cv)
    states = [ahead, fresh]
    if np.any(p.at_once_per_km):
        states.append(_new_drag(p, state.b, state.bb, span, *far_jump(p), FAR_CV))
    shape = np.broadcast_shapes(state.b.shape, fresh.ww.shape, np.shape(r), np.shape(p.bad))
    told, likely = _with_drag(p, stacked(states, shape), y, r, wild, in_wear)
    (old, new, *far), (l_old, l_new, *l_far) = parted(told), likely
    if far:
        share = np.clip((x_to - since) * p.at_once_per_km / np.maximum(begin, 1e-12), 0, 1 - 1e-9)
        new, l_new = _either(new, l_new, far[0], l_far[0], share)
    if flow is not None and np.any(p.flow_points):
        (old, more_old), (new, more_new) = _with_flow(p, old, flow), _with_flow(p, new, flow)
        l_old, l_new = l_old + more_old, l_new + more_new
    # A hypothesis without any weight must not set the scale.
    top = np.maximum(l_not, np.where(was > 0, l_old, -np.inf))
    top = np.maximum(top, np.where(p_new > 0, l_new, -np.inf))
    w_not = (k_not + k_back) * (1 - p_new) * np.exp(l_not - top)
    w_old = was * np.exp(np.minimum(l_old - top, 0.0))
    w_new = (1 - was) * p_new * np.exp(np.minimum(l_new - top, 0.0))
    w_aside: Value = 0.0
    if np.any(p.aside_per_km):
        weights = there * (1 - p_new), comes * (1 - p_new)
        aside, w_aside = _with_aside(
            p, aside, state, *weights, y, r, _bad(p, wild_not), top - in_wear_not, flow
        )
    w_drag = w_old + w_new
    total = w_not + w_drag + w_aside
    share_old = np.where(w_drag > 0, w_old / np.where(w_drag > 0, w_drag, 1), 0.0)
    aside = aside._replace(p=np.minimum(w_aside / total, 1 - 1e-9))
    started = np.minimum(w_drag / total, 1 - 1e-9)
    # Findings weigh the hypotheses; that they were made is no reading to explain, else causes beside the pump
    # would be learned to come as often as somebody looks.
    found = (k_not + k_back + there + comes) * (1 - p_new) + was + (1 - was) * p_new
    return DragState(started, merge(old, new, share_old), b, bb, aside), np.log(total / found) + top


def _opened(state: DragState, by: np.ndarray) -> DragState:
    """Return the state with each hypothesis's own level known less well, by that variance."""
    drag, aside = state.drag, state.aside
    return state._replace(
        drag=drag._replace(bb=drag.bb + by), bb=state.bb + by, aside=aside._replace(bb=aside.bb + by)
    )


def _with_aside(
    p: DragParameters,
    old: Aside,
    state: DragState,
    stays: np.ndarray,
    comes: np.ndarray,
    y: np.ndarray,
    r: Value,
    bad: Value,
    top: np.ndarray,
    flow: Flow | None,
) -> tuple[Aside, np.ndarray]:
    """Take in a reading where something lies beside the pump, since before or just come, with these weights;
    return the state of both merged and their weight after it, over exp(top)."""
    none = np.zeros(np.broadcast_shapes(np.shape(state.b), np.shape(p.aside_sd)))
    new = Aside(none, state.b + none, none, state.bb + none, none, p.aside_sd**2 + none)
    (old, l_old), (new, l_new) = (_update_aside(a, y, r, bad) for a in (old, new))
    if flow is not None and not np.isnan(flow.y).all():
        l_old, l_new = (of + _flow_aside(a, flow) for a, of in ((old, l_old), (new, l_new)))
    w_old = stays * np.exp(np.minimum(l_old - top, 300.0))
    w_new = comes * np.exp(np.minimum(l_new - top, 300.0))
    total = w_old + w_new
    k = np.where(total > 0, w_old / np.where(total > 0, total, 1), 0.0)
    j, d_b, d_o = 1 - k, old.b - new.b, old.o - new.o
    return Aside(
        none,
        k * old.b + j * new.b,
        k * old.o + j * new.o,
        k * old.bb + j * new.bb + k * j * d_b * d_b,
        k * old.bo + j * new.bo + k * j * d_b * d_o,
        k * old.oo + j * new.oo + k * j * d_o * d_o,
    ), total


def _flow_ratio(e: np.ndarray, spread: np.ndarray, flow: Flow) -> np.ndarray:
    """Log-likelihood of a delivery that misses its forecast by `e`, over that of one with nothing lost."""
    total, *_ = weigh(e, spread, flow.r, FLOW_BAD)
    without, *_ = weigh(flow.y, 0.0 * flow.r, flow.r, FLOW_BAD)
    return np.asarray(total - without)


def _flow_aside(a: Aside, flow: Flow) -> np.ndarray:
    """As `_flow_ratio`, where something lies beside the pump, 0 where no delivery was told: FLOW_CAUSES of
    such causes take from the delivery as they shift the load, a clamp or a regulator takes nothing."""
    told = np.flatnonzero(~np.isnan(flow.y))
    gained, flow = np.zeros(a.o.shape), flow.take(told)
    e = flow.y - ASIDE_FLOW * np.abs(a.o[..., told])
    ratio = _flow_ratio(e, ASIDE_FLOW**2 * a.oo[..., told], flow)
    gained[..., told] = np.log(1 - FLOW_CAUSES + FLOW_CAUSES * np.exp(ratio))
    return gained


def _with_flow(p: DragParameters, state: LevelRate, flow: Flow) -> tuple[LevelRate, Value]:
    """Take in the delivery where the damage has started; return the state and the likelihood, as
    `_flow_ratio`."""
    told = np.flatnonzero(~np.isnan(flow.y))
    if not len(told):
        return state, 0.0
    k, flow, before = p.flow_points, flow.take(told), take(state, told)
    ratio = _flow_ratio(flow.y - k * before.w, k * k * before.ww, flow)
    after, *_ = update(before, flow.y / k, flow.r / k**2, FLOW_BAD, level=0.0)
    gained = np.zeros(np.broadcast_shapes((*ratio.shape[:-1], 1), state.w.shape))
    gained[..., told] = ratio
    return put(state, told, after), gained


def _update_aside(a: Aside, y: np.ndarray, r: Value, bad: Value) -> tuple[Aside, np.ndarray]:
    """As level_rate.update for an own level and a shift that stays as it is."""
    g_b, g_o = a.bb + a.bo, a.bo + a.oo
    seen = ~np.isnan(y)
    e = where_seen(seen, y - a.b - a.o)
    total, _, gain, second = weigh(e, g_b + g_o, r, bad)
    shrink, move = where_seen(seen, gain - e * e * (second - gain * gain)), where_seen(seen, gain * e)
    return Aside(
        a.p, a.b + g_b * move, a.o + g_o * move, a.bb - g_b * g_b * shrink, a.bo - g_b * g_o * shrink,
        a.oo - g_o * g_o * shrink,
    ), where_seen(seen, total - 0.5 * LOG_2PI)  # fmt: skip


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
    hints: Hints,
    flow: Flow,
) -> Track[DragState]:
    """Run both hypotheses over all visits, as if drag showed in the load alone.

    Visit arrays are (visits,), type_code (pumps,); wild: from `filter_wear`.
    """
    code = type_code[tracks.order]
    starts, new = p.starts[..., code], prior(p, code)
    y, r = load - p.filter_per_km * filter_km, p.noise * noise_factor

    def step(
        state: DragState, before: np.ndarray, rows: np.ndarray, places: slice
    ) -> tuple[DragState, np.ndarray]:
        own = starts[..., places]
        return advance(
            p, state, before, x_km[rows], own, y[rows], r[..., rows], life_km, wild[rows],
            hints=hints.take(rows), flow=flow.take(rows),
        )  # fmt: skip

    return run_over(tracks, x_km, new, step)
