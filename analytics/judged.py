"""Visits judged by the trade rules, as many of them as a decision about each pump in service needs.

The rule of a pump's last visit needs that visit and the first ones, which make its baselines. Only where that
rule asks for steps (repeat, circuit, filter, ...) do all the pump's visits matter.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from analytics.frames import fetch
from analytics.history import History
from ingest.rules import RULES
from ingest.verdict import judge

SQL = Path(__file__).with_name("sql") / "judged_visits.sql"
ASKING = [rule.id for rule in RULES if rule.steps or rule.books]


def judged_visits(
    connection: duckdb.DuckDBPyConnection, history: History, settings: dict[str, Any]
) -> pd.DataFrame:
    """Return judged visits of every pump in service that has one: enough of them for `decide_actions`."""
    visits = history.visits[["visit_id", "pump", "day", "reason", "state", "duty_step", "in_trend"]]
    visits = visits.assign(read_a=history.visits["mean_a"] >= 0, read_rpm=history.visits["rpm"] >= 0)
    in_service = ~history.pumps["removed"].to_numpy(bool)
    visits = visits[in_service[visits["pump"].to_numpy(int)]].sort_values(["pump", "day", "visit_id"])
    last = ~visits["pump"].duplicated(keep="last").to_numpy()
    first = _first_ones(visits, int(settings["baseline_visits"]))
    judged = judge(_details(connection, visits["visit_id"][last | first]), settings)
    judged = judged[judged["visit_id"].isin(visits["visit_id"][last])]
    asking = judged["rule"].isin(ASKING).to_numpy()
    theirs = history.pumps["pump_id"].isin(judged["pump_id"][asking]).to_numpy()
    every = _details(connection, visits["visit_id"][theirs[visits["pump"].to_numpy(int)]])
    return pd.concat([judged[~asking], judge(every, settings)], ignore_index=True) if len(every) else judged


def _first_ones(visits: pd.DataFrame, count: int) -> np.ndarray:
    """Whether each visit is among the first `count` of its pump, state and duty that make a baseline."""
    trusted = visits["in_trend"].to_numpy(bool) & visits["reason"].isin(["pm", "after-repair"]).to_numpy()
    key, _ = pd.factorize(visits["state"].astype(str) + visits["duty_step"].astype(str))
    group = visits["pump"].to_numpy(int) * (key.max(initial=0) + 1) + key
    out = np.zeros(len(visits), bool)
    for name in ("read_a", "read_rpm"):
        makes = np.flatnonzero(trusted & visits[name].to_numpy(bool))
        out[makes[pd.Series(group[makes]).groupby(group[makes]).cumcount().to_numpy() < count]] = True
    return out


def _details(connection: duckdb.DuckDBPyConnection, visit_ids: pd.Series) -> pd.DataFrame:
    connection.register("asked", pd.DataFrame({"visit_id": visit_ids}))
    try:
        return fetch(connection, SQL)
    finally:
        connection.unregister("asked")
