"""One pump's hidden damages as the risk has them: how sure each is to have started, how far it has come, and
where it goes; visit by visit, from its own unit's rows and the stored fit.

The same filters as for the whole fleet (analytics.wear_model.model.run_filters), without reading the fleet.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.learning.fitting import stored_fit
from analytics.past.normal import Z_80
from analytics.risk.pump_drift import history_of_unit
from analytics.wear_model import wear as wear_model
from analytics.wear_model.drag import UNIT_KM, DragState
from analytics.wear_model.failure_risk import running
from analytics.wear_model.level_rate import LevelRate, Value, predict
from analytics.wear_model.model import Filtered, Parameters, run_filters
from analytics.wear_model.onsets import NAMES
from analytics.wear_model.tracks import take
from analytics.wear_model.unrecorded import allow_for_unrecorded

DAMAGES = ("wear", "drag", *NAMES)


@dataclass(frozen=True)
class PumpStory:
    """One pump's damages on its own clock.

    visits: damage, visit_id, x_km, chance (that it has started; 1 for wear, which always goes on), value, low
    and high (80 %), as shares of the level at which such pumps fail on average. ahead: the same from the last
    visit on, without visit_id. fails_sd: by damage, the spread of that level, as a share of it.
    """

    visits: pd.DataFrame
    ahead: pd.DataFrame
    fails_sd: dict[str, float]


def pump_story(ledger: Path, pump_id: int, as_of: date, ahead_km: np.ndarray) -> PumpStory | None:
    """Return one pump's damages up to a day and over `ahead_km` beyond its last reading; None without a fit
    or a usable reading."""
    history = history_of_unit(ledger, pump_id, as_of)
    rows = np.flatnonzero(history.pumps["pump_id"].to_numpy() == pump_id)
    fit = stored_fit(ledger, settings=history.settings)
    if fit is None or not len(rows) or not len(history.visits):
        return None
    p, row = fit.parameters, int(rows[0])
    history = allow_for_unrecorded(history, p.exponents)
    filtered = run_filters(history, p, keep=True)
    place = np.flatnonzero(filtered.tracks.order == row)[0]
    count = int(filtered.tracks.counts[place])
    if not count:
        return None
    code = filtered.type_code[row : row + 1]
    told, seen, sds = [], [], {}
    at = [int(filtered.tracks.index[k][place]) for k in range(count)]
    x_km = history.visits["x_km"].to_numpy(float)[at]
    for name in DAMAGES:
        level, sd, walk, counts = _level(p, name, code)
        if not counts:
            continue
        sds[name] = sd / level
        states = [_state(filtered, p, name, k, place) for k in range(count)]
        for k, state in enumerate(states):
            told.append({"damage": name, "visit_id": history.visits["visit_id"].iloc[at[k]], "x_km": x_km[k]}
                        | _told(state, level))  # fmt: skip
        for d in ahead_km:
            later = _later(p, states[-1], x_km[-1], float(d), walk)
            seen.append({"damage": name, "x_km": x_km[-1] + d} | _told(later, level))
    return PumpStory(pd.DataFrame(told), pd.DataFrame(seen), sds)


def _level(p: Parameters, name: str, code: np.ndarray) -> tuple[float, float, Value, bool]:
    """Return where the damage ends a pump of this type, the spread of that, its walk, and whether it was
    learned at all."""
    if name == "wear":
        f = p.failure
        return float(f.wear_level[code][0]), float(f.wear_level_sd[code][0]), p.wear.walk, True
    if name == "drag":
        return float(p.failure.drag_level), float(p.failure.drag_level_sd), p.drag.walk, True
    onset = getattr(p.onsets, name)
    return float(onset.fails_at), float(onset.fails_at_sd), onset.walk, bool(onset.counts)


def _state(filtered: Filtered, p: Parameters, name: str, k: int, place: int) -> LevelRate | DragState:
    """Return the state of one damage after the pump's k-th usable visit, of one pump that ran on then."""
    kept = filtered.told.per_visit[k] if name in ("wear", "drag") else filtered.begun.per_visit[k]
    state: LevelRate | DragState = take(getattr(kept, name), slice(place, place + 1))
    if isinstance(state, LevelRate):
        return state
    if name == "drag":
        told = running(p.drag, state, p.failure.drag_level, p.failure.drag_level_sd)
    else:
        own = getattr(p.onsets, name)
        told = running(own, state, own.fails_at, own.fails_at_sd)
    return state._replace(started=told.started)


def _later(
    p: Parameters, state: LevelRate | DragState, x_km: float, d: float, walk: Value
) -> LevelRate | DragState:
    if isinstance(state, LevelRate):
        ends = wear_model.clock(np.array([x_km, x_km + d]), p.wear.power)
        return predict(state, np.diff(ends), walk)
    return state._replace(drag=predict(state.drag, np.array([d / UNIT_KM]), walk))


def _told(state: LevelRate | DragState, level: float) -> dict[str, float]:
    if isinstance(state, LevelRate):
        chance, mean, variance = 1.0, max(float(state.w[0]), 0.0), float(state.ww[0])
    else:
        chance = float(state.started[0])
        mean, variance = float(state.shown[0]), float(state.shown_variance[0])
    reach = Z_80 * max(variance, 0.0) ** 0.5
    return {
        "chance": chance, "value": mean / level, "low": max(mean - reach, 0.0) / level,
        "high": (mean + reach) / level,
    }  # fmt: skip
