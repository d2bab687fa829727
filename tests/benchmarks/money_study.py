"""What the cost page says of pumps taken off unfailed, held against the truth of simulated fleets.

    uv run python -m tests.benchmarks.money_study --vehicles 400 --fleets 4

For each fleet, over the last years with their removals: the life thrown away as told and in truth (how far
each pump would have run, which the simulator knows), the same by its type's mean life, failures told before
the next stop against those that would have come, and the saving of the changes, (Cf - Cp) - g * life thrown
away each, claimed with its 80 % range against realised.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cost_review.given_up import given_up, sum_range
from analytics.cost_review.type_lives import fit_types
from analytics.learning.fitting import fit_history
from analytics.money.long_run import LongRun
from demo_fleet.fleet import SimulatedFleet, simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at

C_PLANNED, C_FAILURE = 650.0, 2400.0


def removals(fleet: SimulatedFleet) -> pd.DataFrame:
    """Return every pump taken off unfailed on record: told and true figures, one row each."""
    history = history_at(fleet)
    fit = fit_history(history)
    lives = fit_types(history.pumps)
    told = given_up(history, fit).merge(
        history.pumps[["pump_id", "pump_type", "now_km", "removed_day"]], on="pump_id"
    )
    serial = fleet.tables["pumps"]["serial"].str[1:].astype(int).to_numpy()
    truth = fleet.true_lives.set_index("life").loc[serial[told["pump_id"].to_numpy(int)]].reset_index()
    told["true_km"] = np.maximum(
        truth["true_fails_at_km"] - (truth["removed_km"] - truth["fitted_km"]), 0.0
    ).to_numpy()
    told["by_type_km"] = [
        float(lives.of(name).life.mean_left(np.array([x]))[0])
        for name, x in zip(told["pump_type"], told["now_km"], strict=True)
    ]
    told["fails_soon"] = told["true_km"] <= told["interval_km"]
    n = len(told)
    long_run = LongRun.from_plain(fit.parameters.summary["long_run"])
    told["g"] = long_run.cost_per_km(told["pump_type"], np.full(n, C_PLANNED), np.full(n, C_FAILURE))
    told["year"] = (history.as_of_day - told["removed_day"]) // 365
    told.attrs |= {"lives": lives, "history": history, "fit": fit, "parameters": fleet.parameters}
    return told


def figures(told: pd.DataFrame, lives) -> dict[str, float]:
    """Return told against true of some removals."""
    low, high = sum_range(told, lives)
    gap = C_FAILURE - C_PLANNED
    weighed = told.assign(
        life_thrown_away_km=told["g"] * told["life_thrown_away_km"], left_sd_km=told["g"] * told["left_sd_km"]
    )
    cost_low, cost_high = sum_range(weighed, lives)
    claimed = float((gap - weighed["life_thrown_away_km"]).sum())
    realised = float((gap - told["g"] * told["true_km"]).sum())
    true = float(told["true_km"].sum())
    return {
        "removals": len(told),
        "thrown_away_told": float(told["life_thrown_away_km"].sum()),
        "thrown_away_true": true,
        "ratio": float(told["life_thrown_away_km"].sum()) / true,
        "ratio_by_type": float(told["by_type_km"].sum()) / true,
        "inside": float(low <= true <= high),
        "failures_told": float(told["told_risk"].sum()),
        "failures_true": float(told["fails_soon"].sum()),
        "claimed": claimed,
        "claimed_low": gap * len(told) - cost_high,
        "claimed_high": gap * len(told) - cost_low,
        "realised": realised,
        "covered": float(gap * len(told) - cost_high <= realised <= gap * len(told) - cost_low),
    }


def main() -> None:
    """Print a row per fleet and year, written to a file as they come."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--vehicles", type=int, default=400)
    parser.add_argument("--fleets", type=int, default=4)
    parser.add_argument("--seed", type=int, default=50)
    parser.add_argument("--acts", type=float, default=0.3)
    parser.add_argument("--out", type=Path, default=Path("money_study.csv"))
    args = parser.parse_args()
    rows = []
    for k in range(args.fleets):
        spec = FleetSpec(vehicles=args.vehicles, seed=args.seed + 17 * k, removed_on_condition=args.acts)
        told = removals(simulate_fleet(spec))
        for year, mine in told.groupby("year"):
            rows.append({"seed": spec.seed, "year": int(year)} | figures(mine, told.attrs["lives"]))
        pd.DataFrame(rows).to_csv(args.out, index=False)
        print(pd.DataFrame(rows)[-int(told["year"].nunique()) :].round(2).to_string(), flush=True)


if __name__ == "__main__":
    main()
