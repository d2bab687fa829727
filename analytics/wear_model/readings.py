"""The readings that the fleet is learned from, run through the filters with any parameters."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from analytics.past.history import History
from analytics.past.normalise import Channels
from analytics.wear_model.damages import Damages, filter_damages
from analytics.wear_model.drag import DragParameters, DragState, filter_drag
from analytics.wear_model.level_rate import LevelRate
from analytics.wear_model.model import Parameters
from analytics.wear_model.onsets import Begun, Shown, filter_onsets, shown
from analytics.wear_model.tracks import Track, make_tracks
from analytics.wear_model.wear import WearParameters, filter_wear, indicator, indicator_opened


class Readings:
    """A sample's readings, and both damages as `p` tells them.

    Where drag shows in the load alone, each damage goes through its own filter while the other stands; else
    both go through theirs together. Values of `wear` and `drag` may be columns, one of both at a time.
    """

    def __init__(self, p: Parameters, sample: History, made: Channels):
        visits, pumps = sample.visits, sample.pumps
        self.p, self.made = p, made
        self.pump = visits["pump"].to_numpy(int)
        self.code = p.type_codes(pumps["pump_type"])
        self.x_km = visits["x_km"].to_numpy(float)
        self.filter_km = visits["filter_km"].to_numpy(float)
        self.u = indicator(made.ripple, made.brush, self.code[self.pump], p.wear)
        self.u_opened = indicator_opened(made.beside_ripple.opened, made.beside_brush.opened, p.wear)
        self.tracks = make_tracks(self.pump, made.told, len(pumps))

    def counts(self, value: np.ndarray) -> np.ndarray:
        """Return how many readings of a channel each pump has, (pumps,)."""
        return np.bincount(self.pump, ~np.isnan(value), len(self.code))

    def with_wear(self, wear: WearParameters) -> Track[Damages]:
        """Return both damages with another `wear`; the log-likelihood tells wears apart."""
        if np.any(wear.drag_points):
            return self.together(wear, self.p.drag)
        own, _ = filter_wear(wear, self.tracks, self.x_km, self.u, self.code, self.u_opened)
        drag = self._drag_now  # along the distance, where wear goes along its own clock
        return Track(Damages(own.state, drag.state), drag.at, own.log_likelihood, [])

    def with_drag(self, drag: DragParameters) -> Track[Damages]:
        """Return both damages with another `drag`; the log-likelihood tells drags apart."""
        if np.any(self.p.wear.drag_points):
            return self.together(self.p.wear, drag)
        own = self._drag_alone(drag)
        wear, _ = self._wear_now
        return Track(Damages(wear.state, own.state), own.at, own.log_likelihood, [])

    def together(self, wear: WearParameters, drag: DragParameters) -> Track[Damages]:
        """Return both damages, told side by side."""
        return filter_damages(
            wear, drag, self.tracks, self.x_km, self.u, self.made.load, self.made.load_noise, self.filter_km,
            self.code, life_km=self.p.drag_life_km, hints=self.made.beside_load, flow=self.made.flow,
            u_opened=self.u_opened,
        )  # fmt: skip

    def _drag_alone(self, drag: DragParameters) -> Track[DragState]:
        _, wild = self._wear_now
        return filter_drag(
            drag, self.tracks, self.x_km, self.made.load, self.made.load_noise, self.filter_km, self.code,
            life_km=self.p.drag_life_km, wild=wild, hints=self.made.beside_load, flow=self.made.flow,
        )  # fmt: skip

    @cached_property
    def shown(self) -> dict[str, Shown]:
        """The channel of each damage that has an onset."""
        return shown(self.made)

    @cached_property
    def begun(self) -> Begun:
        """The damages with an onset as `p` tells them."""
        return filter_onsets(self.p.onsets, self.tracks, self.x_km, self.made, self.code).state

    @cached_property
    def _wear_now(self) -> tuple[Track[LevelRate], np.ndarray]:
        wear = replace(self.p.wear, drag_points=0.0)
        return filter_wear(wear, self.tracks, self.x_km, self.u, self.code, self.u_opened)

    @cached_property
    def _drag_now(self) -> Track[DragState]:
        return self._drag_alone(self.p.drag)
