"""The fleet as types of pump, each with its simulated lives, prices and g, weighed by the distance they
run."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from analytics.cost_review.simulated_age import best_simulated_age
from analytics.money import policies
from analytics.money.cost_book import CostBook, Prices
from analytics.money.elements import SIDES, TOTALS
from analytics.money.long_run import LongRun
from analytics.money.policies import AGE, RUN, Events
from analytics.money.policy_simulation import Asked, SimulatedLives, simulate, simulate_life_km
from analytics.past.distance import own_interval_km
from analytics.past.history import History
from analytics.wear_model.model import Parameters
from ingest.settings_in_force import Settings
from ingest.trade_numbers import USUAL_INTERVAL_KM

MOST_TYPES = 6  # simulated one by one; the rest follow the commonest
LEAST_INTERVAL_KM = 500.0
AGE_LIVES = 6000  # of the fixed age, which wants more lives than the policies and no readings
MOST_REMEMBERED = 4  # what two reviews ask for; at most 20 MB each


@dataclass(frozen=True)
class Group:
    """Pumps of one type in service, `weight` their share of the fleet's distance; interval_km: between
    stops; life_km (AGE_LIVES,): lives for the fixed age."""

    pump_type: str
    weight: float
    lives: SimulatedLives
    prices: Prices
    long_run: LongRun
    interval_km: float
    life_km: np.ndarray

    def best_age_km(self, prices: Prices | None = None) -> float:
        """Return the fixed age that costs least at these prices, infinite where none pays."""
        q = prices or self.prices
        return best_simulated_age(self.life_km, q.planned, q.failure)

    def cost_per_km(self, prices: Prices | None = None) -> float:
        """Return g in money per km at these prices (default: its own), as rank and plan take it."""
        q = prices or self.prices
        return float(
            self.long_run.cost_per_km(
                pd.Series([self.pump_type]), np.array([q.planned]), np.array([q.failure])
            )[0]
        )

    def events(self, prices: Prices | None = None) -> dict[str, Events]:
        """Return what happens under each policy, set for these prices."""
        q = prices or self.prices
        return policies.compare(self.lives, q, self.cost_per_km(q), self.best_age_km(q))


@dataclass(frozen=True)
class Simulation:
    """How to simulate a type: limits of its readings and its code in the parameters.

    fitted: the parameters as text, by which one simulation is told from another.
    """

    p: Parameters = field(compare=False, repr=False)
    fitted: str = field(repr=False)
    code: int
    ripple_pct: float
    load: float
    number: int


@lru_cache(maxsize=MOST_REMEMBERED)
def lives_of(read: tuple[tuple[Simulation, float], ...], count: int) -> tuple[SimulatedLives, ...]:
    """Return `count` lives of each simulation (all of one fit) read every so many km; the same seed, so that
    intervals share their luck.

    No price moves them, so asked again at other prices they are those simulated before; they can't be
    written to.
    """
    asked = [
        Asked(of.code, interval_km, count, (7, of.number), of.ripple_pct, of.load, as_forecast=True)
        for of, interval_km in read
    ]
    made = tuple(simulate(read[0][0].p, asked)) if read else ()
    for lives in made:
        for value in vars(lives).values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)
    return made


def simulated_life_km(p: Parameters, pump_type: str) -> np.ndarray:
    """Return AGE_LIVES lives of a type (km), the same each time; they can't be written to."""
    return _life_km(_Learned(p, p.to_json()), int(p.type_codes(pd.Series([pump_type]))[0]))


@dataclass(frozen=True)
class _Learned:
    """Parameters, told from others by their text."""

    p: Parameters = field(compare=False, repr=False)
    fitted: str = field(repr=False)


@lru_cache(maxsize=2 * (MOST_TYPES + 1))  # of two fits; 48 kB each
def _life_km(learned: _Learned, code: int) -> np.ndarray:
    rng = np.random.default_rng([11, code])
    made = simulate_life_km(learned.p, code, USUAL_INTERVAL_KM, AGE_LIVES, rng)
    made.setflags(write=False)
    return made


def make_groups(
    history: History,
    p: Parameters,
    book: CostBook,
    limits: pd.DataFrame,
    settings: Settings,
    lives: int,
) -> list[tuple[Group, Simulation]]:
    """Simulate each type in service at its usual interval, on its pumps' mean prices."""
    pumps = in_service(history)
    if pumps.empty:
        return []
    share = pumps.groupby("pump_type")["km_per_day"].sum().sort_values(ascending=False)
    share = share.head(MOST_TYPES) / share.head(MOST_TYPES).sum()
    spec = limits.set_index("pump_type")
    long_run = LongRun.from_plain(p.summary["long_run"])
    known, fitted = [], p.to_json()
    for number, (name, weight) in enumerate(share.items()):
        mine = pumps[pumps["pump_type"] == name]
        interval = max(float(np.median(own_interval_km(mine))), LEAST_INTERVAL_KM)
        row: pd.Series = spec.T[name] if name in spec.index else pd.Series(dtype=float)
        ripple = _number(row, "ripple_limit_pct", float(settings["ripple_limit_pct"]))
        low, high = _number(row, "current_low_a", np.nan), _number(row, "current_high_a", np.nan)
        # The load channel is torque: over the specified high end from the middle of the band.
        load = float(np.log(2 * high / (low + high))) if 0 < low < high else float(np.log(1.3))
        code = int(p.type_codes(pd.Series([name]))[0])
        known.append((name, weight, mine, interval, Simulation(p, fitted, code, ripple, load, number)))
    made = lives_of(tuple((simulation, interval) for *_, interval, simulation in known), lives)
    return [
        (
            Group(
                str(name), float(weight), simulated, mean_prices(mine, book), long_run, interval,
                simulated_life_km(p, str(name)),
            ),
            simulation,
        )
        for (name, weight, mine, interval, simulation), simulated in zip(known, made, strict=True)
    ]  # fmt: skip


def in_service(history: History) -> pd.DataFrame:
    """Return the pumps in service whose vehicles are not retired."""
    pumps = history.pumps
    retired = pumps["retires_day"].notna() & (pumps["retires_day"] < history.as_of_day)
    return pumps[~pumps["removed"].to_numpy(bool) & ~retired.to_numpy(bool)]


def fleet_km_per_year(history: History) -> float:
    """Return the distance that all pumps in service run in a year, km."""
    return float(in_service(history)["km_per_day"].sum()) * 365.25


def _number(row: pd.Series, name: str, default: float) -> float:
    value = row.get(name, np.nan)
    return default if value is None or pd.isna(value) else float(value)


def mean_prices(pumps: pd.DataFrame, book: CostBook) -> Prices:
    """Return the mean over the pumps of what their events cost; pumps: class, depot, pump_type."""
    kinds = pumps.groupby(["class", "depot"], dropna=False).size()
    made = []
    pairs: Any = kinds.items()
    for (vehicle_class, depot), count in pairs:
        made.append((book.prices(_text(vehicle_class), _text(depot), str(pumps["pump_type"].iloc[0])), count))
    total = float(kinds.sum())
    names = ("planned", "failure", "labour_per_hour", *(side for side in SIDES if side not in TOTALS))
    means = {name: sum(getattr(q, name) * n for q, n in made) / total for name in names}
    return Prices(**means, placeholders=tuple(sorted({x for q, _ in made for x in q.placeholders})))


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def total(
    groups: list[Group], events: list[dict[str, Events]], policy: str, prices: list[Prices] | None = None
) -> float:
    """Return the fleet's cost per km under a policy."""
    each = prices or [g.prices for g in groups]
    return sum(g.weight * e[policy].cost_per_km(q) for g, e, q in zip(groups, events, each, strict=True))


def captured(groups: list[Group], events: list[dict[str, Events]], policy: str) -> float:
    """Return what of `total` the captures are, which no change of life moves."""
    return sum(g.weight * e[policy].captures * g.prices.capture for g, e in zip(groups, events, strict=True))


WITHOUT_READINGS = (RUN, AGE)
