"""Wear and drag told side by side, visit by visit.

Drag may show in ripple and lost speed too: a drag of D then adds drag_points * D to the wear indicator,
    u = b + W + drag_points * D + noise,
and what wear's forecast leaves over of u is a second reading of D, with the forecast's variance added to the
noise. Wear takes in u less the drag likeliest by then, blurred as far as that is uncertain. Where drag shows
in the load alone (drag_points = 0), wear is told first. A wild u casts doubt on the load either way.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from analytics.past.signs import Flow, Hints
from analytics.wear_model.drag import DragParameters, DragState, InWear, advance
from analytics.wear_model.drag import prior as drag_prior
from analytics.wear_model.level_rate import LevelRate, Value, predict, update
from analytics.wear_model.tracks import Track, Tracks, run_over, spread
from analytics.wear_model.wear import WearParameters, clock
from analytics.wear_model.wear import prior as wear_prior


class Damages(NamedTuple):
    """What is known of both, each (n,) or (sets, n)."""

    wear: LevelRate
    drag: DragState


def new_pumps(wear: WearParameters, drag: DragParameters, type_code: np.ndarray) -> Damages:
    """Return the state of new pumps, their types by code (n,)."""
    state = Damages(wear_prior(wear, type_code), drag_prior(drag, type_code))
    shapes = (np.shape(a) for a in (state.wear.b, state.drag.b, wear.drag_points * np.ones(len(type_code))))
    return spread(state, np.broadcast_shapes(*shapes))


def take_in(
    wear: WearParameters,
    drag: DragParameters,
    before: Damages,
    x_from: np.ndarray,
    x_to: np.ndarray,
    type_code: np.ndarray,
    u: np.ndarray,
    load: np.ndarray,
    load_noise: np.ndarray,
    life_km: float,
    hints: Hints | None = None,
    flow: Flow | None = None,
    u_opened: Value = 0.0,
) -> tuple[Damages, np.ndarray]:
    """Move from one visit at x_from to the next at x_to and take in its readings, all (n,).

    load: without the filter's share; load_noise: factor on its variance; hints, flow: what else the visit
    says of causes beside the pump; u_opened: of u, as Hints.opened. NaN: no reading. Returns the state and
    the log-likelihood.
    """
    h = np.maximum(clock(x_to, wear.power) - clock(x_from, wear.power), 0.0)
    ahead = predict(before.wear, h, wear.walk)
    ahead = ahead._replace(bb=ahead.bb + u_opened)
    of_drag = (x_from, x_to, drag.starts[..., type_code], load, drag.noise * load_noise, life_km)
    points = wear.drag_points
    if not np.any(points):
        worn, gained, wild = update(ahead, u, wear.noise, wear.bad)
        dragging, more = advance(drag, before.drag, *of_drag, wild, hints=hints, flow=flow)
        return Damages(worn, dragging), gained + more
    left_over = InWear(
        (u - ahead.b - ahead.w) / points,
        wear.noise / points**2,
        wear.bad,
        (ahead.bb + 2 * ahead.bw + ahead.ww) / points**2,
    )
    dragging, gained = advance(drag, before.drag, *of_drag, in_wear=left_over, hints=hints, flow=flow)
    gained = gained - np.where(np.isnan(u), 0.0, np.log(points))  # of u itself, not of u / points
    blur = points**2 * dragging.shown_variance
    worn, _, _ = update(ahead, u - points * dragging.shown, wear.noise, wear.bad, blur=blur)
    return Damages(worn, dragging), gained


def filter_damages(
    wear: WearParameters,
    drag: DragParameters,
    tracks: Tracks,
    x_km: np.ndarray,
    u: np.ndarray,
    load: np.ndarray,
    load_noise: np.ndarray,
    filter_km: np.ndarray,
    type_code: np.ndarray,
    *,
    life_km: float,
    hints: Hints,
    flow: Flow,
    u_opened: np.ndarray,
    keep: bool = False,
) -> Track[Damages]:
    """Run both filters over all visits; visit arrays are (visits,), type_code (pumps,)."""
    code = type_code[tracks.order]
    own_load = load - drag.filter_per_km * filter_km

    def step(
        state: Damages, before: np.ndarray, rows: np.ndarray, places: slice
    ) -> tuple[Damages, np.ndarray]:
        return take_in(
            wear, drag, state, before, x_km[rows], code[places], u[rows], own_load[rows],
            load_noise[rows], life_km, hints.take(rows), flow.take(rows), u_opened[rows],
        )  # fmt: skip

    return run_over(tracks, x_km, new_pumps(wear, drag, code), step, keep=keep)
