"""Plain policies of the plan's loop: run to failure, limits on the last reading, an age."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from analytics.cost_review.age_replacement import best_age
from analytics.cost_review.type_lives import fit_types
from analytics.past.history import History
from tests.benchmarks.plan_policies import Orders, held_days
from tests.benchmarks.second_world import Prices
from tests.benchmarks.second_world.fleet import EPOCH


def nothing(run: Any) -> Orders:
    """Run to failure."""
    return []


def limits(run: Any) -> Orders:
    """Change at the stop whose reading passes a limit of its type."""
    held, tables = held_days(run), run.tables()
    visits = tables["visits"][tables["visits"]["unit"].isin(held)]
    last = visits[visits["reason"].isin(["pm", "complaint"])].groupby("unit").tail(1)
    last = last[last["visited_on"] == (EPOCH + last["unit"].map(held).to_numpy(int)).astype("datetime64[s]")]
    pumps = tables["pumps"].drop_duplicates("unit", keep="last").set_index("unit")["pump_type"]
    spec = tables["pump_types"].set_index("pump_type").loc[last["unit"].map(pumps)].reset_index(drop=True)
    last = last.reset_index(drop=True)
    over = (
        (last["ripple_pct"] > spec["ripple_limit_pct"])
        | (last["mean_a"] > spec["current_high_a"]) | (last["mean_a"] < spec["current_low_a"])
        | (last["rpm"] < spec["rpm_low"]) | (last["rpm"] > spec["rpm_high"])
    )  # fmt: skip
    return [{"unit": u, "day": int(held[u]), "job": "change", "own_stop": False} for u in last["unit"][over]]


def by_age(ages: dict[str, float]) -> Callable[[Any], Orders]:
    """Change at the first stop past the type's age; the true distance on the pump is known to it."""

    def orders(run: Any) -> Orders:
        held = np.flatnonzero(~np.isnan(run.held))
        own = run.lives.take(held)
        run_km = run.fleet.km.at(held, run.held[held]) - own.start_km
        names = list(run.tables()["pump_types"]["pump_type"])
        age = np.array([ages.get(names[d], np.inf) for d in own.design])
        return [
            {"unit": run.fleet.names[u], "day": int(run.held[u]), "job": "change", "own_stop": False}
            for u in held[run_km > age]
        ]

    return orders


def recommended_ages(history: History, prices: Prices) -> dict[str, float]:
    """Return the age that the cost review recommends for each type on that day, km."""
    lives = fit_types(history.pumps)
    types = history.pumps["pump_type"].unique()
    return {str(t): float(best_age(lives.of(t).life, prices.planned, prices.failure).age) for t in types}
