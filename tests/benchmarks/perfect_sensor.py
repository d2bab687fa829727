"""What one would forecast who sees both damages of a simulated pump and their rates, and knows the fleet's
constants, but neither the failure levels nor the future. The ceiling that forecasts from readings are held
against."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import ndtr

from demo_fleet import fleet as simulator


def perfect_risk(
    p: simulator.FleetParameters,
    lives: pd.DataFrame,
    now: np.ndarray,
    d: np.ndarray,
    wear: np.ndarray,
    slope: np.ndarray,
    delays: np.ndarray,
) -> np.ndarray:
    """Return P(fails within d km), (n,).

    lives: type_code, true_drag_start_km, true_drag_rate. wear, slope: true, in points and points per km.
    delays: from `drag_delays`.
    """
    code = lives["type_code"].to_numpy(int)
    p_wear = _reached(p.wear_at_failure[code], p.wear_level_sd, wear, wear + slope * d)
    start, rate = lives["true_drag_start_km"].to_numpy(), lives["true_drag_rate"].to_numpy()
    drag = rate * np.maximum(now - start, 0) / 1e4
    p_started = _reached(p.drag_level, p.drag_level_sd, drag, drag + rate * d / 1e4)
    scale = p.drag_scale_km[code]
    parts = np.linspace(0, 1, 13)[1:] - 1 / 24
    hazard = np.zeros(len(now))
    for part in parts:
        density = p.drag_shape / scale * ((now + part * d) / scale) ** (p.drag_shape - 1)
        reach = np.searchsorted(delays, (1 - part) * d) / len(delays)
        hazard += density * reach * d / len(parts)
    p_drag = np.where(start <= now, p_started, -np.expm1(-hazard))
    return 1 - (1 - p_wear) * (1 - p_drag) * np.exp(-p.sudden_per_km[code] * d)


def _reached(level: np.ndarray | float, sd: float, before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """Chance that a lognormal level above `before` lies below `after`."""
    with np.errstate(divide="ignore"):
        f = [
            ndtr((np.log(np.maximum(v, 1e-12)) - np.log(level)) / sd)
            for v in (before, np.maximum(after, before))
        ]
    return 1 - (1 - f[1]) / np.maximum(1 - f[0], 1e-12)


def truth_on(fleet: simulator.SimulatedFleet, pumps: pd.DataFrame, day: str) -> pd.DataFrame:
    """Return the true lives of `pumps` (rows of a history's), with now_km and left_km on a day."""
    lives = fleet.true_lives.assign(serial=[f"S{i:06d}" for i in fleet.true_lives["life"]])
    true = lives.set_index("serial").loc[pumps["serial"]]
    odometer = np.array([fleet.odometer_on(int(v), day) for v in true["vehicle"]])
    now = odometer - true["fitted_km"].to_numpy()
    return true.assign(now_km=now, left_km=true["true_fails_at_km"].to_numpy() - now)


def perfect_forecast(fleet: simulator.SimulatedFleet, true: pd.DataFrame, d_km: np.ndarray) -> np.ndarray:
    """Return P(fails within d_km), (n,), for the rows of `truth_on`."""
    p, now = fleet.parameters, true["now_km"].to_numpy()
    wear, slope = fleet.wear_of(true["life"].to_numpy(int), now)
    return perfect_risk(p, true, now, d_km, wear, slope, drag_delays(p, fleet.spec.seed))


def drag_delays(p: simulator.FleetParameters, seed: int) -> np.ndarray:
    """Return sorted draws of the distance from the start of drag to failure, km."""
    rng = np.random.default_rng(seed)
    rate = p.drag_rate * np.exp(rng.normal(0, p.drag_rate_sd, 4000))
    return np.sort(p.drag_level * np.exp(rng.normal(0, p.drag_level_sd, 4000)) / rate * 1e4)
