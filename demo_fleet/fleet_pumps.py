"""How a simulated fleet's pumps live: parameters, hidden damage over distance, failure levels, readings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd

from demo_fleet.dirt import Dirt
from ingest.sensitivities import log_ratio, log_volts_ratio, sensitivities

KM_PER_MI = 1.609344
STEP_KM = 1000.0
GRID = 700
REFERENCE_V = 13.5
# share of the fleet, km a day (after public utilisation tables), pm interval in km and days
CLASSES = {
    "van": (0.40, 52.0, 8000.0, 182),
    "patrol car": (0.20, 75.0, 6500.0, 122),
    "shuttle": (0.20, 110.0, 9600.0, 122),
    "refuse": (0.10, 95.0, 9600.0, 122),
    "ambulance": (0.10, 80.0, 8000.0, 122),
}
TYPES = ("K-2201", "K-2340", "M-118", "M-127")
Variant = Literal["standard", "concave", "flattening", "late-knee", "other-drag"]
FLATTENS_PTS, FLATTENS = 9.0, 0.6  # where readings flatten, wear is shown as 9 (wear/9)**0.6


@dataclass(frozen=True)
class FleetSpec:
    """What to simulate. `variant` breaks the usual shape: wear that is fast at first (concave), readings that
    flatten as wear grows, wear that turns up late, or drag that shows as lost speed and ripple instead of
    torque."""

    vehicles: int = 200
    seed: int = 0
    years: float = 5.0
    until: str = "2026-06-30"
    distance_unit: Literal["mi", "km"] = "mi"
    variant: Variant = "standard"
    dirt: Dirt = field(default_factory=Dirt.none)
    removed_on_condition: float = 0.3  # chance that a pump far gone by its readings is taken off at a visit
    missing_covariates: float = 0.0  # share of visits without volts, pressure and temperature
    capture_share: float = 1.0  # share of visits with a reading at all
    spread: float = 1.0  # how far this fleet's own parameters lie from the usual ones
    level_spread: float = 1.0  # how far pumps' failure levels lie apart, times the usual
    sudden: float = 1.0  # failures that no reading can see, times the usual


@dataclass(frozen=True)
class FleetParameters:
    """The fleet's own constants. Arrays have one value per pump type."""

    wear_rate: np.ndarray  # ripple points at 100,000 km
    wear_power: float
    wear_rate_sd: float  # of ln rate between pumps
    wear_walk: float  # ripple points per 100,000 km, per square root of 100,000 km
    wear_level: np.ndarray  # ripple points at failure, median
    wear_level_sd: float  # of ln level
    drag_scale_km: np.ndarray
    drag_shape: float
    drag_rate: float  # ln torque per 10,000 km, median
    drag_rate_sd: float
    drag_level: float
    drag_level_sd: float
    sudden_per_km: np.ndarray
    filter_per_km: float
    wear_resistance: float  # ln resistance per ripple point
    current_a: np.ndarray
    rpm: np.ndarray
    ripple_pct: np.ndarray
    variant: Variant = "standard"

    @property
    def wear_at_failure(self) -> np.ndarray:
        """Median failure level of wear by type, points: lower where wear is slow later, for lives as long."""
        return self.wear_level * (0.75 if self.variant == "concave" else 1.0)


@dataclass(frozen=True)
class Lives:
    """`n` pump lives on the distance grid (n, GRID + 1) with their failure distances (n,), inf = never."""

    type_code: np.ndarray
    wear: np.ndarray
    wear_rate: np.ndarray
    wear_level: np.ndarray
    drag_start_km: np.ndarray
    drag_rate: np.ndarray
    drag_level: np.ndarray
    fails_at_km: np.ndarray
    mode: np.ndarray  # wear | drag | sudden
    ln_current: np.ndarray
    ln_speed: np.ndarray
    ripple: np.ndarray


def draw_parameters(spec: FleetSpec, rng: np.random.Generator) -> FleetParameters:
    """Draw one fleet's constants around the usual ones."""
    k, s = len(TYPES), spec.spread

    def near(value: float, sd: float) -> float:
        return float(value * np.exp(rng.normal(0, sd * s)))

    return FleetParameters(
        wear_rate=near(4.5, 0.2) * np.exp(rng.normal(0, 0.2 * s, k)),
        wear_power=0.7 if spec.variant == "concave" else near(1.35, 0.1),
        wear_rate_sd=near(0.35, 0.15),
        wear_walk=near(2.5, 0.2),
        wear_level=near(9.0, 0.15) * np.exp(rng.normal(0, 0.1 * s, k)),
        wear_level_sd=spec.level_spread * near(0.22, 0.15),
        drag_scale_km=near(260e3, 0.2) * np.exp(rng.normal(0, 0.2 * s, k)),
        drag_shape=near(1.4, 0.1),
        drag_rate=near(0.10, 0.2),
        drag_rate_sd=near(0.4, 0.15),
        drag_level=near(0.26, 0.15),
        drag_level_sd=spec.level_spread * near(0.25, 0.15),
        sudden_per_km=spec.sudden * near(1 / 900e3, 0.2) * np.exp(rng.normal(0, 0.3 * s, k)),
        filter_per_km=near(1.0e-6, 0.2),
        wear_resistance=near(0.02, 0.3),
        current_a=rng.uniform(4.3, 7.5, k),
        rpm=rng.uniform(4800, 7000, k),
        ripple_pct=rng.uniform(6.5, 9.5, k),
        variant=spec.variant,
    )


def draw_lives(p: FleetParameters, type_code: np.ndarray, rng: np.random.Generator) -> Lives:
    """Draw one new pump for each entry of `type_code` and run it until it fails."""
    n = len(type_code)
    x = np.arange(GRID + 1) * STEP_KM / 100e3
    rate = p.wear_rate[type_code] * np.exp(rng.normal(0, p.wear_rate_sd, n))
    shape = x**p.wear_power
    if p.variant == "late-knee":
        shape = 0.55 * x + 1.6 * np.maximum(x - 1.0, 0)
    h = STEP_KM / 100e3
    slope = np.cumsum(rng.normal(0, p.wear_walk * np.sqrt(h), (n, GRID)), axis=1)
    walk = np.concatenate([np.zeros((n, 1)), np.cumsum(slope * h, axis=1)], axis=1)
    wear = np.maximum(rate[:, None] * shape + walk, 0.0)
    level = p.wear_at_failure[type_code] * np.exp(rng.normal(0, p.wear_level_sd, n))
    over = wear > level[:, None]
    wear_km = np.where(over.any(1), over.argmax(1) * STEP_KM - rng.uniform(0, STEP_KM, n), np.inf)
    start = p.drag_scale_km[type_code] * rng.weibull(p.drag_shape, n)
    drag_rate = p.drag_rate * np.exp(rng.normal(0, p.drag_rate_sd, n))
    drag_level = p.drag_level * np.exp(rng.normal(0, p.drag_level_sd, n))
    drag_km = start + drag_level / drag_rate * 1e4
    sudden_km = rng.exponential(1 / p.sudden_per_km[type_code])
    ends = np.column_stack([wear_km, drag_km, sudden_km])
    return Lives(
        type_code, wear, rate, level, start, drag_rate, drag_level,
        ends.min(1), np.array(["wear", "drag", "sudden"])[ends.argmin(1)],
        np.log(p.current_a[type_code]) + rng.normal(0, 0.04, n),
        np.log(p.rpm[type_code]) + rng.normal(0, 0.03, n),
        p.ripple_pct[type_code] * np.exp(rng.normal(0, 0.12, n)),
    )  # fmt: skip


def damage_at(lives: Lives, row: np.ndarray, x_km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return wear (ripple points) and drag (ln torque) of lives `row` at distances `x_km`, both (m,)."""
    at = np.clip(x_km / STEP_KM, 0, GRID - 1e-6)
    low = at.astype(int)
    wear = lives.wear[row, low] + (at - low) * (lives.wear[row, low + 1] - lives.wear[row, low])
    drag = lives.drag_rate[row] * np.maximum(x_km - lives.drag_start_km[row], 0) / 1e4
    return wear, drag


def take_readings(
    p: FleetParameters,
    lives: Lives,
    row: np.ndarray,
    x_km: np.ndarray,
    filter_km: np.ndarray,
    day_of_year: np.ndarray,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return one reading per entry: metrics, their covariates and the true damage."""
    m = len(row)
    wear, drag = damage_at(lives, row, x_km)
    s = sensitivities()
    volts = 13.6 + rng.normal(0, 0.35, m)
    pressure = 400 * np.exp(rng.normal(0, 0.035, m))
    warmth = 22 + 11 * np.sin(2 * np.pi * (day_of_year - 110) / 365) + rng.normal(0, 5, m)
    load = p.filter_per_km * filter_km
    ripple_of_drag: np.ndarray | float = 0.0
    slow: np.ndarray | float = 0.0
    if p.variant == "other-drag":
        ripple_of_drag, slow, torque = 12.0 * drag, 0.5 * drag, 0.25 * drag
    else:
        torque = drag
    shown = wear
    if p.variant == "flattening":
        shown = FLATTENS_PTS * (wear / FLATTENS_PTS) ** FLATTENS
    resistance = p.wear_resistance * shown + 0.00393 * (warmth - 25)
    ln_v, ln_p = log_volts_ratio(volts, REFERENCE_V), log_ratio(pressure, 400.0)
    torque = torque + load
    a_d = -s.speed_resistance
    ln_speed = (
        lives.ln_speed[row]
        + s.speed_volts * ln_v
        + s.speed_pressure * ln_p
        - a_d * (torque + resistance)
        - slow
    )
    ln_current = (
        lives.ln_current[row]
        + s.current_volts * ln_v
        + s.current_pressure * ln_p
        + (1 + 0.3 * -a_d) * torque
        + s.current_resistance * resistance
    )
    ripple = lives.ripple[row] + shown + ripple_of_drag
    return pd.DataFrame(
        {
            "mean_a": np.exp(ln_current + rng.normal(0, 0.010, m)),
            "ripple_pct": np.maximum(ripple + rng.normal(0, 0.6, m), 1.0),
            "rpm": np.exp(ln_speed + rng.normal(0, 0.003, m)),
            "supply_v": volts + rng.normal(0, 0.05, m),
            "fuel_pressure_kpa": pressure * np.exp(rng.normal(0, 0.01, m)),
            "fuel_temp_c": warmth + rng.normal(0, 2, m),
            "fuel_level_pct": rng.uniform(20, 100, m),
            "true_wear": wear,
            "true_drag": drag,
        }
    )
