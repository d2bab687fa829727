"""What an assignment chooses from: each pump at each of its unit's stops, with cost, hours and parts."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pandas as pd

from analytics.past.frames import each
from analytics.scheduling.inputs import Inputs
from analytics.scheduling.visits_ahead import monday, planned_visits
from ingest.trade_numbers import LEAD_DAYS

KEEP_DAY_BONUS = 5.0  # money: a proposal keeps its day unless another is better by more
URGENT_WEIGHT = 10.0  # failures that one is worth where a ceiling is passed or a pump has failed outright


def waiting_curve(inputs: Inputs, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return K (n, m) on the forecast's grid for some pumps, and the chance of failing first (n, m)."""
    grid, survival = inputs.forecast.grid_km, inputs.forecast.survival[rows]
    steps = np.diff(grid) * (survival[:, 1:] + survival[:, :-1]) / 2
    lived = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(steps, axis=1)], axis=1)
    pumps = inputs.pumps.iloc[rows]
    planned, failure, per_km = (
        pumps[name].to_numpy(float)[:, None] for name in ("planned", "failure", "cost_per_km")
    )
    return failure * (1 - survival) + planned * survival - per_km * lived, 1 - survival


def retires_soon(pumps: pd.DataFrame, inputs: Inputs) -> np.ndarray:
    """Return bool (n,): whether the unit retires too soon for a change to pay."""
    limit = pd.Timestamp(inputs.as_of) + pd.Timedelta(days=int(inputs.settings["plan_retirement_days"]))
    return (pd.to_datetime(pumps["retires_on"]) <= limit).to_numpy()


def stops_ahead(inputs: Inputs, horizon_days: int) -> pd.DataFrame:
    """Return the planned stops of every unit with a pump in service (visits_ahead.planned_visits)."""
    per_day = inputs.pumps.groupby("unit")["km_per_day"].max()
    vehicles = inputs.vehicles[inputs.vehicles["unit"].isin(per_day.index)]
    vehicles = vehicles.assign(km_per_day=vehicles["unit"].map(per_day))
    stops = planned_visits(vehicles, inputs.as_of, horizon_days, inputs.settings)
    return stops.assign(extra_cost=0.0, extra=False)


def lead_days(inputs: Inputs) -> pd.Series:
    """Return the lead time in days by pump type."""
    return inputs.types.set_index("pump_type")["lead_time_days"].fillna(LEAD_DAYS).astype(float)


def make_candidates(
    inputs: Inputs,
    stops: pd.DataFrame,
    rows: np.ndarray,
    outright: np.ndarray,
    lead: pd.Series,
    horizon_days: int,
) -> pd.DataFrame:
    """Return every (pump, stop) on offer with its cost; urgent pumps may also get a stop of their own."""
    pumps = inputs.pumps.iloc[rows].assign(row=rows)
    urgent = outright[rows] | (pumps["because"] == "risk ceiling").to_numpy()
    offered = pumps[["row", "pump_id", "unit"]].merge(stops, on="unit")
    weeks = [inputs.as_of + timedelta(days=1 + 7 * i) for i in range(max(horizon_days // 7, 1))]
    days = np.busday_offset(np.array(weeks, "datetime64[D]"), 0, roll="forward")
    labour = float(inputs.settings["plan_extra_stop_hours"])
    own = pumps[["row", "pump_id", "unit", "labour_per_hour"]][urgent].merge(
        pd.DataFrame(
            {"planned_on": days, "stop": 0, "due_by": "a stop of its own", "overdue": False, "extra": True}
        ),
        how="cross",
    )
    own["extra_cost"] = own.pop("labour_per_hour") * labour
    offered = pd.concat([offered, own], ignore_index=True) if len(own) else offered
    offered["planned_on"] = pd.to_datetime(offered["planned_on"])
    return _costed(offered, inputs, lead, outright)


def _costed(offered: pd.DataFrame, inputs: Inputs, lead: pd.Series, outright: np.ndarray) -> pd.DataFrame:
    row = offered["row"].to_numpy(int)
    pumps = inputs.pumps.iloc[row].reset_index(drop=True)
    today = pd.Timestamp(inputs.as_of)
    ahead = np.maximum((offered["planned_on"] - today).dt.days.to_numpy(float), 0.0)
    distance = ahead * pumps["pump_km_per_day"].to_numpy(float)
    grid = inputs.forecast.grid_km
    kept, where = np.unique(row, return_inverse=True)
    cost, failing = waiting_curve(inputs, kept) if len(kept) else (np.zeros((0, len(grid))),) * 2
    offered["K"] = curve_at(cost, where, grid, distance)
    offered["risk_until_then"] = curve_at(failing, where, grid, distance)
    offered["to_failure"] = cost[where, -1] if len(kept) else []
    # Over its ceiling a pump goes first: each point of risk weighs ten failures more.
    urgent = outright[row] | (pumps["because"] == "risk ceiling").to_numpy()
    weight = np.where(urgent, URGENT_WEIGHT, 0.0)
    late = ahead / 365 * outright[row] * pumps["failure"].to_numpy(float) * URGENT_WEIGHT
    offered["cost"] = (
        offered["K"] + offered["extra_cost"] + late
        + weight * pumps["failure"].to_numpy(float) * offered["risk_until_then"]
    )  # fmt: skip
    if inputs.previous is not None and len(offered):
        before = pd.to_datetime(offered["pump_id"].map(inputs.previous.set_index("pump_id")["planned_on"]))
        offered["cost"] -= np.where(before == offered["planned_on"], KEEP_DAY_BONUS, 0.0)
    hours = pumps["job_hours"].astype(float).fillna(float(_default_hours(inputs)))
    offered["hours"] = hours.to_numpy()
    offered["shared_cost"] = (
        float(inputs.settings["plan_shared_share"]) * hours * pumps["labour_per_hour"].astype(float)
    ).to_numpy()
    offered["depot"] = pumps["depot"].fillna("").to_numpy()
    offered["pump_type"] = pumps["pump_type"].to_numpy()
    offered["week"] = [monday(d.date()) for d in offered["planned_on"]]
    offered["stop"] = offered["unit"].astype(str) + " " + offered["planned_on"].dt.strftime("%Y-%m-%d")
    wait = offered["pump_type"].map(lead).fillna(LEAD_DAYS).to_numpy(float)
    offered["early"] = ahead < wait
    return offered.drop_duplicates(["pump_id", "stop"]).reset_index(drop=True)


def curve_at(curves: np.ndarray, where: np.ndarray, grid: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """Return curve `where` at `distance` by straight lines between grid points."""
    if not len(distance):
        return np.zeros(0)
    after = np.clip(np.searchsorted(grid, distance, side="right"), 1, len(grid) - 1)
    part = np.clip((distance - grid[after - 1]) / (grid[after] - grid[after - 1]), 0, 1)
    return curves[where, after - 1] * (1 - part) + curves[where, after] * part


def _default_hours(inputs: Inputs) -> float:
    amount, _, _ = inputs.book.amount("planned_labour_hours")
    return 2.5 if amount is None else amount


def fixed_lines(inputs: Inputs, stops: pd.DataFrame, rows: np.ndarray, decided: pd.DataFrame) -> pd.DataFrame:
    """Return what a person has booked or pinned, on its own day."""
    if not len(rows):
        return pd.DataFrame()
    pumps = inputs.pumps.iloc[rows]
    mine = pd.DataFrame(
        {"row": rows, "pump_id": pumps["pump_id"].to_numpy(), "unit": pumps["unit"].to_numpy()}
    )
    days = pd.to_datetime(mine["pump_id"].map(decided["planned_on"]))
    first = pd.to_datetime(mine["unit"].map(stops[stops["stop"] == 1].set_index("unit")["planned_on"]))
    mine = mine.assign(
        planned_on=days.fillna(first).fillna(pd.Timestamp(inputs.as_of)), extra_cost=0.0, extra=False,
        due_by="a person's day", overdue=False, stop=0,
    )  # fmt: skip
    none = np.zeros(len(inputs.pumps), bool)
    return _costed(mine, inputs, lead_days(inputs), none).assign(
        status=mine["pump_id"].map(decided["status"]).to_numpy()
    )


def free_hours(inputs: Inputs, stops: pd.DataFrame, fixed: pd.DataFrame, horizon_days: int) -> dict:
    """Return hours left by (depot, week): bay hours less booked work and the units' other due work."""
    last = max([inputs.as_of + timedelta(days=horizon_days), *pd.to_datetime(stops["planned_on"]).dt.date])
    weeks = pd.date_range(monday(inputs.as_of), monday(last), freq="7D")
    free: dict[tuple[str, object], float] = {}
    bays = inputs.bays.assign(depot=inputs.bays["depot"].fillna(""))
    for row in each(bays[bays["week_of"].isna()]):
        free |= {(row.depot, week.date()): float(row.hours) for week in weeks}
    for row in each(bays[bays["week_of"].notna()]):
        free[(row.depot, monday(pd.Timestamp(row.week_of).date()))] = float(row.hours)
    depot = inputs.vehicles.set_index("unit")["depot"]
    due = inputs.due_work.dropna(subset=["hours"])
    used = [(depot.get(r.unit, ""), monday(pd.Timestamp(r.due_on).date()), r.hours) for r in each(due)]
    if len(fixed):
        used += list(zip(fixed["depot"], fixed["week"], fixed["hours"], strict=True))
    for place, week, hours in used:
        if (place, week) in free:
            free[(place, week)] -= float(hours)
    return free


def parts_on_hand(inputs: Inputs, fixed: pd.DataFrame, lead: pd.Series) -> dict[tuple[str, str], int]:
    """Return parts on hand by (depot, pump_type), less what booked work takes before an order can come."""
    have = {(r.depot, r.pump_type): int(r.on_hand) for r in each(inputs.stock)}
    if len(fixed):
        for key in zip(fixed["depot"][fixed["early"]], fixed["pump_type"][fixed["early"]], strict=True):
            have[key] = max(have.get(key, 0) - 1, 0)
    return have


def cost_of_leaving(pumps: pd.DataFrame, candidates: pd.DataFrame, rows: np.ndarray) -> pd.Series:
    """Return what not placing a pump counts: more than any stop, by its price of failing and its risk."""
    worst = candidates.groupby("pump_id")["cost"].max() if len(candidates) else pd.Series(dtype=float)
    mine = pumps.iloc[rows].set_index("pump_id")
    return (
        worst.reindex(mine.index).fillna(0.0) + mine["failure"] * (1 + mine["risk"]) + mine["benefit"].abs()
    )
