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

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from demo_fleet.dirt import add_dirt
from demo_fleet.fleet_pumps import (
    CLASSES,
    GRID,
    KM_PER_MI,
    REFERENCE_V,
    STEP_KM,
    TYPES,
    FleetParameters,
    FleetSpec,
    damage_at,
    draw_lives,
    draw_parameters,
    take_readings,
)


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
