"""Visits judged by the trade rules, as many of them as a decision about each pump in service needs.

The rule of a pump's last visit needs that visit and the first ones, which make its baselines. Only where that
rule asks for steps (repeat, circuit, filter, ...), or where checks and complaints were recorded, do all the
pump's visits matter.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from analytics.judging.baseline import FOUNDING_REASONS
from analytics.judging.evidence import incomparable
from analytics.judging.judge import judge
from analytics.judging.rules import RULES
from analytics.judging.type_level import with_type_level
from analytics.past.frames import PUMPS_AT_ONCE, fetch
from analytics.past.history import History

ASKING = [rule.id for rule in RULES if rule.steps or rule.books]


def judged_visits(
    connection: duckdb.DuckDBPyConnection,
    history: History,
    settings: dict[str, Any],
    services: pd.DataFrame | None = None,
) -> Iterator[pd.DataFrame]:
    """Yield judged visits of every pump in service that has one, all of a pump in one part: enough of them
    for `decide_actions`."""
    visits = history.visits[["visit_id", "pump", "day", "reason", "state", "in_trend"]]
    visits = visits.assign(read_a=history.visits["mean_a"] >= 0, read_rpm=history.visits["rpm"] >= 0)
    in_service = ~history.pumps["removed"].to_numpy(bool)
    visits = visits[in_service[visits["pump"].to_numpy(int)]].sort_values(["pump", "day", "visit_id"])
    pump_id = history.pumps["pump_id"].to_numpy()[visits["pump"].to_numpy(int)]
    whole = np.isin(pump_id, fetch(connection, "judged_whole", [history.as_of])["pump_id"])
    last = ~visits["pump"].duplicated(keep="last").to_numpy() & ~whole
    first = _first_ones(visits, int(settings["baseline_visits"])) & ~whole
    some = _details(connection, visits["visit_id"][last | first], history.as_of)
    # Judged by the first visits and the last, but only the last is asked for.
    judged = pd.concat(
        part[part["visit_id"].isin(visits["visit_id"][last])] for part in _in_parts(some, settings, services)
    )
    del some
    # Readings far from the baseline are no part of it: then later ones are, which were not read yet.
    seen = pd.Series(1, index=pump_id).groupby(level=0).size()
    thin = (judged["baseline_count"] < int(settings["baseline_visits"])) & (
        judged["pump_id"].map(seen) > int(settings["baseline_visits"]) + 1
    )
    # What could not be compared leaves an earlier finding standing.
    unlike = incomparable(judged) & (judged["pump_id"].map(seen) > 1).to_numpy()
    asking = (judged["rule"].isin(ASKING) | thin).to_numpy() | unlike
    theirs = np.isin(pump_id, judged["pump_id"][asking]) | whole
    every = _details(connection, visits["visit_id"][theirs], history.as_of)
    yield judged[~asking]
    del judged
    if len(every):
        yield from _in_parts(every, settings, services)


def _in_parts(
    visits: pd.DataFrame, settings: dict[str, Any], services: pd.DataFrame | None
) -> Iterator[pd.DataFrame]:
    """Yield what `judge` returns, of PUMPS_AT_ONCE pumps at a time, as each is judged by its own visits
    alone."""
    part = np.unique(visits["pump_id"], return_inverse=True)[1] // PUMPS_AT_ONCE
    for k in range(int(part.max(initial=0)) + 1):
        yield judge(visits[part == k] if part.any() else visits, settings, services)


def _first_ones(visits: pd.DataFrame, count: int) -> np.ndarray:
    """Whether each visit is among the first `count` of its pump and state that make a baseline."""
    trusted = visits["in_trend"].to_numpy(bool) & visits["reason"].isin(FOUNDING_REASONS).to_numpy()
    key, _ = pd.factorize(visits["state"].astype(str))
    group = visits["pump"].to_numpy(int) * (key.max(initial=0) + 1) + key
    out = np.zeros(len(visits), bool)
    for name in ("read_a", "read_rpm"):
        makes = np.flatnonzero(trusted & visits[name].to_numpy(bool))
        out[makes[pd.Series(group[makes]).groupby(group[makes]).cumcount().to_numpy() < count]] = True
    return out


def _details(connection: duckdb.DuckDBPyConnection, visit_ids: pd.Series, until: date) -> pd.DataFrame:
    connection.register("asked", pd.DataFrame({"visit_id": visit_ids}))
    try:
        visits = fetch(connection, "judged_visits")
    finally:
        connection.unregister("asked")
    # Only where no specification is known are pumps held against others of their type.
    types = visits["pump_type"][visits["current_low_a"].isna() & (visits["pump_type"] != "unknown")].unique()
    return with_type_level(connection, visits, until, types) if len(types) else visits
