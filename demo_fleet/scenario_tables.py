"""The life simulator's tables in the demo's dress: units, depots, makes, pump types, stock, bays."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
import pandas as pd

from demo_fleet.catalogue import (
    BAY_HOURS_A_WEEK,
    BENCHES,
    DEPOT_SHARES,
    DEPOTS,
    MODELS,
    PUMP_KINDS,
    TECHNICIANS,
)
from demo_fleet.fleet import SimulatedFleet
from demo_fleet.fleet_pumps import KM_PER_MI, FleetParameters

METRICS = ["mean_a", "ripple_pct", "rpm"]
# Columns of the working visits table that only the truth keeps.
HIDDEN = ["life", "true_wear", "true_drag", "true_event", "motor_v", "kind", "zero_check"]


@dataclass
class Story:
    """The fleet while it is being written. `visits` carries hidden columns until the end."""

    parameters: FleetParameters
    today: date
    vehicles: pd.DataFrame
    pump_types: pd.DataFrame
    pumps: pd.DataFrame
    visits: pd.DataFrame
    services: pd.DataFrame
    breakdowns: pd.DataFrame
    stock: pd.DataFrame
    bays: pd.DataFrame
    due_work: pd.DataFrame
    odometers: pd.DataFrame
    true_lives: pd.DataFrame
    dirt: list[dict[str, object]] = field(default_factory=list)

    def tables(self) -> dict[str, pd.DataFrame]:
        """The folder's tables by name, without what nobody can know."""
        return {
            "vehicles": self.vehicles,
            "pump_types": self.pump_types,
            "pumps": self.pumps.drop(columns="life"),
            "visits": self.visits.drop(columns=HIDDEN),
            "services": self.services,
            "breakdowns": self.breakdowns,
            "stock": self.stock,
            "bays": self.bays,
            "due_work": self.due_work,
            "odometers": self.odometers,
        }

    def true_visits(self) -> pd.DataFrame:
        """The hidden state at each visit, and what was falsified."""
        truth = self.visits[["ref", "unit", "visited_on", *HIDDEN]].copy()
        errors = {entry["ref"]: entry["error"] for entry in self.dirt if "ref" in entry}
        truth["entry_error"] = truth["ref"].map(errors)
        return truth


def dressed(fleet: SimulatedFleet, today: date) -> Story:
    """Turn a simulated fleet into the demo's county fleet."""
    rng = np.random.default_rng((fleet.spec.seed, 21))
    tables = fleet.tables
    vehicles = _vehicles(tables["vehicles"], tables["pumps"], today, rng)
    unit_of = dict(zip(tables["vehicles"]["unit"], vehicles["unit"], strict=True))
    kind_of = {name: k for k, name in enumerate(tables["pump_types"]["pump_type"])}
    pumps = tables["pumps"].assign(unit=tables["pumps"]["unit"].map(unit_of))
    pumps["life"] = pumps["serial"].str[1:].astype(int)
    kind = pumps["pump_type"].map(kind_of)
    pumps["pump_type"] = [PUMP_KINDS[k].pump_type for k in kind]
    pumps = _pump_history(pumps, rng)
    by_life = pd.Series(kind.to_numpy(), index=pumps["life"])
    visits = _visits(tables["visits"], fleet.true_visits, vehicles, unit_of, by_life, rng)
    truth = fleet.true_lives.drop(columns="vehicle")
    return Story(
        fleet.parameters,
        today,
        vehicles,
        _pump_types(fleet.parameters),
        pumps,
        visits,
        _services(tables["services"].assign(unit=tables["services"]["unit"].map(unit_of)), rng),
        _breakdowns(tables["breakdowns"].assign(unit=tables["breakdowns"]["unit"].map(unit_of)), rng),
        _stock(rng),
        _bays(today),
        _due_work(vehicles, today, rng),
        _odometers(visits, today),
        truth[truth["life"].isin(pumps["life"])].reset_index(drop=True),
    )


def _vehicles(
    vehicles: pd.DataFrame, pumps: pd.DataFrame, today: date, rng: np.random.Generator
) -> pd.DataFrame:
    n = len(vehicles)
    depot = rng.choice(list(DEPOTS), n, p=DEPOT_SHARES)
    count = pd.Series(depot).groupby(depot).cumcount() + 1
    first_type = pumps.groupby("unit")["pump_type"].first()
    names = sorted(first_type.unique())
    engine = {name: PUMP_KINDS[i].engine for i, name in enumerate(names)}
    year = pd.to_datetime(vehicles["in_service_on"]).dt.year
    retires = [
        date(int(y) + 12, 12, 31) if rng.random() < 0.5 and int(y) + 12 >= today.year else None for y in year
    ]
    return pd.DataFrame(
        {
            "unit": [f"{DEPOTS[d]}-{c:03d}" for d, c in zip(depot, count, strict=True)],
            "vin": "",
            "year": year,
            "make": [MODELS[c][0] for c in vehicles["class"]],
            "model": [MODELS[c][1] for c in vehicles["class"]],
            "engine": vehicles["unit"].map(first_type).map(engine),
            "class": vehicles["class"],
            "depot": depot,
            "system_v": 12,
            "in_service_on": vehicles["in_service_on"],
            "records_from": vehicles["records_from"],
            "retires_on": retires,
            "pm_interval": (vehicles["pm_interval"] / 100).round() * 100,
            "pm_interval_days": vehicles["pm_interval_days"],
            "job_hours": [MODELS[c][2] for c in vehicles["class"]],
        }
    )


def _pump_types(parameters: FleetParameters) -> pd.DataFrame:
    rows = []
    for k, kind in enumerate(PUMP_KINDS):
        usual = parameters.current_a[k]
        rows.append(
            {
                "pump_type": kind.pump_type,
                "motor": "brushed",
                "supply": "pwm" if kind.pwm_hz else "direct",
                "fuel": "petrol",
                "segments": kind.segments,
                "current_low_a": np.floor(usual * 0.82 * 2) / 2,
                "current_high_a": np.ceil(usual * 1.22 * 2) / 2,
                "spec_at_v": 13.5,
                "spec_at_kpa": 400,
                "ripple_limit_pct": None if kind.pwm_hz else 15,
                "rpm_low": 3400,
                "rpm_high": 10000,
                "rated_pressure_kpa": 400,
                "filter": kind.filter,
                "lead_time_days": kind.lead_time_days,
                "price": kind.price,
                "warranty_months": 24,
                "warranty_distance": 24000,
                "spec_source": "bench sheet of this demo",
            }
        )
    return pd.DataFrame(rows).astype({"segments": "Int64"})


def _pump_history(pumps: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Lots, costs, causes and claims; some early changes were made while the tank was down anyway."""
    pumps = pumps.copy()
    year = pd.to_datetime(pumps["fitted_on"]).dt.year
    quarter = pd.to_datetime(pumps["fitted_on"]).dt.quarter
    pumps["lot"] = [f"L{y % 100:02d}{q}" for y, q in zip(year, quarter, strict=True)]
    tested_good = (pumps["removal"] == "on_condition") & (pumps["found"] == "tested_good")
    pumps.loc[tested_good & (rng.random(len(pumps)) < 0.5), "removal"] = "opportunity"
    failed = (pumps["removal"] == "failed").to_numpy()
    gone = (pumps["removal"] != "").to_numpy()
    usual = np.where(
        failed, 2400 * np.exp(rng.normal(0, 0.3, len(pumps))), 650 * np.exp(rng.normal(0, 0.12, len(pumps)))
    )
    pumps["cost"] = pd.Series(np.round(usual, 2), index=pumps.index).where(gone)
    causes = {
        "worn": ("brushes worn out", "commutator worn"),
        "seized": ("debris in the pump", "bearing worn", "water in fuel"),
        "electrical": ("open winding", "connector burnt"),
    }
    pumps["cause"] = [
        rng.choice(causes[found]) if found in causes and removal == "failed" and rng.random() < 0.7 else ""
        for found, removal in zip(pumps["found"], pumps["removal"], strict=True)
    ]
    not_looked_at = gone & (rng.random(len(pumps)) < 0.2)
    pumps.loc[not_looked_at, ["found", "cause"]] = ["not_examined", ""]
    life_days = (pd.to_datetime(pumps["removed_on"]) - pd.to_datetime(pumps["fitted_on"])).dt.days
    young = failed & (life_days < 730).to_numpy() & (rng.random(len(pumps)) < 0.5)
    pumps["claim"] = np.where(young, [f"claim {i:04d}" for i in pumps["life"]], "")
    return pumps


def _visits(
    visits: pd.DataFrame,
    truth: pd.DataFrame,
    vehicles: pd.DataFrame,
    unit_of: dict[str, str],
    kind_of_life: pd.Series,
    rng: np.random.Generator,
) -> pd.DataFrame:
    visits = visits.assign(unit=visits["unit"].map(unit_of), life=visits["serial"].str[1:].astype(int))
    state = truth[["life", "visited_on", "true_wear", "true_drag"]]
    visits = visits.merge(state, on=["life", "visited_on"], how="left")
    n = len(visits)
    visits["kind"] = visits["life"].map(kind_of_life)
    depot = visits["unit"].map(vehicles.set_index("unit")["depot"])
    visits["hours"] = (visits["odometer"] * KM_PER_MI / 38).round()
    visits["clamp"] = [BENCHES[d].clamp for d in depot]
    visits["clamp_point"] = "pump connector, feed wire"
    visits["technician"] = [rng.choice(TECHNICIANS[d]) for d in depot]
    measured_drops = rng.random(n) < 0.6
    visits["drop_supply_v"] = pd.Series(rng.uniform(0.12, 0.38, n).round(2)).where(measured_drops)
    visits["drop_ground_v"] = pd.Series(rng.uniform(0.02, 0.08, n).round(2)).where(measured_drops)
    nominal = 2.1 * visits["rpm"] / visits["rpm"].median()
    visits["delivery_l_min"] = (nominal * np.exp(rng.normal(0, 0.04, n))).round(2).where(rng.random(n) < 0.2)
    visits["mean_a_se"] = 0.004
    visits["rpm_se"] = (visits["rpm"] * 3e-4).round(1)
    visits["meter_a"] = np.nan
    visits["capture"] = ""
    visits["note"] = ""
    visits["motor_v"] = visits["supply_v"]
    visits["true_event"] = ""
    visits["zero_check"] = False  # whether the record must begin before the pump does
    visits["ref"] = [f"W{i:05d}" for i in range(1, n + 1)]
    pwm = visits["kind"].map(lambda k: PUMP_KINDS[k].pwm_hz > 0)
    visits["duty_pct"] = pd.Series(75.0, index=visits.index).where(pwm)
    return visits


def _services(services: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Filter changes; about one in eight was never written down."""
    services = services[rng.random(len(services)) >= 0.12].reset_index(drop=True)
    return services.assign(note="")


def _breakdowns(breakdowns: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    unknown = rng.random(len(breakdowns)) < 0.08
    breakdowns = breakdowns.assign(note="no fuel pressure, towed in")
    breakdowns.loc[unknown, "pump_confirmed"] = "unknown"
    return breakdowns


def _stock(rng: np.random.Generator) -> pd.DataFrame:
    rows = [
        {"depot": depot, "pump_type": kind.pump_type, "count": int(rng.integers(0, 3))}
        for depot in DEPOTS
        for kind in PUMP_KINDS
    ]
    return pd.DataFrame(rows)


def _bays(today: date) -> pd.DataFrame:
    """Bay hours: the usual week of each depot, and a short one over the holidays."""
    monday = today - timedelta(days=today.weekday())
    rows: list[dict[str, object]] = []
    for depot, hours in BAY_HOURS_A_WEEK.items():
        for week in range(1, 17):
            start = monday + timedelta(weeks=week)
            holidays = start.isocalendar().week in (52, 53, 1)
            rows.append({"depot": depot, "week": start, "hours": hours // 3 if holidays else hours})
    return pd.DataFrame(rows)


def _due_work(vehicles: pd.DataFrame, today: date, rng: np.random.Generator) -> pd.DataFrame:
    kinds = ("tank strap recall", "annual inspection", "brake service", "rear axle reseal")
    picked = vehicles.sample(min(35, len(vehicles)), random_state=int(rng.integers(1 << 30)))
    return pd.DataFrame(
        {
            "unit": picked["unit"].to_numpy(),
            "due_on": [today + timedelta(days=int(d)) for d in rng.integers(5, 120, len(picked))],
            "work": rng.choice(kinds, len(picked)),
            "hours": rng.choice([1.0, 1.5, 2.0, 3.0], len(picked)),
        }
    ).sort_values(["due_on", "unit"])


def _odometers(visits: pd.DataFrame, today: date) -> pd.DataFrame:
    """Fuel-card odometers of the last weeks: each unit's mileage run on at its own rate."""
    rows = []
    for unit, seen in visits.groupby("unit"):
        seen = seen.sort_values("visited_on")
        last = seen.iloc[-1]
        past = seen.iloc[-min(len(seen), 6)]
        days = max((last["visited_on"] - past["visited_on"]).days, 1)
        rate = (last["odometer"] - past["odometer"]) / days if len(seen) > 1 else 25.0
        gap = (pd.Timestamp(today) - last["visited_on"]).days
        if gap > 10:
            read_on = pd.Timestamp(today) - pd.Timedelta(days=4)
            rows.append(
                {"unit": unit, "read_on": read_on, "odometer": round(last["odometer"] + rate * (gap - 4))}
            )
    return pd.DataFrame(rows)
