"""Speeds that no pump on its volts turns: told of half, twice or another turn, they say nothing of the pump.

On equal volts a motor's back voltage leaves no speed beyond that of no load, which is (1 - a * I) / (1 - a)
times its own at I times its own current, a its share of resistance (ingest/sensitivities.py). About twice its
own, or hardly any, on the same current is a turn told wrong.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analytics.past.normalise import NOMINAL_EXPONENTS, covariates

RESISTANCE_SHARE_MOST = 0.4  # [P] a of any pump's motor
FAST_BEYOND, FAST_BEYOND_UNKNOWN = 1.15, 1.3  # [P] times that speed, volts at the pump known and not
TIMES_WITHIN = 0.08  # [P] of twice or half its own speed
# [P] of its own speed: a pump that slow holds no pressure (shut-off pressure goes with the square of the
# speed), so its current would have fallen, whatever reaches it.
HARDLY_TURNS = 0.2
OWN_READINGS = 3  # first ones of a pump, whose median is its own level


def impossible(amps: np.ndarray, speed: np.ndarray, volts_known: np.ndarray, some: float) -> np.ndarray:
    """Whether no pump turns so, (n,) bool: amps and speed as times its own on equal volts; some: by what
    share of its current it is still the same."""
    # A shorted coil weakens the field: more current and more speed, up to that of no load.
    load = np.where(amps > 1 + some, 0.0, np.nan_to_num(np.minimum(amps, 1.0)))
    fastest = (1 - RESISTANCE_SHARE_MOST * load) / (1 - RESISTANCE_SHARE_MOST)
    beyond = speed > fastest * np.where(volts_known, FAST_BEYOND, FAST_BEYOND_UNKNOWN)
    told_wrong = (abs(speed / 2 - 1) <= TIMES_WITHIN) | (speed < HARDLY_TURNS)
    return np.asarray(beyond | (told_wrong & (abs(amps - 1) <= some)))


def without_impossible_speeds(
    visits: pd.DataFrame, pumps: pd.DataFrame, settings: dict[str, Any]
) -> pd.DataFrame:
    """Return visits with the speeds left out that are impossible beside the pump's own first readings of
    that state and drive.

    visits: pump, state, duty_step, low_speed, comparable, metrics and covariates, in order of pump and time.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        told = np.log(visits[["mean_a", "rpm"]].to_numpy(float))
    read = visits["comparable"].to_numpy(bool) & np.isfinite(told).all(axis=1)
    row = np.flatnonzero(read)
    if not len(row):
        return visits
    x = covariates(visits.iloc[row], pumps)
    known = ~np.isnan(x[:, 0])
    exponents = np.column_stack([NOMINAL_EXPONENTS[name] for name in ("mean_a", "rpm")])
    y = told[row] - np.nan_to_num(x) @ exponents
    kind = visits.iloc[row].groupby(["pump", "state", "duty_step", "low_speed"], dropna=False, sort=False)
    group, place = kind.ngroup().to_numpy(), kind.cumcount().to_numpy()
    first = np.full((group.max() + 1, OWN_READINGS, 2), np.nan)
    founds = place < OWN_READINGS
    first[group[founds], place[founds]] = y[founds]
    before = first[group]
    before[np.arange(OWN_READINGS) >= place[:, None]] = np.nan
    later = place > 0
    own = np.full(y.shape, np.nan)
    own[later] = np.nanmedian(before[later], axis=1)
    amps, speed = np.exp(y - own).T
    wrong = impossible(amps, speed, known, settings["baseline_change_pct"] / 100)
    if not wrong.any():
        return visits
    rpm = visits["rpm"].to_numpy(float).copy()
    rpm[row[wrong]] = np.nan
    return visits.assign(rpm=rpm)
