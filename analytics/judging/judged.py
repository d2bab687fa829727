"""Visits judged by the trade rules, as many of them as a decision about each pump in service needs.

The rule of a pump's last visit needs that visit and the first ones, which make its baselines. Only where that
rule asks for steps (repeat, circuit, filter, ...), or where checks and complaints were recorded, do all the
pump's visits matter. A small fleet's visits are judged at once: half the work of twice a few.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from analytics.judging.baseline import FOUNDING_REASONS
from analytics.judging.evidence import incomparable
from analytics.judging.judge import judge
from analytics.judging.rules import RULES
from analytics.judging.type_level import with_type_level
from analytics.past.frames import FEW_PUMPS, PUMPS_AT_ONCE, among, as_frame, fetch, fetch_visits
from analytics.past.history import History
from ingest.chains.parts import in_parts
from ingest.chains.running import Where
from ingest.settings_in_force import Settings

FEW_VISITS = 3_000  # of a fleet: most of what judging so many takes is the same for any number

ASKING = [rule.id for rule in RULES if rule.steps or rule.books]


def judged_visits(
    connection: duckdb.DuckDBPyConnection,
    history: History,
    settings: Settings,
    services: pd.DataFrame | None = None,
    *,
    tell: Callable[[pd.DataFrame], Any] = pd.DataFrame,
    where: Where | None = None,
) -> Iterator[Any]:
    """Yield judged visits of every pump in service that has one, all of a pump in one part: enough of them
    for `decide_actions`.

    tell: what is yielded of a part that has visits, worked out where it is judged, in place of its visits.
    where: None judges in this process, else `ingest.chains.parts` does.
    """
    visits = _in_service(history)
    pump_id = history.pumps["pump_id"].to_numpy()[visits["pump"].to_numpy(int)]
    few = np.unique(pump_id).tolist() if len(history.pumps) <= FEW_PUMPS else None
    least = int(settings["baseline_visits"])
    by = Judging(settings, services, tell, least)

    def parts_of(asked: np.ndarray) -> Iterator[tuple[Judging, pd.DataFrame]]:
        details = _details(connection, visits["visit_id"][asked], few)
        for part in _parts(connection, details, history.as_of):
            own = services
            if services is not None and where is not None:  # what is sent is no more than the part needs
                own = services[among(services["unit"], part["unit"])]
            yield replace(by, services=own), part

    def whole_pumps(asked: np.ndarray) -> Iterator[Any]:
        if asked.any():
            yield from in_parts(_judge_whole, parts_of(asked), where, methods)

    if len(visits) <= FEW_VISITS:
        yield from whole_pumps(np.ones(len(visits), bool))
        return
    whole = np.isin(pump_id, fetch(connection, "judged_whole", [history.as_of])["pump_id"])
    last = ~visits["pump"].duplicated(keep="last").to_numpy() & ~whole
    first = _first_ones(visits, least) & ~whole
    # Judged by the first visits and the last, but only the last is asked for.
    wanted, theirs = visits["visit_id"][last], whole.copy()
    seen = pd.Series(1, index=pump_id).groupby(level=0).size()

    def lasts() -> Iterator[tuple[Any, ...]]:
        for own, part in parts_of(last | first):
            ids = part["visit_id"][part["visit_id"].isin(wanted)]
            yield own, part, ids, seen.reindex(part["pump_id"].unique())

    for told, asking in in_parts(_judge_last, lasts(), where, methods):
        theirs |= np.isin(pump_id, asking)
        if told is not None:
            yield told
    yield from whole_pumps(theirs)


@dataclass(frozen=True)
class Judging:
    """How a part is judged: settings, services, what is told of it, visits of a baseline."""

    settings: Settings
    services: pd.DataFrame | None
    tell: Callable[[pd.DataFrame], Any]
    baseline_visits: int


def methods() -> tuple[str, ...]:
    """Return what tells whether another machine judges as this one: its rules in their order."""
    return tuple(rule.id for rule in RULES)


def _judge_last(
    by: Judging, part: pd.DataFrame, wanted: pd.Series, seen: pd.Series
) -> tuple[Any, np.ndarray]:
    """Judge a part's last visits; return what is told of them, None of none, and the pumps whose visits all
    matter, pump_id. wanted: their visit_id; seen: visits, by pump_id."""
    judged = judge(part, by.settings, by.services)
    mine = judged[judged["visit_id"].isin(wanted)]
    asking = _asking(mine, mine["pump_id"].map(seen).to_numpy(), by.baseline_visits)
    rest = mine[~asking]
    return by.tell(rest) if len(rest) else None, mine["pump_id"][asking].to_numpy()


def _judge_whole(by: Judging, part: pd.DataFrame) -> Any:
    return by.tell(judge(part, by.settings, by.services))


def _in_service(history: History) -> pd.DataFrame:
    """Return what tells of each visit of a pump in service whether it must be judged, in order of pump and
    time: visit_id, pump, state (code), founds (may make a baseline), read_a, read_rpm."""
    told = history.visits
    visits = pd.DataFrame(
        {
            "visit_id": told["visit_id"],
            "pump": told["pump"],
            "day": told["day"],
            "state": pd.factorize(told["state"], use_na_sentinel=False)[0],
            "founds": told["in_trend"].astype(bool) & told["reason"].isin(FOUNDING_REASONS),
            "read_a": told["mean_a"] >= 0,
            "read_rpm": told["rpm"] >= 0,
        }
    )
    in_service = ~history.pumps["removed"].to_numpy(bool)
    return visits[in_service[visits["pump"].to_numpy(int)]].sort_values(["pump", "day", "visit_id"])


def _asking(last: pd.DataFrame, seen: np.ndarray, baseline_visits: int) -> np.ndarray:
    """Return whether a judged last visit (n,) calls for all the visits of its pump, which has `seen` (n,)."""
    # Readings far from the baseline are no part of it: then later ones are, which were not read yet.
    thin = (last["baseline_count"].to_numpy() < baseline_visits) & (seen > baseline_visits + 1)
    # What could not be compared leaves an earlier finding standing.
    unlike = incomparable(last) & (seen > 1)
    return np.asarray(last["rule"].isin(ASKING).to_numpy() | thin | unlike)


def _parts(connection: duckdb.DuckDBPyConnection, visits: pa.Table, until: date) -> Iterator[pd.DataFrame]:
    """Yield PUMPS_AT_ONCE pumps' visits at a time, ready for `judge`, as each is judged by its own visits
    alone."""
    part = np.unique(visits["pump_id"].to_numpy(), return_inverse=True)[1] // PUMPS_AT_ONCE
    for k in range(int(part.max(initial=0)) + 1):
        mine = as_frame(visits.filter(part == k) if part.any() else visits)
        # Only where no specification is known are pumps held against others of their type.
        types = mine["pump_type"][mine["current_low_a"].isna() & (mine["pump_type"] != "unknown")].unique()
        yield with_type_level(connection, mine, until, types) if len(types) else mine


def _first_ones(visits: pd.DataFrame, count: int) -> np.ndarray:
    """Whether each visit is among the first `count` of its pump and state that make a baseline."""
    trusted, state = visits["founds"].to_numpy(bool), visits["state"].to_numpy(int)
    group = visits["pump"].to_numpy(int) * (state.max(initial=0) + 1) + state
    out = np.zeros(len(visits), bool)
    for name in ("read_a", "read_rpm"):
        makes = np.flatnonzero(trusted & visits[name].to_numpy(bool))
        out[makes[pd.Series(group[makes]).groupby(group[makes]).cumcount().to_numpy() < count]] = True
    return out


def _details(
    connection: duckdb.DuckDBPyConnection, visit_ids: pd.Series, pump_ids: list[int] | None
) -> pa.Table:
    connection.register("asked", pd.DataFrame({"visit_id": visit_ids}))
    try:
        return fetch_visits(connection, "judged_visits", pump_ids=pump_ids)
    finally:
        connection.unregister("asked")
