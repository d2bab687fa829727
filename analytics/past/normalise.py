"""Readings made comparable: what is left of current, speed and ripple at equal volts, pressure and warmth.

    ln I  = own level + s_V ln(V/V0) + s_P ln(P/P0) + s_T (T - 25)/100 + ...     (the same for ln rpm and
    ripple)
    load   G = ln I - k ln rpm,  k = s_V(I)/s_V(rpm): supply and wiring cancel, a rise of torque stays whole
    brush  Z = -(ln rpm + a/D * G): a rise of winding and brush resistance stays, torque cancels
The exponents come from differences between consecutive readings of the same pump, pulled by a ridge toward
the linearised motor's nominal ones (ingest.sensitivities), so that a small fleet gets the nominal ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.past.least_squares import fit_plane_robustly
from ingest.metrics import trended
from ingest.sensitivities import COPPER_PER_C, log_ratio, log_volts_ratio, sensitivities
from ingest.trade_numbers import USUAL_RPM

NOMINAL = sensitivities()
LOAD_SPEED = -NOMINAL.speed_resistance  # a/D: loss of ln speed for a rise of ln torque
NOMINAL_EXPONENTS = {  # of metrics that they move; the rest not at all
    "mean_a": np.array(
        [NOMINAL.current_volts, NOMINAL.current_pressure, 100 * COPPER_PER_C * NOMINAL.current_resistance]
    ),
    "rpm": np.array(
        [NOMINAL.speed_volts, NOMINAL.speed_pressure, 100 * COPPER_PER_C * NOMINAL.speed_resistance]
    ),
}
# Factor on the load's variance where the filter may be new or due: what it adds by then, present or not, is
# some three times a reading's noise (common practice, no source).
FILTER_IN_DOUBT = 8.0
WORK_CURES = 0.7  # chance that recorded work ends a cause beside the pump: common practice, no source


@dataclass(frozen=True)
class Exponents:
    """Exponents on [ln V/V0, ln P/P0, (T - 25)/100], (3,) of each metric by name, as data moved them."""

    of: dict[str, np.ndarray]

    @property
    def load_ratio(self) -> float:
        """The k of G, kept to what a brushed motor can show."""
        return float(np.clip(self.of["mean_a"][0] / max(self.of["rpm"][0], 0.3), 0.0, 0.8))


@dataclass(frozen=True)
class Channels:
    """Per visit: ripple (points), load G and brush Z (natural logs), NaN where they can't be told.

    load_noise: factor on the load's usual variance (no speed, a meter's average instead of a capture, a
    filter that may or may not have been changed); noise: the same of ripple and brush; worked: chance that
    work on record since the last visit ended a cause beside the pump.
    """

    ripple: np.ndarray
    load: np.ndarray
    brush: np.ndarray
    load_noise: np.ndarray
    noise: np.ndarray
    worked: np.ndarray


def covariates(visits: pd.DataFrame, pumps: pd.DataFrame) -> np.ndarray:
    """Return (n, 3): ln V/V0, ln P/P0, (T - 25)/100; NaN where not recorded."""
    pump = visits["pump"].to_numpy(int)
    volts_0 = pumps["reference_v"].to_numpy(float)[pump]
    rated = pumps["rated_pressure_kpa"].to_numpy(float)[pump]
    pressure = visits["fuel_pressure_kpa"].to_numpy(float)
    unrated = np.isnan(rated) & ~np.isnan(pressure)
    if unrated.any():  # against the usual pressure of the type
        usual = visits.groupby(pumps["pump_type"].to_numpy()[pump])["fuel_pressure_kpa"].transform("median")
        rated = np.where(unrated, usual.to_numpy(float), rated)
    volts = visits["supply_v"].to_numpy(float)
    return np.column_stack(
        [
            np.where(np.isnan(volts), np.nan, log_volts_ratio(volts, volts_0)),
            np.where(np.isnan(pressure), np.nan, log_ratio(pressure, rated)),
            (visits["fuel_temp_c"].to_numpy(float) - 25.0) / 100.0,
        ]
    )


def nominal() -> Exponents:
    """Return what is believed before any data."""
    return Exponents({m.name: NOMINAL_EXPONENTS.get(m.name, np.zeros(3)) for m in trended()})


def values(visits: pd.DataFrame) -> dict[str, np.ndarray]:
    """Return each trended metric of usable visits (ln of the relative ones), NaN elsewhere."""
    usable = visits["usable"].to_numpy(bool)
    out = {}
    for m in trended():
        value = visits[m.name].to_numpy(float)
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.log(value) if m.relative else value
        out[m.name] = np.where(usable & np.isfinite(value), value, np.nan)
    return out


def fit_exponents(visits: pd.DataFrame, pumps: pd.DataFrame) -> Exponents:
    """Estimate the exponents by robust ridge regression on within-pump differences, shrunk to the nominal."""
    x = covariates(visits, pumps)
    y = values(visits)
    pump = visits["pump"].to_numpy()
    same = pump[1:] == pump[:-1]
    dx = np.where(np.isnan(np.diff(x, axis=0)), 0.0, np.diff(x, axis=0))[same]
    found = {}
    for m in trended():
        usual = nominal().of[m.name]
        found[m.name] = usual
        if not m.open_exponents:
            continue
        dy = np.diff(y[m.name])[same]
        ok = np.isfinite(dy) & (np.abs(dx).sum(1) > 0)
        moved, _ = fit_plane_robustly(
            dx[ok], dy[ok] - dx[ok] @ usual, prior_sd=m.open_exponents, least_sd=m.scatter
        )
        found[m.name] = usual + moved
    return Exponents(found)


def channels(visits: pd.DataFrame, pumps: pd.DataFrame, exponents: Exponents) -> Channels:
    """Return ripple, load and brush channels of every visit."""
    x = covariates(visits, pumps)
    y = values(visits)
    known = np.where(np.isnan(x), 0.0, x)
    ln_a = y["mean_a"] - known @ exponents.of["mean_a"]
    ln_rpm = y["rpm"] - known @ exponents.of["rpm"]
    # Without a speed, current alone tells the load at the usual speed: a tenth less of a drag, more noise.
    no_speed = np.isnan(ln_rpm)
    load = ln_a - exponents.load_ratio * np.where(no_speed, np.log(USUAL_RPM), ln_rpm)
    # A slow reading on unknown volts may be the battery: no brush channel then.
    brush = np.where(np.isnan(x[:, 0]), np.nan, -(ln_rpm + LOAD_SPEED * load))
    noise = np.where(np.isnan(x[:, 1]), 2.0, 1.0) * np.where(visits["by_meter"].to_numpy(bool), 4.0, 1.0)
    noise *= np.where(no_speed, np.where(np.isnan(x[:, 0]), 3.0, 2.0), 1.0)
    noise *= np.where(visits["filter_in_doubt"].to_numpy(bool), FILTER_IN_DOUBT, 1.0)
    worked = WORK_CURES * visits["worked"].to_numpy(float) if "worked" in visits else np.zeros(len(load))
    ripple = y["ripple_pct"] - known @ exponents.of["ripple_pct"]
    return Channels(ripple, load, brush, noise, np.ones(len(load)), worked)
