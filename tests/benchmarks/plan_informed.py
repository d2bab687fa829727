"""The informed planner of the plan's loop: the world's true laws and numbers, and otherwise what the product
has too, the same readings, options, prices and decision.

Its forecasts come from the second world's particle filter (second_world.informed), which also tells the
chance of a cause beside the pump and what the forecast is if one is there. What it saves is what forecasts
and checks allow; what a plan falls short of it is the plan's own.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from analytics.money.decision import (
    CHANGE,
    CHECK_AND_CHANGE,
    JOBS,
    NOW,
    TIMES,
    Decision,
    Work,
    decide,
)
from analytics.money.outlook import Ahead, outlook_of
from analytics.risk.deciding import with_next_stop
from analytics.risk.forecast import GRID_KM
from ingest.ledger.settings import DEFAULTS
from tests.benchmarks.plan_policies import NOTICE, OF_FLEET, Orders, Way, held_days, orders_of, vehicles_of
from tests.benchmarks.second_world import Prices, lives
from tests.benchmarks.second_world.fleet import EPOCH, day_of
from tests.benchmarks.second_world.informed import Informed
from tests.benchmarks.second_world.kinds import DUTIES
from tests.fleet_frames import history_from_tables

PARTICLES = 400
GRID = GRID_KM[::2]
RATE_DAYS = 365.0  # over which a vehicle's daily distance is taken
TRIALS = 40  # new pumps that might be fitted, where a vehicle's end is in sight


class InformedPlanners:
    """As plan_policies.Planners: at the stops, from lists, or both; cost_per_km: g, by fleet."""

    def __init__(self, prices: Prices, cost_per_km: dict[str, float], ways: dict[str, Way]):
        self.prices, self.g, self.ways = prices, cost_per_km, ways
        self.filters: dict[str, Informed] = {}

    def holds(self, key: str) -> bool:
        """Return whether its units are held at their stops."""
        return self._way(key).now

    def _way(self, key: str) -> Way:
        return self.ways[key.split(OF_FLEET, 1)[1]]

    def __call__(self, runs: dict[str, Any], in_the_bay: bool = False) -> dict[str, Orders]:
        """Return the orders of a day by run; in_the_bay: about the units alone that stand at a stop."""
        orders: dict[str, Orders] = {key: [] for key in runs}
        for key, run in runs.items():
            way = self._way(key)
            if in_the_bay:
                held = held_days(run)
            else:
                held = dict.fromkeys(_in_service(run), float(run.today)) if way.ahead else {}
            if held:
                stops = None if in_the_bay else _next_stops(run, list(held))
                made = self._decided(key, run, held, run.today, checked=False, stops=stops)
                ahead = np.zeros(len(held)) if stops is None else stops - run.today
                done = pd.DataFrame(
                    {
                        "unit": list(held), "option": np.array(JOBS)[made.job],
                        "at": np.array(TIMES)[made.time],
                        "next_stop_on": [day_of(run.today + round(days)) for days in ahead],
                    }
                )  # fmt: skip
                orders[key] = orders_of(done, held if in_the_bay else {}, run.today, way)
        return orders

    def goes(self, runs: dict[str, Any], seen: dict[str, pd.DataFrame]) -> dict[str, np.ndarray]:
        """Return by run what its checks ask: whether the pumps go, readings and findings in."""
        out = {}
        for key, frame in seen.items():
            at = {unit: float(day) for unit, day in zip(frame["unit"], frame["day"], strict=True)}
            made = self._decided(key, runs[key], at, max(at.values()), checked=True)
            out[key] = np.asarray((made.job == CHANGE) & (made.time == NOW))
        return out

    def _decided(
        self,
        key: str,
        run: Any,
        at: dict[str, float],
        today: float,
        checked: bool,
        stops: np.ndarray | None = None,
    ) -> Decision:
        """stops (n,): days of the next stops, for a list; None: the units stand at one."""
        told = self.filters.setdefault(key, Informed(run.world, PARTICLES))
        told.update(run, today)
        fleet, (number, name) = run.fleet, key.split(OF_FLEET, 1)
        way = self.ways[name]
        where = {name: i for i, name in enumerate(fleet.names)}
        u, day = np.array([where[name] for name in at]), np.array(list(at.values()))
        if stops is not None:
            told._pass(u, day)  # they still run today
        survival, if_beside = told.curves(u, day, GRID)
        survival, if_beside = survival**way.hazard, if_beside**way.hazard
        per_day = (fleet.km.at(u, day) - fleet.km.at(u, day - RATE_DAYS)) / RATE_DAYS
        days = np.array([duty.pm_days for duty in DUTIES])[fleet.duty[u]]
        interval = np.minimum(fleet.pm_km(u), days * per_day)
        known = fleet.retires[u] < day + 550
        last = np.where(known, (fleet.retires[u] - day) * per_day, np.inf)
        to_stop = interval if stops is None else (stops - day) * per_day
        extra = np.full(u.size, stops is not None and way.extra)
        here = np.full(u.size, stops is None)
        ahead = Ahead(NOTICE * per_day, to_stop, interval, here, extra, last)
        g = np.full(u.size, self.g[number] * way.g_factor)
        outlook, work = outlook_of(
            GRID, survival, if_beside, _of_new(run, u, day), ahead, self._work(u.size, way), g, 0.0
        )
        beside = np.zeros(u.size) if checked else told.beside(u, day)
        least = float(DEFAULTS["least_saving_share"]) * self.prices.planned  # as the decision has it
        made = decide(replace(outlook, beside=beside), work, least_saving=least)
        if way.check_first and not checked:
            made = replace(made, job=np.where(made.job == CHANGE, CHECK_AND_CHANGE, made.job))
        return made

    def _work(self, n: int, way: Way) -> Work:
        p, paid = self.prices, 0.0 if way.free else 1.0
        return Work(
            np.full(n, p.planned), np.full(n, p.failure), p.check_closed * paid, p.check_open * paid,
            p.extra_stop * paid, p.part_returned * paid, p.comeback, p.other_breakdown,
        )  # fmt: skip


def _in_service(run: Any) -> np.ndarray:
    fleet = run.fleet
    return np.asarray(fleet.names[(fleet.in_service <= run.today) & (fleet.retires > run.today)])


def _next_stops(run: Any, names: list[str]) -> np.ndarray:
    """Days of the units' next planned stops as the product reckons them: the last one's and an interval."""
    tables, settings = run.tables(), DEFAULTS | {"distance_unit": "km"}
    past = history_from_tables(tables, 1.0, str(EPOCH + run.today), clean_odometers=True)
    rate = past.pumps.groupby("unit")["unit_km_per_day"].max()
    units = pd.DataFrame({"unit": names, "km_per_day": rate.reindex(names).to_numpy()})
    on = pd.to_datetime(
        with_next_stop(units, vehicles_of(tables), settings, day_of(run.today))["next_stop_on"]
    )
    days = (on - pd.Timestamp(day_of(run.today))).dt.days.fillna(180).to_numpy(float)
    return np.asarray(run.today + np.maximum(days, 1.0))


def _of_new(run: Any, u: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Survival of new pumps over the grid: of trials that stand for no pump of the world."""
    fleet, now = run.fleet, run.fleet.km.at(u, day)
    kept = np.zeros((u.size, len(GRID)))
    for trial in range(TRIALS):
        other = lives.born(fleet, run.world.kind, u, np.full(u.size, 900 + trial), day)
        kept += (fleet.km.at(u, other.fail_day) - now)[:, None] > GRID
    return kept / TRIALS
