"""A reading's current and speed beside the pump's own first ones of that state and drive.

Speeds that no pump on its volts turns, told of twice or another turn, say nothing of the pump. A current
that changed without the speed following is the clamp's more than the motor's: a load moves both.

On equal volts a motor's back voltage leaves no speed beyond that of no load, which is (1 - a * I) / (1 - a)
times its own at I times its own current, a its share of resistance (ingest/sensitivities.py). About twice its
own, or hardly any, on the same current is a turn told wrong.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.past.normalise import LOAD_SPEED, NOMINAL_EXPONENTS, covariates
from ingest.settings_in_force import Settings

RESISTANCE_SHARE_MOST = 0.4  # [P] a of any pump's motor
FAST_BEYOND, FAST_BEYOND_UNKNOWN = 1.15, 1.3  # [P] times that speed, volts at the pump known and not
TIMES_WITHIN = 0.08  # [P] of twice or half its own speed
# [P] of its own speed: a pump that slow holds no pressure (shut-off pressure goes with the square of the
# speed), so its current would have fallen, whatever reaches it.
HARDLY_TURNS = 0.2
OWN_READINGS = 3  # first ones of a pump, whose median is its own level
CHANGED, FOLLOWS = 0.07, 1 / 3  # ln current; share of what the speed should do by it (common practice)


def impossible(amps: np.ndarray, speed: np.ndarray, volts_known: np.ndarray, some: float) -> np.ndarray:
    """Whether no pump turns so, (n,) bool: amps and speed as times its own on equal volts; some: by what
    share of its current it is still the same."""
    # A shorted coil weakens the field: more current and more speed, up to that of no load.
    load = np.where(amps > 1 + some, 0.0, np.nan_to_num(np.minimum(amps, 1.0)))
    fastest = (1 - RESISTANCE_SHARE_MOST * load) / (1 - RESISTANCE_SHARE_MOST)
    beyond = speed > fastest * np.where(volts_known, FAST_BEYOND, FAST_BEYOND_UNKNOWN)
    told_wrong = (abs(speed / 2 - 1) <= TIMES_WITHIN) | (speed < HARDLY_TURNS)
    return np.asarray(beyond | (told_wrong & (abs(amps - 1) <= some)))


def held_against_own(visits: pd.DataFrame, pumps: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return visits without the speeds that are impossible beside the pump's own, and `unmoved` (bool): the
    current changed and the speed did not follow as it does a load.

    visits: pump, state, duty_step, low_speed, comparable, metrics and covariates, in order of pump and time.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        told = np.log(visits[["mean_a", "rpm"]].to_numpy(float))
    row = np.flatnonzero(visits["comparable"].to_numpy(bool) & np.isfinite(told).all(axis=1))
    unmoved = np.zeros(len(visits), bool)
    if not len(row):
        return visits.assign(unmoved=unmoved)
    x = covariates(visits.iloc[row], pumps)
    exponents = np.column_stack([NOMINAL_EXPONENTS[name] for name in ("mean_a", "rpm")])
    y = told[row] - np.nan_to_num(x) @ exponents
    change = y - _own_level(y, visits.iloc[row])
    known = ~np.isnan(x[:, 0])
    amps, speed = np.exp(change).T
    wrong = impossible(amps, speed, known, settings["baseline_change_pct"] / 100)
    follows = -change[:, 1] * np.sign(change[:, 0]) >= FOLLOWS * LOAD_SPEED * np.abs(change[:, 0])
    unmoved[row] = (np.abs(change[:, 0]) > CHANGED) & ~follows & known & ~wrong
    # Where it turns the other way far beyond that, volts or brushes move both.
    unmoved[row] &= np.abs(change[:, 1]) < LOAD_SPEED * np.abs(change[:, 0])
    rpm = visits["rpm"].to_numpy(float).copy()
    rpm[row[wrong]] = np.nan
    return visits.assign(rpm=rpm, unmoved=unmoved)


def _own_level(y: np.ndarray, visits: pd.DataFrame) -> np.ndarray:
    """Return the median of the pump's first OWN_READINGS before each of y (n, 2) in its state and drive, NaN
    for the first."""
    kind = visits.groupby(["pump", "state", "duty_step", "low_speed"], dropna=False, sort=False)
    group, place = kind.ngroup().to_numpy(), kind.cumcount().to_numpy()
    first = np.full((group.max() + 1, OWN_READINGS, 2), np.nan)
    founds = place < OWN_READINGS
    first[group[founds], place[founds]] = y[founds]
    before = first[group]
    before[np.arange(OWN_READINGS) >= place[:, None]] = np.nan
    told, rows = np.sort(before, axis=1), np.arange(len(y))  # what is not there yet comes last
    count = np.minimum(place, OWN_READINGS)
    own = (told[rows, (count - 1) // 2] + told[rows, count // 2]) / 2
    return np.where((place > 0)[:, None], own, np.nan)
