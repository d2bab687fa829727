"""All fitted numbers in one place, and the step from a history to what is known of every pump."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np
import pandas as pd

from analytics.past.history import History
from analytics.past.normalise import Exponents, channels
from analytics.wear_model.damages import Damages, filter_damages
from analytics.wear_model.drag import DragParameters
from analytics.wear_model.exposure import Groups, exposure
from analytics.wear_model.failure_risk import FailureParameters, Known, RiskModel
from analytics.wear_model.onsets import NAMES, Begun, OnsetParameters, Onsets, filter_onsets
from analytics.wear_model.tracks import Track, Tracks, make_tracks
from analytics.wear_model.wear import WearParameters, indicator, indicator_opened

METHOD_VERSION = 33


@dataclass(frozen=True)
class Parameters:
    """Everything learned from one fleet up to one day. Type arrays follow `types`; the last entry is any
    other."""

    types: tuple[str, ...]
    exponents: Exponents
    wear: WearParameters
    drag: DragParameters
    failure: FailureParameters
    onsets: Onsets
    groups: Groups  # depots, classes and lots that fail more or less often than the rest
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
            "wear": WearParameters,
            "drag": DragParameters,
            "failure": FailureParameters,
        }
        parts = {name: _rebuild(kind, raw[name]) for name, kind in kinds.items()}
        onsets = Onsets(**{name: _rebuild(OnsetParameters, raw["onsets"][name]) for name in NAMES})
        of, beside, seen = (
            {name: np.array(value, float) for name, value in raw["exponents"][key].items()}
            for key in ("of", "beside", "seen")
        )
        exponents = Exponents(of, beside, raw["exponents"]["state_volts"], raw["exponents"]["flow"], seen)
        more = {"onsets": onsets, "types": tuple(raw["types"]), "exponents": exponents}
        return cls(**(raw | parts | more))


def _rebuild(kind: type, values: dict[str, Any]) -> Any:
    return kind(
        **{
            f.name: np.array(values[f.name], float) if isinstance(values[f.name], list) else values[f.name]
            for f in fields(kind)
        }
    )


@dataclass(frozen=True)
class Filtered:
    """A history run through all filters."""

    type_code: np.ndarray
    tracks: Tracks
    told: Track[Damages]
    begun: Track[Begun]
    exposure: np.ndarray

    @property
    def known(self) -> Known:
        """What is known of each pump at its last usable visit."""
        return Known(self.told.at, self.type_code, *self.told.state, self.begun.state, self.exposure)


def run_filters(history: History, p: Parameters, *, keep: bool = False) -> Filtered:
    """Normalise all readings and run the filters of all damages over them."""
    visits, pumps = history.visits, history.pumps
    code = p.type_codes(pumps["pump_type"])
    made = channels(visits, pumps, p.exponents)
    pump, x_km = visits["pump"].to_numpy(int), visits["x_km"].to_numpy(float)
    u = indicator(made.ripple, made.brush, code[pump], p.wear)
    tracks = make_tracks(pump, made.told, len(pumps))
    told = filter_damages(
        p.wear,
        p.drag,
        tracks,
        x_km,
        u,
        made.load,
        made.load_noise,
        visits["filter_km"].to_numpy(float),
        code,
        life_km=p.drag_life_km,
        hints=made.beside_load,
        flow=made.flow,
        u_opened=indicator_opened(made.beside_ripple.opened, made.beside_brush.opened, p.wear),
        keep=keep,
    )
    begun = filter_onsets(p.onsets, tracks, x_km, made, code, keep=keep)
    return Filtered(code, tracks, told, begun, exposure(p.groups, pumps))


def risk_model(p: Parameters) -> RiskModel:
    """Return the survival formulas with these parameters."""
    return RiskModel(p.wear, p.drag, p.failure, p.onsets)
