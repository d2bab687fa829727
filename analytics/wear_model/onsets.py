"""Damages beside wear and drag that start at an unknown distance, each told from a channel of its own.

    hydraulic   the load falls: fewer amps and more speed on equal volts, as less fuel is moved
    commutator  ripple jumps and grows, told by its natural logarithm: a bar, a coil, bouncing brushes
    brush       speed and amps fall on good volts: the resistance that no torque explains

The hypotheses go side by side as for drag (drag.py): not started, and started, here with a jump at the start,
so that a jump is weighed against a wild reading: the next reading, or a repeat of another day, settles it. A
third competes with both: something beside the pump (supply, a starved or restricted flow, the clamp) shifts
the channel either way, goes after some distance or with recorded work, and leaves the pump as it was.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import NamedTuple

import numpy as np

from analytics.past.normalise import Channels
from analytics.past.signs import Flow, Hints
from analytics.wear_model.drag import DragParameters, DragState, advance, prior
from analytics.wear_model.level_rate import Value
from analytics.wear_model.tracks import Track, Tracks, run_over

LEAST_RIPPLE = 0.3  # points; the logarithm of less says nothing


@dataclass(frozen=True)
class OnsetParameters(DragParameters):
    """As drag's, in the channel's units, and where such a damage ends a pump.

    fails_at, fails_at_sd: mean and spread of the failure levels; factor (types,): on -ln S; type_noise
    (types,): a type's variance of reading over the fleet's.
    """

    fails_at: Value = 1.0
    fails_at_sd: Value = 0.3
    factor: np.ndarray = field(default_factory=lambda: np.ones(0))
    type_noise: np.ndarray = field(default_factory=lambda: np.ones(0))

    @property
    def counts(self) -> bool:
        """Whether the fleet's failures speak for such a damage."""
        return bool(np.any(self.factor))


@dataclass(frozen=True)
class Onsets:
    """The three, by name."""

    hydraulic: OnsetParameters
    commutator: OnsetParameters
    brush: OnsetParameters


class Begun(NamedTuple):
    """What is known of the three, by the same names; (n,) each, or (sets, n)."""

    hydraulic: DragState
    commutator: DragState
    brush: DragState


NAMES = tuple(f.name for f in fields(Onsets))


class Shown(NamedTuple):
    """A channel as one of the damages sees it, rising with it: y (visits,), NaN without reading, the factor
    on its variance, and what else the visit says of causes beside the pump and of the delivery."""

    y: np.ndarray
    noise: np.ndarray
    hints: Hints | None = None
    flow: Flow | None = None

    def take(self, rows: np.ndarray) -> Shown:
        """Return `rows`."""
        hints, flow = self.hints and self.hints.take(rows), self.flow and self.flow.take(rows)
        return Shown(self.y[rows], self.noise[rows], hints, flow)


def shown(made: Channels) -> dict[str, Shown]:
    """Return the channel of each damage, by name."""
    ripple = np.log(np.maximum(made.ripple, LEAST_RIPPLE))
    opened = made.beside_ripple.opened / np.where(np.isnan(ripple), 1.0, np.exp(2 * ripple))
    in_log = made.beside_ripple._replace(opened=opened)
    return {
        "hydraulic": Shown(
            np.where(made.starved, np.nan, -made.leak), made.load_noise, made.beside_leak, made.leak_flow
        ),
        "commutator": Shown(ripple, made.ripple_noise, in_log),
        "brush": Shown(made.brush, made.brush_noise, made.beside_brush),
    }


def new_onsets(onsets: Onsets, type_code: np.ndarray) -> Begun:
    """Return the state of new pumps: nothing has started."""
    return Begun(*(prior(getattr(onsets, name), type_code) for name in NAMES))


def take_in_onsets(
    onsets: Onsets,
    before: Begun,
    x_from: np.ndarray,
    x_to: np.ndarray,
    type_code: np.ndarray,
    read: dict[str, Shown],
) -> tuple[Begun, np.ndarray]:
    """Move from one visit to the next and take in its readings; return the state and the log-likelihood."""
    states, total = [], np.zeros(len(x_to))
    for name in NAMES:
        p: OnsetParameters = getattr(onsets, name)
        if not p.counts:
            states.append(getattr(before, name))
            continue
        state, gained = one_step(p, getattr(before, name), x_from, x_to, type_code, read[name])
        states.append(state)
        total = total + gained
    return Begun(*states), total


def one_step(
    p: OnsetParameters,
    before: DragState,
    x_from: np.ndarray,
    x_to: np.ndarray,
    type_code: np.ndarray,
    read: Shown,
) -> tuple[DragState, np.ndarray]:
    """As `take_in_onsets`, of one damage."""
    r, starts = p.noise * (read.noise * p.type_noise[type_code]), p.starts[..., type_code]
    return advance(p, before, x_from, x_to, starts, read.y, r, life_km(p), hints=read.hints, flow=read.flow)


def life_km(p: OnsetParameters) -> Value:
    """Distance from the start to failure, with room for slow ones: older starts don't count in a running
    pump."""
    return 1.5 * np.maximum(p.fails_at - p.jump, 0.2 * p.fails_at) / p.growth * 10e3


def filter_onsets(
    onsets: Onsets,
    tracks: Tracks,
    x_km: np.ndarray,
    made: Channels,
    type_code: np.ndarray,
    *,
    keep: bool = False,
) -> Track[Begun]:
    """Run all three over all visits; visit arrays are (visits,), type_code (pumps,)."""
    code = type_code[tracks.order]
    read = shown(made)

    def step(state: Begun, before: np.ndarray, rows: np.ndarray, places: slice) -> tuple[Begun, np.ndarray]:
        here = {name: s.take(rows) for name, s in read.items()}
        return take_in_onsets(onsets, state, before, x_km[rows], code[places], here)

    return run_over(tracks, x_km, new_onsets(onsets, code), step, keep=keep)


def filter_one(
    p: OnsetParameters, tracks: Tracks, x_km: np.ndarray, read: Shown, type_code: np.ndarray
) -> Track[DragState]:
    """Run one of them over all visits; values of `p` may be columns."""
    code = type_code[tracks.order]

    def step(
        state: DragState, before: np.ndarray, rows: np.ndarray, places: slice
    ) -> tuple[DragState, np.ndarray]:
        return one_step(p, state, before, x_km[rows], code[places], read.take(rows))

    return run_over(tracks, x_km, prior(p, code), step)
