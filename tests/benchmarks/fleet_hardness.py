"""How hard simulated fleets are to forecast, by what no model of ours has a part in.

    python -m tests.benchmarks.fleet_hardness --fleets 30 --seed 1101000 [--level-spread 1] [--sudden 1]

Prints the AUC and Brier skill of a perfect sensor (perfect_sensor.py) over every pump's next PM interval, and
the AUC of the plain rules (analytics/plain_rules.py), each the mean of the fleets with its standard error.
The forecast study's fleets were set by the first two alone.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
import pandas as pd

from analytics.plain_rules import RULES, rule_scores
from analytics.scores import auc_interval, brier_skill
from demo_fleet import fleet as simulator
from tests.benchmarks.forecast_study import LEVEL_SPREAD, SUDDEN, true_now
from tests.benchmarks.perfect_sensor import drag_delays, perfect_risk
from tests.fleet_frames import history_at

CUTS = ("2024-12-31", "2025-12-31")


def hardness(spec: simulator.FleetSpec) -> dict[str, float]:
    """Return one fleet's figures, all cut-offs pooled."""
    fleet = simulator.simulate_fleet(spec)
    seen = pd.concat([_at_cut(fleet, cut) for cut in CUTS])
    happened = seen.pop("happened").to_numpy(bool)
    figures = {f"AUC, {name}": auc_interval(seen[name].to_numpy(), happened).value for name in seen}
    skill = brier_skill(seen["perfect sensor"].to_numpy(), happened)
    return {"skill, perfect sensor": skill, **figures, "share that fails": float(happened.mean())}


def _at_cut(fleet: simulator.SimulatedFleet, cut: str) -> pd.DataFrame:
    """One row per pump in service: the perfect sensor's risk, each rule's score, and whether it failed."""
    history = history_at(fleet, cut)
    rows = np.flatnonzero(~history.pumps["removed"].to_numpy(bool))
    pumps = history.pumps.iloc[rows]
    lives = fleet.true_lives.assign(serial=[f"S{i:06d}" for i in fleet.true_lives["life"]])
    true = lives.set_index("serial").loc[pumps["serial"]]
    now, ahead = true_now(fleet, true, cut), pumps["pm_interval_km"].to_numpy(float)
    left = true["true_fails_at_km"].to_numpy() - now
    wear, slope = fleet.wear_of(true["life"].to_numpy(int), now)
    delays = drag_delays(fleet.parameters, fleet.spec.seed)
    made = rule_scores(history, rows, ahead).rename(columns=RULES)
    made["perfect sensor"] = perfect_risk(fleet.parameters, true, now, ahead, wear, slope, delays)
    return made.assign(happened=left <= ahead)[left > 0]


def main() -> None:
    """Simulate the fleets and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--vehicles", type=int, default=2000)
    parser.add_argument("--fleets", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1101000)
    parser.add_argument("--level-spread", type=float, default=LEVEL_SPREAD)
    parser.add_argument("--sudden", type=float, default=SUDDEN)
    args = parser.parse_args()
    spec = simulator.FleetSpec(args.vehicles, level_spread=args.level_spread, sudden=args.sudden)
    seeds = [args.seed + 17 * k for k in range(args.fleets)]
    table = pd.DataFrame([hardness(replace(spec, seed=seed)) for seed in seeds])
    for name in table:
        print(f"{name:35} {table[name].mean():.3f} ± {table[name].std() / np.sqrt(len(table)):.3f}")


if __name__ == "__main__":
    main()
