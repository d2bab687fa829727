"""A budget's ranges held against what the year then cost, in simulated fleets whose pumps run to failure.

    uv run python -m tests.benchmarks.budget_study --vehicles 150 --fleets 12

Each fleet is learned a year before its records end; the budget from there on, with no change planned, is held
against the failures of that year at the same price: how often the 80 % range of a row (month and depot), a
month, a depot and the whole year holds what came, and told over come.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cost_review.budget import Budget, Rule, budget
from analytics.cost_review.type_lives import fit_types
from analytics.learning.fitting import fit_history
from analytics.past.history import EPOCH
from analytics.risk.forecast import score
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at

C_PLANNED, C_FAILURE = 650.0, 2400.0
UNTIL, SEEN_FROM = "2026-06-30", "2025-06-30"


def told_and_come(spec: FleetSpec) -> tuple[Budget, pd.DataFrame]:
    """Return a fleet's budget, and money come by month and depot."""
    fleet = simulate_fleet(spec)
    past, everything = history_at(fleet, SEEN_FROM), history_at(fleet)
    state = score(past, fit_history(past))
    lives = fit_types(past.pumps)
    start = past.as_of
    prices = pd.DataFrame({"planned": C_PLANNED, "failure": C_FAILURE}, index=range(len(state.rows)))
    sd = float(np.sqrt(lives.fleet.covariance[0, 0]))
    made = budget(state, prices, pd.DataFrame(), start, 0, Rule(0.0, 1.0), sd)
    pumps = everything.pumps
    gone = pumps[pumps["failed"].astype(bool) & (pumps["removed_day"] > past.as_of_day)]
    day = pd.Timestamp(EPOCH) + pd.to_timedelta(gone["removed_day"], "D")
    come = pd.DataFrame({"month": day.dt.strftime("%Y-%m"), "depot": gone["depot"].fillna("")})
    return made, come.assign(cost=C_FAILURE)


def held(made: Budget, come: pd.DataFrame) -> dict[str, float]:
    """Return the share of each kind of row whose range holds what came, and told over come."""
    out = {"told": float(made.total["cost"].iloc[0]) / C_FAILURE, "come": float(len(come))}
    for name, table, keys in (
        ("rows", made.table, ["month", "depot"]), ("months", made.by_month, ["month"]),
        ("depots", made.by_depot, ["depot"]), ("total", made.total, []),
    ):  # fmt: skip
        if keys:
            was = come.groupby(keys)["cost"].sum().reindex(table.set_index(keys).index).fillna(0.0).to_numpy()
        else:
            was = np.array([come["cost"].sum()])
        inside = (was >= table["cost_low"].to_numpy()) & (was <= table["cost_high"].to_numpy())
        out[name] = float(inside.mean())
    return out


def main() -> None:
    """Print a row per fleet, written to a file as they come, and their means."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--vehicles", type=int, default=150)
    parser.add_argument("--fleets", type=int, default=12)
    parser.add_argument("--seed", type=int, default=6100)
    parser.add_argument("--out", type=Path, default=Path("budget_study.csv"))
    args = parser.parse_args()
    rows = []
    for k in range(args.fleets):
        spec = FleetSpec(
            vehicles=args.vehicles, seed=args.seed + 17 * k, until=UNTIL, removed_on_condition=0.0
        )
        rows.append({"seed": spec.seed} | held(*told_and_come(spec)))
        pd.DataFrame(rows).to_csv(args.out, index=False)
        print(rows[-1], flush=True)
    print(pd.DataFrame(rows).mean().round(3).to_string())


if __name__ == "__main__":
    main()
