"""How hard simulated fleets are to forecast, by what no model of ours has a part in.

    python -m tests.benchmarks.fleet_hardness --fleets 30 --seed 1101000 [--level-spread 1] [--sudden 1]

Prints the AUC and Brier skill of a perfect sensor (perfect_sensor.py) over every pump's next PM interval, and
the AUC of the plain rules (analytics/record/plain_rules.py), each the mean of the fleets with its
standard error.
The forecast study's fleets were set by the first two alone.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd

from analytics.record.plain_rules import RULES, rule_scores
from analytics.record.scores import auc_interval, brier_skill
from demo_fleet import fleet as simulator
from tests.benchmarks.perfect_sensor import perfect_forecast, truth_on
from tests.benchmarks.study_fleets import add_fleet_options, fleet_specs, print_means
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
    true, ahead = truth_on(fleet, pumps, cut), pumps["pm_interval_km"].to_numpy(float)
    made = rule_scores(history, rows, ahead).rename(columns=RULES)
    made["perfect sensor"] = perfect_forecast(fleet, true, ahead)
    left = true["left_km"].to_numpy()
    return made.assign(happened=left <= ahead)[left > 0]


def main() -> None:
    """Simulate the fleets and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    add_fleet_options(parser, vehicles=2000, fleets=30, seed=1101000)
    print_means(pd.DataFrame([hardness(spec) for spec in fleet_specs(parser.parse_args())]), 3)


if __name__ == "__main__":
    main()
