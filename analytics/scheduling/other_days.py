"""What each planned job would cost in other weeks: the price of moving it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.risk.visits_ahead import monday
from analytics.risk.workdays import Workdays
from analytics.scheduling.candidates import costed
from analytics.scheduling.inputs import Inputs

COLUMNS = ["pump_id", "week", "planned_on", "own_stop", "costs_more"]


def other_days(
    inputs: Inputs, stops: pd.DataFrame, lines: pd.DataFrame, lead: pd.Series, horizon_days: int
) -> pd.DataFrame:
    """Return one row per line and week of the horizon: the day it would fall on and what it costs more.

    lines: chosen candidates and booked work, with row, unit, planned_on and K. The day is the unit's planned
    stop in that week, else the depot's first open day, at the price of a stop of its own; weeks without
    either, and those after the unit's retirement, are left out. costs_more: K there less K on the day planned
    (money/decision.py), below 0 where the other day is cheaper.
    """
    if not len(lines):
        return pd.DataFrame(columns=COLUMNS)
    today = pd.Timestamp(inputs.today)
    weeks = pd.date_range(monday(inputs.today), today + pd.Timedelta(days=horizon_days), freq="7D")
    rows = lines[["row", "pump_id", "unit", "depot", "status", "K"]].merge(
        pd.DataFrame({"starts": weeks}), how="cross"
    )
    at_stop = stops.assign(planned_on=pd.to_datetime(stops["planned_on"]))
    at_stop = at_stop.assign(starts=at_stop["planned_on"].dt.to_period("W-SUN").dt.start_time)
    at_stop = at_stop.drop_duplicates(["unit", "starts"])[["unit", "starts", "planned_on"]]
    rows = rows.merge(at_stop, on=["unit", "starts"], how="left")
    rows["own_stop"] = rows["planned_on"].isna()
    first = np.maximum(rows["starts"].to_numpy("datetime64[D]"), np.datetime64(inputs.today, "D"))
    opens = Workdays(inputs.settings).forward(first, rows["depot"].fillna("").to_numpy(object))
    rows["planned_on"] = rows["planned_on"].fillna(pd.Series(pd.to_datetime(opens), index=rows.index))
    stop_price = inputs.pumps["extra_stop"].to_numpy(float)[rows["row"].to_numpy(int)]
    retires = pd.to_datetime(inputs.pumps["retires_on"]).to_numpy("datetime64[D]")[rows["row"].to_numpy(int)]
    day = rows["planned_on"].to_numpy("datetime64[D]")
    inside = (day < (rows["starts"] + pd.Timedelta(days=7)).to_numpy("datetime64[D]")) & (day >= first)
    rows = rows.assign(
        extra_cost=np.where(rows["own_stop"], stop_price, 0.0), booked=rows["status"] != "proposed",
        due_by="", overdue=False, planned=rows["K"],
    )[inside & (np.isnat(retires) | (day < retires))]  # fmt: skip
    there = costed(rows.drop(columns=["K", "depot", "status"]).reset_index(drop=True), inputs, lead)
    return there.assign(
        costs_more=there["K"] - there["planned"], planned_on=there["planned_on"].dt.date
    )[COLUMNS].sort_values(["pump_id", "planned_on"], ignore_index=True)  # fmt: skip
