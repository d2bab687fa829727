"""A seeded fleet at the level of readings: lives, hidden damage, visits, failures, and the truth about them.

Three independent ways to fail, by distance x on the pump:
    wear    W(x) = rate * (x/100,000 km)**power + integrated random walk; fails above its own level
    drag    starts at a random distance, then D grows linearly; fails above its own level
    sudden  a constant hazard no reading can see
Readings follow the linearised motor of ingest.sensitivities: wear raises ripple and brush resistance,
drag and a loading filter raise torque. Every number here is invented for the demo and for studies.

    fleet = simulate_fleet(FleetSpec(vehicles=60, seed=1))
    write_folder(fleet, Path("fleet"))
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd

from demo_fleet.dirt import Dirt, add_dirt
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
    wear_slope: np.ndarray
    wear_level: np.ndarray
    drag_start_km: np.ndarray
    drag_rate: np.ndarray
    drag_level: np.ndarray
    fails_at_km: np.ndarray
    mode: np.ndarray  # wear | drag | sudden
    ln_current: np.ndarray
    ln_speed: np.ndarray
    ripple: np.ndarray


@dataclass(frozen=True)
class SimulatedFleet:
    """`tables`: the fleet folder's CSVs by name; `true_lives`, `true_visits`: what nobody can know."""

    spec: FleetSpec
    parameters: FleetParameters
    tables: dict[str, pd.DataFrame]
    true_lives: pd.DataFrame
    true_visits: pd.DataFrame
    calendar: dict[str, np.ndarray]
    wear_paths: np.ndarray

    def odometer_on(self, vehicle: int, day: str) -> float:
        """True odometer (km) of a vehicle, by its number, on a day."""
        since = float((np.datetime64(day) - self.calendar["in_service"][vehicle]).astype(int))
        return float(np.interp(since, self.calendar["day"][vehicle], self.calendar["odometer"][vehicle]))

    def wear_of(self, life: np.ndarray, x_km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """True wear (ripple points) and its slope per km of lives at distances `x_km`."""
        at = np.clip(x_km / STEP_KM, 0, GRID - 1.001)
        low = at.astype(int)
        step = self.wear_paths[life, low + 1] - self.wear_paths[life, low]
        return self.wear_paths[life, low] + (at - low) * step, step / STEP_KM


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
        type_code, wear, rate, np.column_stack([slope, slope[:, -1]]), level, start, drag_rate, drag_level,
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


def simulate_fleet(spec: FleetSpec) -> SimulatedFleet:
    """Run the whole fleet over its calendar and return what a ledger would hold, and the truth."""
    rng = np.random.default_rng(spec.seed)
    p = draw_parameters(spec, rng)
    cars = _vehicles(spec, rng)
    calendar = _calendar(spec, cars, rng)
    pumps, visits, paths = _run(spec, p, cars, calendar, rng)
    services = _services(cars, calendar)
    tables = _tables(spec, p, cars, pumps, visits, services)
    truth = visits.merge(pumps[["life", "true_fails_at_km", "true_mode"]], on="life")
    tables = add_dirt(tables, spec.dirt, np.random.default_rng(spec.seed + 1))
    return SimulatedFleet(spec, p, tables, pumps, truth, calendar | {"in_service": cars["in_service"]}, paths)


def write_folder(fleet: SimulatedFleet, folder: Path) -> None:
    """Write the fleet folder: one CSV a table and fleet.toml."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in fleet.tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    unit = fleet.spec.distance_unit
    (folder / "fleet.toml").write_text(
        f'distance_unit = "{unit}"\ncurrency = "USD"\nrecords_are = "invented"\n'
        f"reference_supply_v = {REFERENCE_V}\n"
        "planned_replacement = 650\nfailure_replacement = 2400\n",
        encoding="utf-8",
    )


def _vehicles(spec: FleetSpec, rng: np.random.Generator) -> dict[str, Any]:
    n = spec.vehicles
    names = list(CLASSES)
    code = rng.choice(len(names), n, p=[CLASSES[c][0] for c in names])
    table = np.array([CLASSES[c][1:] for c in names])[code]
    until = np.datetime64(spec.until)
    records_from = until - np.timedelta64(int(spec.years * 365), "D")
    # Some were in service long before records begin, some came later.
    age_days = rng.integers(-int(spec.years * 200), 8 * 365, n)
    return {
        "unit": np.array([f"V{i:05d}" for i in range(1, n + 1)]),
        "class": np.array(names)[code],
        "km_per_day": table[:, 0] * np.exp(rng.normal(0, 0.3, n)),
        "pm_km": table[:, 1],
        "pm_days": table[:, 2],
        "in_service": records_from - age_days.astype("timedelta64[D]"),
        "records_from": records_from,
        "until": until,
        "type_code": rng.choice(len(TYPES), n, p=[0.4, 0.3, 0.2, 0.1]),
        "depot": rng.choice(["North", "South"], n),
    }


def _calendar(spec: FleetSpec, cars: dict[str, Any], rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Return each vehicle's visit days since its service start (n, K) and odometers, (n, K) each."""
    n = spec.vehicles
    span = (cars["until"] - cars["in_service"]).astype(float)
    gap = np.minimum(cars["pm_km"] / cars["km_per_day"], cars["pm_days"])
    k = int(np.ceil((span / gap).max() * 1.25)) + 4
    days = gap[:, None] * np.exp(rng.normal(0, 0.18, (n, k))) * np.where(rng.random((n, k)) < 0.06, 2, 1)
    run = days * cars["km_per_day"][:, None] * np.exp(rng.normal(0, 0.12, (n, k)))
    zero = np.zeros((n, 1))
    day = np.column_stack([zero, np.maximum(np.round(np.cumsum(days, 1)), np.arange(1, k + 1))])
    return {"day": day, "odometer": np.column_stack([zero, np.cumsum(run, 1)]), "span": span}


def _run(
    spec: FleetSpec,
    p: FleetParameters,
    cars: dict[str, Any],
    cal: dict[str, np.ndarray],
    rng: np.random.Generator,
) -> tuple[pd.DataFrame, pd.DataFrame, np.ndarray]:
    n = spec.vehicles
    day, odometer, span = cal["day"], cal["odometer"], cal["span"]
    filter_odometer = _filter_odometer(odometer)
    starts_day, starts_odo = np.zeros(n), np.zeros(n)
    active = np.flatnonzero(span > 0)
    pumps, visits, paths, life = [], [], [], 0
    while len(active):
        lives = draw_lives(p, cars["type_code"][active], rng)
        fail_odo = starts_odo[active] + lives.fails_at_km
        fail_day = np.array(
            [np.interp(f, odometer[v], day[v], right=np.inf) for f, v in zip(fail_odo, active, strict=True)]
        )
        inside = (
            (day[active] > starts_day[active, None])
            & (odometer[active] < fail_odo[:, None])
            & (day[active] <= span[active, None])
        )
        row, col = np.nonzero(inside)
        v = active[row]
        x = odometer[v, col] - starts_odo[v]
        filter_from = np.maximum(filter_odometer[v, col], starts_odo[v])
        date = cars["in_service"][v] + day[v, col].astype("timedelta64[D]")
        doy = (date - date.astype("datetime64[Y]")).astype(float)
        frame = take_readings(p, lives, row, x, odometer[v, col] - filter_from, doy, rng)
        frame = frame.assign(row=row, vehicle=v, day=day[v, col], x_km=x, odometer_km=odometer[v, col])
        frame["visited_on"] = date
        removed_day, removed_odo = np.where(fail_day <= span[active], fail_day, np.inf), fail_odo.copy()
        removal = np.where(np.isfinite(removed_day), "failed", "").astype("U12")
        # Somebody acts on the readings now and then, which makes those removals informative.
        worst = np.maximum(
            (frame["ripple_pct"] - lives.ripple[row]) / p.wear_level[lives.type_code[row]],
            (np.log(frame["mean_a"]) - lives.ln_current[row]) / p.drag_level,
        )
        acts = (worst > 0.75) & (rng.random(len(frame)) < spec.removed_on_condition)
        first = frame[acts].groupby("row").head(1)
        for r, d, o in zip(first["row"], first["day"], first["odometer_km"], strict=True):
            removed_day[r], removed_odo[r], removal[r] = d, o, "on_condition"
        frame = frame[frame["day"] <= removed_day[frame["row"]]].copy()
        frame["life"] = life + frame["row"]
        visits.append(frame)
        end_km = np.where(np.isfinite(removed_odo), removed_odo - starts_odo[active], 0.0)
        used = np.column_stack(damage_at(lives, np.arange(len(active)), end_km))
        gone = (used[:, 0] > 0.6 * lives.wear_level) | (used[:, 1] > 0.5 * lives.drag_level)
        found = np.where(lives.mode == "drag", "seized", np.where(lives.mode == "wear", "worn", "electrical"))
        found = np.where(removal == "on_condition", np.where(gone, "worn", "tested_good"), found)
        pumps.append(
            pd.DataFrame(
                {
                    "life": life + np.arange(len(active)),
                    "vehicle": active,
                    "fitted_day": starts_day[active],
                    "fitted_km": starts_odo[active],
                    "removed_day": removed_day,
                    "removed_km": removed_odo,
                    "removal": removal,
                    "found": np.where(removal == "", "", found),
                    "true_fails_at_km": lives.fails_at_km,
                    "true_mode": lives.mode,
                    "true_drag_start_km": lives.drag_start_km,
                    "true_wear_rate": lives.wear_rate,
                    "true_drag_rate": lives.drag_rate,
                    "type_code": lives.type_code,
                }
            )
        )
        paths.append(lives.wear.astype(np.float32))
        life += len(active)
        again = np.isfinite(removed_day)
        starts_day[active[again]], starts_odo[active[again]] = removed_day[again], removed_odo[again]
        active = active[again]
    return pd.concat(pumps, ignore_index=True), pd.concat(visits, ignore_index=True), np.concatenate(paths)


def _filter_odometer(odometer: np.ndarray, every_km: float = 50e3) -> np.ndarray:
    """Return the odometer of the last filter change at each visit: the first visit past each multiple."""
    due = np.floor(odometer / every_km)
    changed = np.zeros_like(odometer, bool)
    changed[:, 1:] = due[:, 1:] > due[:, :-1]
    # Readings are taken before the change at the same stop.
    previous = np.where(changed, odometer, 0.0)
    running = np.maximum.accumulate(previous, axis=1)
    return np.column_stack([np.zeros(len(odometer)), running[:, :-1]])


def _services(cars: dict[str, Any], cal: dict[str, np.ndarray]) -> pd.DataFrame:
    due = np.floor(cal["odometer"] / 50e3)
    changed = np.zeros_like(due, bool)
    changed[:, 1:] = due[:, 1:] > due[:, :-1]
    v, k = np.nonzero(changed & (cal["day"] <= cal["span"][:, None]))
    date = cars["in_service"][v] + cal["day"][v, k].astype("timedelta64[D]")
    rows = pd.DataFrame(
        {"unit": cars["unit"][v], "done_on": date, "odometer": cal["odometer"][v, k], "work": "filter"}
    )
    return rows[rows["done_on"] >= cars["records_from"]].reset_index(drop=True)


def pump_types(p: FleetParameters) -> pd.DataFrame:
    """Return the fleet folder's pump types, with the specifications of a maker who allows for spread."""
    return pd.DataFrame(
        {
            "pump_type": TYPES,
            "segments": 8,
            "current_low_a": np.round(p.current_a * 0.8, 1),
            "current_high_a": np.round(p.current_a * 1.25, 1),
            "ripple_limit_pct": 15,
            "rpm_low": 3400,
            "rpm_high": 10000,
            "rated_pressure_kpa": 400,
            "filter": "inline",
        }
    )


def _tables(
    spec: FleetSpec,
    p: FleetParameters,
    cars: dict[str, Any],
    pumps: pd.DataFrame,
    visits: pd.DataFrame,
    services: pd.DataFrame,
) -> dict[str, pd.DataFrame]:
    unit_km = KM_PER_MI if spec.distance_unit == "mi" else 1.0
    rng = np.random.default_rng(spec.seed + 2)
    names = np.array(TYPES)
    vehicles = pd.DataFrame(
        {
            "unit": cars["unit"],
            "class": cars["class"],
            "depot": cars["depot"],
            "in_service_on": cars["in_service"],
            "records_from": np.maximum(cars["records_from"], cars["in_service"]),
            "pm_interval": np.round(cars["pm_km"] / unit_km),
            "pm_interval_days": cars["pm_days"].astype(int),
        }
    )
    v = pumps["vehicle"].to_numpy()
    fitted = cars["in_service"][v] + np.floor(pumps["fitted_day"].to_numpy()).astype("timedelta64[D]")
    gone = np.isfinite(pumps["removed_day"].to_numpy())
    safe = np.where(gone, pumps["removed_day"], 0)
    removed = pd.Series(cars["in_service"][v] + np.floor(safe).astype("timedelta64[D]")).where(
        pd.Series(gone)
    )
    table = pd.DataFrame(
        {
            "unit": cars["unit"][v],
            "position": "main",
            "pump_type": names[cars["type_code"][v]],
            "serial": [f"S{i:06d}" for i in pumps["life"]],
            "fitted_on": fitted,
            "fitted_odometer": np.round(pumps["fitted_km"] / unit_km),
            "removed_on": removed,
            "removed_odometer": (pumps["removed_km"] / unit_km).round().where(pd.Series(gone)),
            "removal": pumps["removal"],
            "found": pumps["found"],
        }
    )
    kept = (~gone) | (removed.to_numpy() >= cars["records_from"])
    table = table[kept].sort_values(["unit", "fitted_odometer"]).reset_index(drop=True)

    seen = visits[visits["visited_on"] >= cars["records_from"]]
    seen = seen[rng.random(len(seen)) < spec.capture_share] if spec.capture_share < 1 else seen
    metrics = seen[["mean_a", "ripple_pct", "rpm"]].round({"mean_a": 3, "ripple_pct": 2, "rpm": 0})
    around = seen[["supply_v", "fuel_pressure_kpa", "fuel_temp_c", "fuel_level_pct"]].round(
        {"supply_v": 2, "fuel_pressure_kpa": 0, "fuel_temp_c": 0, "fuel_level_pct": 0}
    )
    if spec.missing_covariates:
        around = around.mask(rng.random(around.shape) < spec.missing_covariates)
    readings = pd.DataFrame(
        {
            "unit": cars["unit"][seen["vehicle"]],
            "position": "main",
            "serial": [f"S{i:06d}" for i in seen["life"]],
            "visited_on": seen["visited_on"].to_numpy(),
            "odometer": np.round(seen["odometer_km"].to_numpy() / unit_km),
            "reason": "pm",
            "state": "idle",
        }
    )
    readings = pd.concat([readings, metrics.reset_index(drop=True), around.reset_index(drop=True)], axis=1)
    readings = readings.sort_values(["unit", "odometer"]).reset_index(drop=True)
    broke = table[table["removal"] == "failed"]
    return {
        "vehicles": vehicles,
        "pump_types": pump_types(p),
        "pumps": table,
        "visits": readings,
        "services": services.assign(odometer=(services["odometer"] / unit_km).round()),
        "breakdowns": pd.DataFrame(
            {
                "unit": broke["unit"],
                "happened_on": broke["removed_on"],
                "odometer": broke["removed_odometer"],
                "pump_confirmed": "yes",
                "cost": np.round(2400 * np.exp(rng.normal(0, 0.3, len(broke)))),
            }
        ).reset_index(drop=True),
    }
