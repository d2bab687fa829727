"""The readings that the fleet is learned from, run through the filters with any parameters."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from analytics.damages import Damages, DamageTrack, filter_damages
from analytics.drag import DragParameters, DragTrack, filter_drag
from analytics.history import History
from analytics.model import Parameters
from analytics.normalise import Channels
from analytics.tracks import make_tracks
from analytics.wear import WearParameters, WearTrack, filter_wear, indicator


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
        self.tracks = make_tracks(self.pump, ~(np.isnan(self.u) & np.isnan(made.load)), len(pumps))
        self.last_km = np.zeros(len(pumps))
        for rows in self.tracks.index:
            self.last_km[self.pump[rows]] = self.x_km[rows]

    def counts(self, value: np.ndarray) -> np.ndarray:
        """Return how many readings of a channel each pump has, (pumps,)."""
        return np.bincount(self.pump, ~np.isnan(value), len(self.code))

    def with_wear(self, wear: WearParameters) -> DamageTrack:
        """Return both damages with another `wear`; the log-likelihood tells wears apart."""
        if np.any(wear.drag_points):
            return self.together(wear, self.p.drag)
        own = self._wear_alone(wear)
        return self._track(Damages(own.state, self._dragging.state), own.log_likelihood)

    def with_drag(self, drag: DragParameters) -> DamageTrack:
        """Return both damages with another `drag`; the log-likelihood tells drags apart."""
        if np.any(self.p.wear.drag_points):
            return self.together(self.p.wear, drag)
        own = self._drag_alone(drag)
        return self._track(Damages(self._worn.state, own.state), own.log_likelihood)

    def together(self, wear: WearParameters, drag: DragParameters) -> DamageTrack:
        """Return both damages, told side by side."""
        return filter_damages(
            wear, drag, self.tracks, self.x_km, self.u, self.made.load, self.made.load_noise, self.filter_km,
            self.code, life_km=self.p.drag_life_km,
        )  # fmt: skip

    def _track(self, state: Damages, log_likelihood: np.ndarray) -> DamageTrack:
        return DamageTrack(state, self.last_km, log_likelihood, [])

    def _wear_alone(self, wear: WearParameters) -> WearTrack:
        return filter_wear(wear, self.tracks, self.x_km, self.u, self.code)

    def _drag_alone(self, drag: DragParameters) -> DragTrack:
        return filter_drag(
            drag, self.tracks, self.x_km, self.made.load, self.made.load_noise, self.filter_km, self.code,
            life_km=self.p.drag_life_km, wild=self._worn.wild,
        )  # fmt: skip

    @cached_property
    def _worn(self) -> WearTrack:
        return self._wear_alone(replace(self.p.wear, drag_points=0.0))

    @cached_property
    def _dragging(self) -> DragTrack:
        return self._drag_alone(self.p.drag)
