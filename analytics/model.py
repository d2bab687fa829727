"""All fitted numbers in one place, and the step from a history to what is known of every pump."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from analytics.drag import DragParameters, DragState, DragTrack, filter_drag
from analytics.failure_risk import FailureParameters, Known, RiskModel
from analytics.history import History
from analytics.level_rate import LevelRate, Value
from analytics.normalise import Channels, Exponents, channels
from analytics.tracks import Tracks, make_tracks
from analytics.wear import WearParameters, WearTrack, filter_wear, indicator

METHOD_VERSION = 5

Wear = TypeVar("Wear", WearTrack, LevelRate)
Drag = TypeVar("Drag", DragTrack, DragState)


@dataclass(frozen=True)
class Parameters:
    """Everything learned from one fleet up to one day. Type arrays follow `types`; the last entry is any
    other."""

    types: tuple[str, ...]
    exponents: Exponents
    wear: WearParameters
    drag: DragParameters
    failure: FailureParameters
    drag_life_km: float
    longest_km: float  # longest distance any pump was seen to run
    summary: dict[str, Any]

    def type_codes(self, names: pd.Series) -> np.ndarray:
        """Code of each type; a type never seen gets the fleet's own entry, the last."""
        code = pd.Index(self.types).get_indexer(pd.Index(names))
        return np.where(code < 0, len(self.types) - 1, code)

    def to_json(self) -> str:
        """Write as JSON."""
        return json.dumps(
            asdict(self), default=lambda a: a.tolist() if isinstance(a, np.ndarray) else float(a)
        )

    @classmethod
    def from_json(cls, text: str) -> Parameters:
        """Read what `to_json` wrote."""
        raw = json.loads(text)
        kinds = {
            "exponents": Exponents,
            "wear": WearParameters,
            "drag": DragParameters,
            "failure": FailureParameters,
        }
        parts = {name: _rebuild(kind, raw[name]) for name, kind in kinds.items()}
        return cls(**(raw | parts | {"types": tuple(raw["types"])}))


def _rebuild(kind: type, values: dict[str, Any]) -> Any:
    return kind(
        **{
            f.name: np.array(values[f.name], float) if isinstance(values[f.name], list) else values[f.name]
            for f in fields(kind)
        }
    )


@dataclass(frozen=True)
class Filtered:
    """A history run through both filters."""

    type_code: np.ndarray
    channels: Channels
    tracks: Tracks
    wear: WearTrack
    drag: DragTrack

    @property
    def known(self) -> Known:
        """What is known of each pump at its last usable visit."""
        return Known(self.wear.x_km, self.type_code, self.wear.state, self.drag.state)


def run_filters(history: History, p: Parameters, *, keep: bool = False) -> Filtered:
    """Normalise all readings and run both filters over them."""
    visits, pumps = history.visits, history.pumps
    code = p.type_codes(pumps["pump_type"])
    made = channels(visits, pumps, p.exponents)
    pump = visits["pump"].to_numpy(int)
    u = indicator(made.ripple, made.brush, code[pump], p.wear)
    tracks = make_tracks(pump, ~(np.isnan(u) & np.isnan(made.load)), len(pumps))
    x = visits["x_km"].to_numpy(float)
    filter_km = visits["filter_km"].to_numpy(float)

    def wear_of(u: np.ndarray) -> tuple[WearTrack, np.ndarray]:
        track = filter_wear(p.wear, tracks, x, u, code, keep=keep)
        return track, track.wild

    def drag_of(wild: np.ndarray | None) -> DragTrack:
        return filter_drag(
            p.drag, tracks, x, made.load, made.load_noise, filter_km, code,
            life_km=p.drag_life_km, wild=wild, keep=keep,
        )  # fmt: skip

    wear, drag = told_apart(p.wear.drag_points, u, wear_of, drag_of)
    return Filtered(code, made, tracks, wear, drag)


def told_apart(
    drag_points: Value,
    u: np.ndarray,
    wear_of: Callable[[np.ndarray], tuple[Wear, np.ndarray]],
    drag_of: Callable[[np.ndarray | None], Drag],
) -> tuple[Wear, Drag]:
    """Return wear and drag, each told by its own filter.

    wear_of: from the indicator, with the chance that each reading was wild; drag_of: from that chance, None
    where it tells nothing. Drag that shows in ripple and speed too (`drag_points`) is told first, as a jump
    of these may be drag, and wear by what it leaves of the indicator.
    """
    if drag_points > 0:
        drag = drag_of(None)
        return wear_of(u - drag_points * drag.shown)[0], drag
    wear, wild = wear_of(u)
    return wear, drag_of(wild)


def risk_model(p: Parameters) -> RiskModel:
    """Return the survival formulas with these parameters."""
    return RiskModel(p.wear, p.drag, p.failure)
