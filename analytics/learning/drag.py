"""Learn drag: how often it starts, how fast it grows, the load's own level and noise, the filter's share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from analytics.learning.failure import gap_likelihood
from analytics.learning.gaps import last_gaps
from analytics.learning.shrinking import MOST_BAD, Columns, Prior, first_levels, maximise, mean_for_others
from analytics.past.history import History
from analytics.past.normalise import Channels
from analytics.wear_model.drag import DragParameters
from analytics.wear_model.model import Parameters
from analytics.wear_model.readings import Readings

DRAG_PRIOR: Prior = {
    "level_var": (0.05**2, 0.8),
    "noise": (0.012**2, 1.0),
    "scale_km": (280e3, 0.6),
    "growth": (0.09, 0.5),
    "growth_cv": (0.4, 0.3),
    "shape": (1.3, 0.2),
    "bad": (0.006, 1.0),
    "aside_km": (250e3, 0.7),
    "aside_sd": (0.08, 0.5),
    "at_once_km": (8e6, 0.35),
}
MOST_AT_ONCE = 2.0  # times the level where drag usually ends a pump: common practice, no source
ENDS_TELL = ("scale_km", "growth", "growth_cv", "shape")  # what refine_drag learns again
FILTER_PRIOR = (1.0e-6, 1.0e-6)  # ln torque per km on one filter: usual value and sd


def learn_drag(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    """Learn drag from the readings alone; weight (pumps,) of the sample."""
    read = Readings(p, sample, made)
    if np.isnan(made.load).all():
        return p
    drag = replace(
        p.drag,
        level=first_levels(made.load, read.pump, read.code, len(p.types), 0.0),
        filter_per_km=filter_effect(made.load, read.pump, read.filter_km),
    )
    values = {name: usual for name, (usual, _) in DRAG_PRIOR.items()}
    for rounds in (14, 6):

        def likelihood(v: Columns, drag: DragParameters = drag) -> np.ndarray:
            return read.with_drag(_drag_with(drag, v)).log_likelihood @ weight

        values = maximise(likelihood, DRAG_PRIOR, values, rounds)
        drag = _with_levels(_drag_with(drag, values), read)
    return replace(p, drag=drag)


def refine_drag(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    """Learn start and growth again, from readings and from what came after each pump's last one.

    Fast drags leave few readings, as they soon end in failure: readings alone would call drag slow.
    """
    read = Readings(p, sample, made)
    if np.isnan(made.load).all():
        return p

    def likelihood(values: Columns) -> np.ndarray:
        drag = replace(p.drag, **values)  # type: ignore[arg-type]
        told = read.with_drag(drag)
        ends = last_gaps(sample, told, read.begun, read.code)
        return told.log_likelihood @ weight + gap_likelihood(replace(p, drag=drag), ends, weight)

    prior = {name: DRAG_PRIOR[name] for name in ENDS_TELL}
    values = maximise(likelihood, prior, {name: getattr(p.drag, name) for name in ENDS_TELL}, 10)
    return replace(p, drag=_with_levels(replace(p.drag, **values), read))  # type: ignore[arg-type]


def _with_levels(drag: DragParameters, read: Readings) -> DragParameters:
    """Move each type's level to its pumps' own where no drag has started, if three or more tell."""
    state = read.with_drag(drag).state.drag
    own = np.where((read.counts(read.made.load) > 0) & (state.started < 0.5), state.b, np.nan)
    level = drag.level.copy()
    for t in range(len(level)):
        mine = own[(read.code == t) & ~np.isnan(own)]
        if len(mine) >= 3:
            level[t] = np.median(mine)
    return replace(drag, level=mean_for_others(level))


def _drag_with(drag: DragParameters, values: Mapping[str, Any]) -> DragParameters:
    rare = {f"{name}_per_km": 1 / values[f"{name}_km"] for name in ("aside", "at_once")}
    own = {name: value for name, value in values.items() if name not in ("aside_km", "at_once_km")}
    own["bad"] = np.minimum(values["bad"], MOST_BAD)
    return replace(drag, **own, **rare)


def filter_effect(load: np.ndarray, pump: np.ndarray, filter_km: np.ndarray) -> float:
    """Rise of the load per km on one filter, from the steps at filter changes (normal prior FILTER_PRIOR).

    It is held below the usual rise on one filter, where drag can only add to the filter's share.
    """
    ok = np.flatnonzero(~np.isnan(load))
    same = pump[ok][1:] == pump[ok][:-1]
    d_load, d_filter = np.diff(load[ok])[same], np.diff(filter_km[ok])[same]
    change = d_filter < -1e3
    # Where changes before the records are missing, the distance on a filter is overstated.
    change &= d_filter > 1.6 * np.median(d_filter[change]) if change.any() else change
    most = _usual_rise(load[ok], pump[ok], filter_km[ok])
    usual, sd = FILTER_PRIOR
    if change.sum() < 5:
        return min(usual, most)
    # Without a change the load rises by drag and filter alike; only changes tell them apart.
    d_load, d_filter = (
        d_load[change] - np.median(d_load[~change]),
        d_filter[change] - np.median(d_filter[~change]),
    )
    spread = 1.4826 * np.median(np.abs(d_load - np.median(d_load)))
    d_load = np.clip(d_load, np.median(d_load) - 3 * spread, np.median(d_load) + 3 * spread)
    precision = 1 / sd**2 + d_filter @ d_filter / spread**2
    return float(np.clip((usual / sd**2 + d_filter @ d_load / spread**2) / precision, 0.0, most))


def _usual_rise(load: np.ndarray, pump: np.ndarray, filter_km: np.ndarray) -> float:
    """Median rise per km over the longer half of the stretches on one filter, and two standard errors.

    The standard error of a median is 1.25 times the mean's.
    """
    begins = np.flatnonzero(np.append(True, (np.diff(pump) != 0) | (np.diff(filter_km) < -1e3)))
    ends = np.append(begins[1:], len(load)) - 1
    length = filter_km[ends] - filter_km[begins]
    runs = length > 1e3
    if runs.sum() < 10:
        return np.inf
    long = runs & (length >= np.median(length[runs]))
    rise = (load[ends] - load[begins])[long] / length[long]
    middle = np.median(rise)
    se = 1.2533 * 1.4826 * np.median(np.abs(rise - middle)) / len(rise) ** 0.5
    return float(max(middle + 2 * se, 0.0))
