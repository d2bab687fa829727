"""Policies of the plan's loop: the product's own decision in many variants side by side.

Runs of one world that differ in policy only are put into one past under names of their own, which is scored
once: what a policy costs to follow is then what it costs to weigh.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd

from analytics.learning.fitting import Fit, fit_history
from analytics.money.cost_book import CostBook, Entry
from analytics.money.cost_rule import Curves, weigh, with_decision, with_prices
from analytics.money.decision import CHANGE, CHECK_AND_CHANGE, JOBS, NOW, TIMES
from analytics.money.long_run import LongRun
from analytics.money.outlook import Ahead
from analytics.past.history import History
from analytics.risk.deciding import ahead_of, with_next_stop
from analytics.risk.forecast import GRID_KM, Forecast, State, due, score, survival_on_grid
from analytics.risk.pump_drift import of_pumps
from analytics.wear_model.model import risk_model
from ingest.ledger.settings import DEFAULTS
from tests.benchmarks.second_world import Prices
from tests.benchmarks.second_world.fleet import EPOCH, day_of
from tests.benchmarks.second_world.jobs import default_judge
from tests.fleet_frames import history_from_tables

NOTICE = 7
PAPER_DAYS = 4  # after which a stop's reading and work are in the books
CHECK_PRICES = ["check_closed", "check_open", "extra_stop", "part_returned"]
Orders = list[dict[str, Any]]
OF_FLEET = "/"  # fleet and way in the name of a run
BETWEEN = "|"  # run and unit in a name of the common past


@dataclass(frozen=True)
class Way:
    """One way to decide: which times are open, whether checks and stops are free, factor on g, factor on the
    forecasts' −ln S (what comes of risks told too low or too high), whether a check goes before every change,
    settings of its own. dated: a job for the next stop is done at the first stop from the day on that lies
    this share of the days until its forecast stop ahead (0: from tomorrow on). next_stop: whether such jobs
    are ordered at all. shop: whether the shop answers its checks, by the reading alone, and not the decision.
    """

    now: bool = True
    extra: bool = True
    free: bool = False
    g_factor: float = 1.0
    hazard: float = 1.0
    check_first: bool = False
    dated: float = 0.0
    next_stop: bool = True
    shop: bool = False
    settings: dict[str, Any] = field(default_factory=dict)

    @property
    def ahead(self) -> bool:
        """Whether it orders anything ahead: what is worth doing at a stop is decided there, if it may be."""
        return self.extra or not self.now


OURS = "ours"
WAYS = {
    OURS: Way(),
    "plan only": Way(now=False),
    "plan dated": Way(now=False, dated=1.0),
    "plan dated checked": Way(now=False, dated=1.0, check_first=True),
    "plan extra": Way(now=False, next_stop=False),
    "shop dated": Way(now=False, dated=1.0, shop=True),
    "now": Way(extra=False),
    "now checked": Way(extra=False, check_first=True),
    "next": Way(now=False, extra=False),
    "free": Way(free=True),
    "g × 1.4": Way(g_factor=1.4),
    "plan only g × 1.4": Way(now=False, g_factor=1.4),
    "risk × 1/1.5": Way(hazard=1 / 1.5),
    "risk × 1.5": Way(hazard=1.5),
}


class Planners:
    """The product's decision in several ways and fleets, each on its own run, by "fleet/way".

    fits: of day one, by fleet; refits: they are learned anew when `rank` would, from the records of the first
    way's run (the ladder beside it acts on the same parameters).
    """

    def __init__(self, prices: Prices, fits: dict[str, Fit], ways: dict[str, Way], refits: bool):
        self.fits, self.ways, self.refits = fits, ways, refits
        self.book = price_book(prices)

    def holds(self, key: str) -> bool:
        """Return whether its units are held at their stops."""
        return self._way(key).now

    def _way(self, key: str) -> Way:
        return self.ways[key.split(OF_FLEET, 1)[1]]

    def __call__(self, runs: dict[str, Any], in_the_bay: bool = False) -> dict[str, Orders]:
        """Return the orders of a day by run; in_the_bay: about the units alone that stand at a stop."""
        if self.refits and not in_the_bay:
            self._refit(runs)
        # Between stops a way that decides in the bay alone has nothing to say.
        asked = {key: run for key, run in runs.items() if in_the_bay or self._way(key).ahead}
        if not asked:
            return {key: [] for key in runs}
        today = next(iter(runs.values())).today
        held = {key: held_days(run) for key, run in asked.items()}
        tables = side_by_side({name: run.tables() for name, run in asked.items()})
        if in_the_bay:
            tables = narrowed(tables, {key + BETWEEN + unit for key in asked for unit in held[key]})
        decided = self._decided(tables, held, today, checked(tables["visits"]))
        return {key: [] for key in runs} | {
            key: orders_of(frame, held[key], today, self._way(key)) for key, frame in decided.items()
        }

    def goes(self, runs: dict[str, Any], seen: dict[str, pd.DataFrame]) -> dict[str, np.ndarray]:
        """Return by run what its checks ask: whether the pumps go, readings and findings in."""
        out = {key: default_judge(frame) for key, frame in seen.items() if self._way(key).shop}
        seen = {key: frame for key, frame in seen.items() if key not in out}
        if not seen:
            return out
        at = {
            key: {unit: float(day) for unit, day in zip(frame["unit"], frame["day"], strict=True)}
            for key, frame in seen.items()
        }
        names = {key + BETWEEN + unit for key, days in at.items() for unit in days}
        today = int(max(max(days.values()) for days in at.values())) + PAPER_DAYS
        tables = side_by_side(
            {key: runs[key].tables(as_of=int(max(at[key].values())) + PAPER_DAYS) for key in seen}
        )
        decided = self._decided(narrowed(tables, names), at, today, pd.Series(sorted(names)), judged=True)
        for key, frame in seen.items():
            mine = decided[key].drop_duplicates("unit").set_index("unit").reindex(frame["unit"])
            out[key] = ((mine["option"] == JOBS[CHANGE]) & (mine["at"] == TIMES[NOW])).to_numpy(bool)
        return out

    def _refit(self, runs: dict[str, Any]) -> None:
        done = set()
        for key, run in runs.items():
            fleet = key.split(OF_FLEET, 1)[0]
            if fleet not in done:
                done.add(fleet)
                known = known_history(run)
                if due(self.fits[fleet], known):
                    self.fits[fleet] = fit_history(known)

    def _decided(
        self,
        tables: dict[str, pd.DataFrame],
        held: dict[str, dict[str, float]],
        today: int,
        passed: pd.Series,
        judged: bool = False,
    ) -> dict[str, pd.DataFrame]:
        """Return what is decided about every pump, by run; passed: units whose check is done.

        judged: their jobs are done now, whatever the way.
        """
        as_of = day_of(today)
        past = history_from_tables(tables, 1.0, str(EPOCH + today), clean_odometers=True)
        vehicles = vehicles_of(tables)
        settings = DEFAULTS | {"distance_unit": "km", "risk_ceiling": {}}
        decided = {}
        fleet_of = past.pumps["unit"].str.split(OF_FLEET, n=1).str[0].to_numpy(object)
        for fleet in dict.fromkeys(key.split(OF_FLEET, 1)[0] for key in held):
            mine = np.flatnonzero(fleet_of == fleet)
            if not len(mine):
                continue
            fit = self.fits[fleet]
            state = at_their_stops(score(of_pumps(past, mine), fit), held, today)
            pumps = with_prices(
                ranked(state), self.book, LongRun.from_plain(fit.parameters.summary["long_run"]), vehicles
            )
            pumps = with_next_stop(pumps, vehicles, settings, as_of)
            pumps = pumps.assign(
                checked=pumps["unit"].isin(passed), finished=False, failed=False, starves=False, idle=False,
                circuit_proven=False, cause_found=False, made=0,
                finding="healthy",
            )  # fmt: skip
            ahead, made = ahead_of(pumps, settings, as_of, as_of), survival_on_grid(state, GRID_KM)
            name = pumps["unit"].str.split(BETWEEN, n=1).str[0].to_numpy()
            for key in held:
                rows = np.flatnonzero(name == key)
                if len(rows):
                    here = (held[key], judged)
                    decided[key] = self._in_its_way(key, pumps, ahead, made, rows, here, settings)
        return decided

    def _in_its_way(
        self,
        key: str,
        pumps: pd.DataFrame,
        ahead: Ahead,
        made: Forecast,
        rows: np.ndarray,
        stands: tuple[dict[str, float], bool],
        settings: dict[str, Any],
    ) -> pd.DataFrame:
        held, judged = stands
        way = self._way(key)
        mine = pumps.iloc[rows].reset_index(drop=True)
        mine["unit"] = mine["unit"].str.split(BETWEEN, n=1).str[1]
        mine["cost_per_km"] *= way.g_factor
        if way.free:
            mine[CHECK_PRICES] = 0.0
        place = replace(ahead, **{f.name: getattr(ahead, f.name)[rows] for f in fields(ahead)})
        here = mine["unit"].isin(held).to_numpy()
        place = replace(place, in_bay=here & (way.now or judged), may_extra=np.full(len(rows), way.extra))
        curves = Curves(
            made.grid_km,
            made.survival[rows] ** way.hazard,
            made.by_age_survival[rows] ** way.hazard,
            made.new_pump_survival[rows] ** way.hazard,
        )
        frame = with_decision(mine, weigh(mine, curves, place, settings | way.settings))
        return with_checks_first(frame) if way.check_first else frame


def with_checks_first(pumps: pd.DataFrame) -> pd.DataFrame:
    """Return what was decided with a check before every change that none has come before."""
    before = (pumps["option"] == JOBS[CHANGE]) & ~pumps["checked"].astype(bool)
    return pumps.assign(option=pumps["option"].mask(before, JOBS[CHECK_AND_CHANGE]))


def orders_of(pumps: pd.DataFrame, held: dict[str, float], today: int, way: Way) -> Orders:
    """Return what was decided as orders."""
    orders = []
    for row in pumps[pumps["option"] != JOBS[0]].to_dict("records"):
        if row["at"] == "now":
            day, own = int(held[row["unit"]]), False
        elif row["at"] == "extra stop":
            day, own = working(today + NOTICE), True
        elif not way.now and way.next_stop:
            ahead = (pd.Timestamp(row["next_stop_on"]) - pd.Timestamp(day_of(today))).days
            day, own = today + max(round(way.dated * ahead), 1), False
        else:
            continue
        orders.append({"unit": row["unit"], "day": day, "job": row["option"], "own_stop": own})
    return orders


def checked(visits: pd.DataFrame) -> pd.Series:
    """Return the units in whose last visit on record a check found no cause beside the pump."""
    last = visits.drop_duplicates("unit", keep="last")
    return last["unit"][last["check_result"] == "no_other_cause"]


def side_by_side(tables: dict[str, dict[str, pd.DataFrame]]) -> dict[str, pd.DataFrame]:
    """Return one fleet's tables from those of several runs, each unit named after its run and itself."""
    out = {}
    first = next(iter(tables.values()))
    for name, frame in first.items():
        if "unit" not in frame:
            out[name] = frame
            continue
        parts = [t[name].assign(unit=key + BETWEEN + t[name]["unit"]) for key, t in tables.items()]
        out[name] = pd.concat([part for part in parts if len(part)] or parts, ignore_index=True)
    out["pumps"] = out["pumps"].assign(serial=None)  # the same in every run
    return out


def narrowed(tables: dict[str, pd.DataFrame], units: set[str]) -> dict[str, pd.DataFrame]:
    """Return the tables of some units alone."""
    return {
        name: frame[frame["unit"].isin(units)].reset_index(drop=True) if "unit" in frame else frame
        for name, frame in tables.items()
    }


def at_their_stops(state: State, held: dict[str, dict[str, float]], today: int) -> State:
    """Return a scoring run in which units held at a stop have not driven on from there until today."""
    days = {key + BETWEEN + unit: day for key, mine in held.items() for unit, day in mine.items()}
    pumps = state.history.pumps
    waits = (today - pumps["unit"].map(days).fillna(today).to_numpy(float)) * pumps["km_per_day"].to_numpy(
        float
    )
    there = replace(state.history, pumps=pumps.assign(now_km=pumps["now_km"] - waits))
    return replace(state, history=there, d_0=np.maximum(state.d_0 - waits[state.rows], 0.0))


def price_book(p: Prices) -> CostBook:
    """Return a cost book in which every price is the world's."""
    stamp = datetime(2020, 1, 1)
    amounts = {
        "planned_replacement": p.planned, "failure_replacement": p.failure,
        "check_tank_closed": p.check_closed, "check_tank_open": p.check_open, "extra_stop": p.extra_stop,
        "part_returned": p.part_returned,
        "comeback": p.comeback, "other_breakdown": p.other_breakdown,
    }  # fmt: skip
    entries = [Entry(n, a, None, None, "world", True, date(1900, 1, 1), stamp) for n, a in amounts.items()]
    return CostBook(date(2020, 1, 1), "USD", tuple(entries), {})


def working(day: int) -> int:
    """Return the same day, or the Monday after a weekend."""
    return day + (0, 0, 0, 0, 0, 2, 1)[day % 7]


def known_history(run: Any) -> History:
    """Return the past as recorded today."""
    return history_from_tables(run.tables(), 1.0, str(EPOCH + run.today), clean_odometers=True)


def held_days(run: Any) -> dict[str, float]:
    """Return by unit the day of the stop at which it stands."""
    rows = np.flatnonzero(~np.isnan(run.held))
    return {run.fleet.names[i]: float(run.held[i]) for i in rows}


def ranked(state: State) -> pd.DataFrame:
    """Return the columns of `rank` that the decision rests on, one row a pump in service."""
    p, pumps = state.fit.parameters, state.history.pumps.iloc[state.rows].reset_index(drop=True)
    model = risk_model(p)
    interval = pumps["pm_interval_km"].to_numpy(float)
    last = state.history.visits.groupby("pump")["day"].max().reindex(state.rows).to_numpy(float)
    return pd.DataFrame(
        {
            "unit": pumps["unit"], "pump_type": pumps["pump_type"], "depot": pumps["depot"],
            "class": pumps["class"], "pump_id": pumps["pump_id"],
            "risk": model.risk(state.known, state.d_0, interval)[0],
            "risk_if_new": model.risk(state.new_pumps, np.zeros(len(pumps)), interval)[0],
            "km_per_day": pumps["unit_km_per_day"], "pump_km_per_day": pumps["km_per_day"],
            "last_visited_on": pd.to_datetime(last, unit="D"),
        }
    )  # fmt: skip


def vehicles_of(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the vehicles as plan_vehicles.sql gives them, with the last planned stop on record."""
    cars, visits = tables["vehicles"], tables["visits"]
    last = visits[visits["reason"] == "pm"].groupby("unit")["visited_on"].max()
    return cars.assign(
        last_pm_on=cars["unit"].map(last), pm_interval_km=cars["pm_interval"], pm_interval_hours=np.nan,
        hours_per_day=np.nan, vin=None, make=None, model=None,
    )  # fmt: skip
