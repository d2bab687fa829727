"""What an assignment chooses from: each job at each of its unit's stops, with cost, hours and parts."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pandas as pd

from analytics.money.decision import (
    CAUSE_FOUND,
    JOBS,
    NO_DELIVERY,
    NO_FUEL,
    ON_CEILING,
    curve_at,
    lived_km,
)
from analytics.past.frames import each
from analytics.risk.deciding import YEAR_DAYS, stands_still
from analytics.risk.parts_ahead import lead_of
from analytics.risk.visits_ahead import monday, planned_visits
from analytics.risk.workdays import Workdays
from analytics.scheduling.hours import USUAL_JOB_HOURS, job_hours
from analytics.scheduling.inputs import Inputs
from ingest.trade_numbers import LEAD_DAYS

NOTHING, CHECK, CHECK_AND_CHANGE, CHANGE = JOBS
KEEP_DAY_BONUS = 5.0  # money: a proposal keeps its day unless another is better by more
URGENT_WEIGHT = 10.0  # failures that one is worth where cost does not decide or a pump has failed
NOT_FOR_COST = (ON_CEILING, NO_DELIVERY, NO_FUEL)  # reasons to change a pump whatever it saves
OWN_DAYS = (0, 1, 2, 3, 4, 7, 14, 21, 28)  # after its notice, on which a stop of its own is offered
FAILED_DAYS = (*range(0, 15), 21, 28)  # from today, where the vehicle stands


def stops_ahead(inputs: Inputs, horizon_days: int) -> pd.DataFrame:
    """Return the planned stops within the horizon of every unit with a pump in service."""
    per_day = inputs.pumps.groupby("unit")["km_per_day"].max()
    vehicles = inputs.vehicles[inputs.vehicles["unit"].isin(per_day.index)]
    vehicles = vehicles.assign(km_per_day=vehicles["unit"].map(per_day))
    stops = planned_visits(vehicles, inputs.today, horizon_days, inputs.settings)
    last = pd.Timestamp(inputs.today) + pd.Timedelta(days=horizon_days)
    stops = stops[pd.to_datetime(stops["planned_on"]) <= last]
    return stops.assign(extra_cost=0.0, own_stop=False)


def lead_days(inputs: Inputs) -> pd.Series:
    """Return the lead time in days by pump type."""
    return inputs.types.set_index("pump_type")["lead_time_days"].fillna(LEAD_DAYS).astype(float)


def make_candidates(
    inputs: Inputs, stops: pd.DataFrame, rows: np.ndarray, lead: pd.Series, horizon_days: int
) -> pd.DataFrame:
    """Return every (pump, stop) on offer with its cost: now in the bay, planned stops, stops of its own."""
    pumps = inputs.pumps.iloc[rows].assign(row=rows)
    stands = stands_still(pumps)
    offered = pumps.loc[~stands, ["row", "pump_id", "unit"]].merge(stops, on="unit")
    notice = int(inputs.settings["extra_stop_days"])
    parts = [offered]
    down = pumps[stands]
    # Work that waits for a planned stop beyond the horizon waits: a stop of its own costs more than that.
    waits = (pumps["at"] == "next stop") & ~pumps["unit"].isin(stops["unit"])
    may_own = ~stands & ~(waits & ~pumps["because"].isin(NOT_FOR_COST)).to_numpy()
    own_days = pumps[may_own].merge(pd.DataFrame({"ahead": [notice + d for d in OWN_DAYS]}), how="cross")
    failed_days = down.merge(pd.DataFrame({"ahead": FAILED_DAYS}), how="cross")
    # However long the lead time, the day of its part is on offer.
    with_part = pumps[may_own | stands]
    wait = np.ceil(lead_of(with_part["pump_type"], lead)).astype(int)
    with_part = with_part.assign(ahead=wait.clip(lower=np.where(stands[may_own | stands], 0, notice)))
    for own in (own_days, failed_days, with_part):
        own = own.loc[
            own["ahead"] <= horizon_days, ["row", "pump_id", "unit", "depot", "extra_stop", "ahead"]
        ]
        day = np.datetime64(inputs.today, "D") + own.pop("ahead").to_numpy("timedelta64[D]")
        when = Workdays(inputs.settings).forward(day, own.pop("depot").fillna("").to_numpy(object))
        parts.append(
            own.rename(columns={"extra_stop": "extra_cost"}).assign(
                planned_on=when, stop=0, due_by="a stop of its own", overdue=False, own_stop=True
            )
        )
    here = pumps[((pumps["at"] == "now") & (pumps["status"] != "failed")).to_numpy()]
    parts.append(
        here[["row", "pump_id", "unit"]].assign(
            planned_on=np.datetime64(inputs.today, "D"), stop=0, due_by="now, in the bay", overdue=False,
            extra_cost=0.0, own_stop=False,
        )
    )  # fmt: skip
    filled = [part for part in parts if len(part)]
    columns = ["row", "pump_id", "unit", "planned_on", "stop", "due_by", "overdue", "extra_cost", "own_stop"]
    offered = pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=columns)
    offered["planned_on"] = pd.to_datetime(offered["planned_on"])
    last = np.datetime64(inputs.today, "D") + np.timedelta64(horizon_days, "D")
    retires = pd.to_datetime(inputs.pumps["retires_on"]).to_numpy("datetime64[D]")[
        offered["row"].to_numpy(int)
    ]
    day = offered["planned_on"].to_numpy("datetime64[D]")
    offered = offered[(day <= last) & (np.isnat(retires) | (day < retires))].reset_index(drop=True)
    return costed(offered, inputs, lead)


def costed(offered: pd.DataFrame, inputs: Inputs, lead: pd.Series) -> pd.DataFrame:
    """Return what is offered with job, K (what it costs in all, money/decision.py), hours and part."""
    row = offered["row"].to_numpy(int)
    pumps = inputs.pumps.iloc[row].reset_index(drop=True)
    option = pumps["option"].where(pumps["option"] != NOTHING, CHANGE).to_numpy(object)
    option = np.where(offered.get("booked", False), np.where(option == CHECK, CHANGE, option), option)
    ahead = np.maximum((offered["planned_on"] - pd.Timestamp(inputs.as_of)).dt.days.to_numpy(float), 0.0)
    distance = ahead * pumps["pump_km_per_day"].to_numpy(float)
    grid = inputs.forecast.grid_km
    kept, where = np.unique(row, return_inverse=True)
    survival = inputs.forecast.survival[kept]
    fails = 1 - curve_at(survival[where], grid, distance)
    lived = lived_km(grid, survival)
    per_km, fail = (pumps[name].to_numpy(float) for name in ("value_per_km", "fail_cost"))
    change = pumps["planned"].to_numpy(float) + (fail - pumps["failure"].to_numpy(float))
    there = np.where(pumps["option"].to_numpy(object) == option, pumps["there"].to_numpy(float), change)
    failed = (pumps["status"] == "failed").to_numpy()
    fails = np.where(failed, 0.0, fails)
    extra = offered["extra_cost"].to_numpy(float)
    run = np.where(failed, 0.0, per_km * curve_at(lived[where], grid, distance))
    offered["option"] = option
    offered[["job", "asked_first"]] = pumps[["job", "asked_first"]]
    offered["K"] = fails * fail + (1 - fails) * there - run + extra
    offered["at_once"] = there
    # Mending a cause that was found leaves the pump in: what its life costs comes to the same on any day. All
    # that the cause would bring comes within a year, from its next stop on (common practice, no source).
    mends = (option == CHECK) & (pumps["because"] == CAUSE_FOUND).to_numpy()
    nothing = pumps["cost_of_nothing"].to_numpy(float)
    gain = pumps["keep_then"].to_numpy(float) - there
    after = (offered["planned_on"] - pd.to_datetime(pumps["next_stop_on"])).dt.days.to_numpy(float)
    missed = np.clip(np.nan_to_num(after) / YEAR_DAYS, 0, 1) * np.maximum(gain, 0.0)
    offered["K"] = np.where(mends, nothing - (1 - fails) * gain + missed + extra, offered["K"])
    offered["at_once"] = np.where(mends, nothing - gain, offered["at_once"])
    offered["risk_until_then"] = fails
    offered["there"] = there
    # Over its ceiling a pump goes first: each point of risk weighs ten failures more; where the vehicle
    # stands each day does.
    urgent = failed | pumps["because"].isin(NOT_FOR_COST).to_numpy()
    late = np.where(stands_still(pumps), ahead / YEAR_DAYS, fails) * urgent * fail * URGENT_WEIGHT
    offered["cost"] = offered["K"] + late
    if inputs.previous is not None and len(offered):
        before = inputs.previous.drop_duplicates("pump_id").set_index("pump_id")["planned_on"]
        same = pd.to_datetime(offered["pump_id"].map(before)) == offered["planned_on"]
        offered["cost"] -= np.where(same, KEEP_DAY_BONUS, 0.0)
    offered["hours"] = job_hours(pumps, option, inputs.settings, _usual_hours(inputs))
    offered["shared_cost"] = (
        float(inputs.settings["plan_shared_share"])
        * offered["hours"]
        * pumps["labour_per_hour"].astype(float)
    ).to_numpy()
    offered["depot"] = pumps["depot"].fillna("").to_numpy()
    offered["pump_type"] = pumps["pump_type"].to_numpy()
    weeks = {day: monday(day.date()) for day in offered["planned_on"].unique()}
    offered["week"] = [weeks[day] for day in offered["planned_on"]]
    offered["stop"] = offered["unit"].astype(str) + " " + offered["planned_on"].dt.strftime("%Y-%m-%d")
    wait = lead_of(offered["pump_type"], lead).to_numpy()
    since = (offered["planned_on"] - pd.Timestamp(inputs.today)).dt.days.to_numpy(float)
    offered["early"] = (since < wait) & (option != CHECK)
    # A planned stop on the day of a stop of its own costs nothing more.
    offered = offered.sort_values(["pump_id", "planned_on", "extra_cost"], kind="stable")
    return offered.drop_duplicates(["pump_id", "stop"]).reset_index(drop=True)


def _usual_hours(inputs: Inputs) -> float:
    entry = inputs.book.entry("planned_labour_hours")
    return USUAL_JOB_HOURS if entry is None else entry.amount


def fixed_lines(inputs: Inputs, stops: pd.DataFrame, rows: np.ndarray, decided: pd.DataFrame) -> pd.DataFrame:
    """Return what a person has booked or pinned, on its own day."""
    if not len(rows):
        return pd.DataFrame()
    pumps = inputs.pumps.iloc[rows]
    mine = pd.DataFrame(
        {"row": rows, "pump_id": pumps["pump_id"].to_numpy(), "unit": pumps["unit"].to_numpy()}
    )
    days = pd.to_datetime(mine["pump_id"].map(decided["planned_on"]))
    # As a dict: a column of days that holds none can't be looked up in.
    stop_of = stops[stops["stop"] == 1].set_index("unit")["planned_on"].to_dict()
    first = pd.to_datetime(mine["unit"].map(stop_of))
    mine = mine.assign(
        planned_on=days.fillna(first).fillna(pd.Timestamp(inputs.today)), extra_cost=0.0, booked=True,
        due_by="a person's day", overdue=False, stop=0,
    )  # fmt: skip
    at_stop = stops.assign(planned_on=pd.to_datetime(stops["planned_on"]))[["unit", "planned_on"]]
    at_stop = at_stop.drop_duplicates().assign(due_then=True)
    mine = mine.merge(at_stop, on=["unit", "planned_on"], how="left")
    mine["own_stop"] = mine.pop("due_then").isna()
    made = costed(mine, inputs, lead_days(inputs))
    return made.assign(status=made["pump_id"].map(decided["status"]))


def free_hours(inputs: Inputs, fixed: pd.DataFrame, horizon_days: int) -> dict:
    """Return hours left by (depot, week): bay hours less booked work and the units' other due work."""
    last = inputs.today + timedelta(days=horizon_days)
    weeks = pd.date_range(monday(inputs.today), monday(last), freq="7D")
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


def parts_on_hand(inputs: Inputs, fixed: pd.DataFrame) -> dict[tuple[str, str], int]:
    """Return parts on hand by (depot, pump_type), less what booked work takes before an order can come."""
    have = {(r.depot, r.pump_type): int(r.on_hand) for r in each(inputs.stock)}
    if len(fixed):
        for key in zip(fixed["depot"][fixed["early"]], fixed["pump_type"][fixed["early"]], strict=True):
            have[key] = max(have.get(key, 0) - 1, 0)
    return have


def cost_of_leaving(pumps: pd.DataFrame, candidates: pd.DataFrame, rows: np.ndarray) -> pd.Series:
    """Return what not placing a pump counts, by pump_id.

    More than doing nothing and than its dearest planned stop, so that work that pays gets a day if there is
    one; more than any stop where it is urgent.
    """
    mine = pumps.iloc[rows].set_index("pump_id")
    urgent = (mine["status"] == "failed") | mine["because"].isin(NOT_FOR_COST)
    nothing = mine["cost_of_nothing"].astype(float)

    def dearest(offered: pd.DataFrame) -> pd.Series:
        worst = offered.groupby("pump_id")["cost"].max() if len(offered) else pd.Series(dtype=float)
        return worst.reindex(mine.index).fillna(-np.inf)

    planned = dearest(candidates[~candidates["own_stop"].astype(bool)] if len(candidates) else candidates)
    any_stop = dearest(candidates) + mine["failure"].astype(float)
    return nothing.clip(lower=planned.where(~urgent, any_stop)) + KEEP_DAY_BONUS + 1.0
