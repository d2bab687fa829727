"""How much of the best fixed age's saving the age learned from a fleet's records brings, in the second world.

    python -m tests.benchmarks.best_age_study [--vehicles 200] [--fleets 4] [--seed 27000] [--kind standard]

Per fleet a fit on the records known after four years; per type the age of least cost from its simulated
lives, paid for on true lives of the same vehicles (60 a vehicle), beside the age that is best for these.
Planned 650, on failure 2,400. These fleets are invented and no evidence for any real one.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd

from analytics.cost_review.simulated_age import best_simulated_age, cost_at_ages
from analytics.learning.fitting import fit_history
from analytics.money.policy_simulation import Asked, simulate
from tests.fleet_frames import history_from_tables

PLANNED, FAILURE = 650.0, 2400.0
YEARS, TRIALS, SIMULATED, INTERVAL_KM = 4.0, 60, 3000, 8000.0
FEW = 200  # true lives of a type, below which nothing is said of it


def true_lives(run) -> tuple[np.ndarray, np.ndarray]:
    """Return lives that might have been fitted today, km, and the design of each."""
    from tests.benchmarks.second_world import lives

    fleet, today = run.fleet, float(run.today)
    u = np.flatnonzero((fleet.in_service <= today) & (fleet.retires > today))
    at = np.full(u.size, today)
    made = [
        lives.born(fleet, run.world.kind, u, np.full(u.size, 900 + trial), at).fail_day
        for trial in range(TRIALS)
    ]
    km = np.concatenate([fleet.km.at(u, day) - fleet.km.at(u, at) for day in made])
    return km, np.tile(fleet.design[u], TRIALS)


def one_fleet(kind: str, vehicles: int, seed: int) -> pd.DataFrame:
    """One row per type: learned and best age, km, and what each costs beside running to failure, per km."""
    from tests.benchmarks.second_world import build
    from tests.benchmarks.second_world.designs import DESIGNS
    from tests.benchmarks.second_world.fleet import EPOCH

    run = build(seed=seed, kind=kind, vehicles=vehicles).start()
    cut = round(YEARS * 365.25)
    tables = run.tables(as_of=cut)
    p = fit_history(history_from_tables(tables, 1.0, str(EPOCH + cut), clean_odometers=True)).parameters
    km, design = true_lives(run)
    rows = []
    for number, of in enumerate(DESIGNS):
        mine = km[design == number]
        if len(mine) < FEW or of.name not in p.types:
            continue
        code = p.types.index(of.name)
        told = simulate(p, [Asked(code, INTERVAL_KM, SIMULATED, 1)])[0]
        age = best_simulated_age(np.asarray(told.life_km), PLANNED, FAILURE)
        ages = np.append(np.quantile(mine, np.linspace(0.01, 0.995, 150)), mine.max())
        cost = cost_at_ages(mine, ages, PLANNED, FAILURE)
        by_age = cost_at_ages(mine, np.array([min(age, mine.max())]), PLANNED, FAILURE)[0]
        rows.append((seed, of.name, len(mine), age, ages[cost.argmin()], cost[-1], by_age, cost.min()))
    names = ["fleet", "pump_type", "lives", "age_km", "best_km", "to_failure", "by_age", "best"]
    return pd.DataFrame(rows, columns=names)


def share(rows: pd.DataFrame) -> float:
    """Share of the best ages' saving over running to failure, types by their lives."""
    w = rows["lives"]
    return float(
        (w * (rows["to_failure"] - rows["by_age"])).sum() / (w * (rows["to_failure"] - rows["best"])).sum()
    )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--vehicles", type=int, default=200)
    parser.add_argument("--fleets", type=int, default=4)
    parser.add_argument("--seed", type=int, default=27000)
    parser.add_argument("--kind", default="standard")
    args = parser.parse_args()
    shares = []
    for k in range(args.fleets):
        rows = one_fleet(args.kind, args.vehicles, args.seed + 17 * k)
        shares.append(share(rows))
        print(
            rows.round(4).to_string(index=False),
            f"\nshare of the best ages' saving {shares[-1]:.3f}",
            flush=True,
        )
    se = np.std(shares, ddof=1) / np.sqrt(len(shares)) if len(shares) > 1 else np.nan
    print(f"{args.kind}, {args.vehicles} vehicles: {np.mean(shares):.3f} ± {se:.3f} of {len(shares)} fleets")


if __name__ == "__main__":
    main()
