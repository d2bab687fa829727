"""How long a plan takes at 2,000 vehicles, and how much the solver needs when bay hours are short.

Run by hand: python -m tests.benchmarks.plan_speed [vehicles]. Prints seconds of one run and their ratio to
one scoring of the same fleet; the second case books the riskiest fifth of all pumps into bays that hold half
of it. `made 100000` plans that many pumps of given hazards instead, without a ledger: decision and assignment
alone, in seconds of CPU and as a ratio to sorting as many numbers a thousand times.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cost_review.costs import cost_review
from analytics.learning.fitting import fit
from analytics.risk.ranking import rank
from analytics.scheduling.inputs import read_inputs
from analytics.scheduling.planning import make_plan
from demo_fleet.fleet import simulate_fleet, write_folder
from demo_fleet.fleet_pumps import FleetSpec
from ingest.fleet_folder.loading import load_folder
from tests.authors import ANYBODY
from tests.scheduling.plan_fixture import make_inputs


def main(vehicles: int) -> None:
    """Build a fleet, then time scoring, reading, planning and the cost review."""
    with tempfile.TemporaryDirectory() as folder:
        ledger = Path(folder) / "fleet.duckdb"
        write_folder(simulate_fleet(FleetSpec(vehicles=vehicles, seed=3)), Path(folder) / "fleet")
        load_folder(ledger, Path(folder) / "fleet", author=ANYBODY)
        fit(ledger)
        rank(ledger)
        scoring, _ = timed(lambda: rank(ledger))
        reading, inputs = timed(lambda: read_inputs(ledger, None))
        planning, made = timed(lambda: make_plan(inputs, 120, 0.95))
        print(f"{vehicles} vehicles, {len(inputs.pumps)} pumps in service; scoring {scoring:.2f} s")
        print(f"plan: inputs {reading:.2f} s ({reading / scoring:.1f} × scoring), the rest {planning:.2f} s")
        print(f"  {len(made.lines)} booked, {len(made.waiting)} waiting, {len(made.unplaced)} unplaced")

        crowded = crowd(inputs)
        planning, made = timed(lambda: make_plan(crowded, 120, 0.95))
        print(
            f"crowded: {planning:.2f} s ({planning / scoring:.1f} × scoring), "
            f"solver {made.solver_seconds:.2f} s"
        )
        print(f"  {len(made.lines)} booked, {len(made.unplaced)} unplaced, gap {made.solver_gap:.1e}")
        seconds, _ = timed(lambda: cost_review(ledger))
        print(f"cost review: {seconds:.2f} s ({seconds / scoring:.1f} × scoring)")


def crowd(inputs):
    """Return inputs in which the riskiest fifth is to be changed and bays hold half the hours that takes."""
    pumps = inputs.pumps.copy()
    risky = pumps["risk"] >= pumps["risk"].quantile(0.8)
    pumps.loc[risky, "action"] = "book replacement"
    pumps.loc[risky, ["option", "job", "asked_first"]] = "change", "change", "nothing"
    pumps.loc[risky, "there"] = pumps["planned"]
    pumps.loc[risky, "worth"] = True
    pumps.loc[risky, "because"] = "cost"
    depots = pumps["depot"].fillna("").unique()
    a_week = 2.5 * risky.sum() / 17 / len(depots) / 2
    bays = pd.DataFrame({"depot": depots, "week_of": pd.NaT, "hours": a_week})
    stock = pd.DataFrame(
        [(d, t, 2) for d in depots for t in pumps["pump_type"].unique()],
        columns=["depot", "pump_type", "on_hand"],
    )
    return replace(inputs, pumps=pumps, bays=bays, stock=stock, as_of=inputs.as_of or date.today())


def made(pumps: int) -> None:
    """Plan for pumps of given hazards: one in thirty has work worth doing."""
    rng = np.random.default_rng(1)
    hazard = np.exp(rng.normal(np.log(1.5e-6), 1.0, pumps))
    depots = ["North", "South", "East", "West"]
    rows = [{"hazard": float(h), "depot": depots[k % 4]} for k, h in enumerate(hazard)]
    began = time.process_time()
    inputs = make_inputs(rows)
    decided = time.process_time()
    plan = make_plan(inputs, 120, 0.95)
    planned = time.process_time()
    for _ in range(1000):
        np.sort(hazard)
    unit = time.process_time() - planned
    worth = int((inputs.pumps["option"] != "nothing").sum())
    print(
        f"{pumps} pumps, {worth} with work: decision {decided - began:.1f} s, plan {planned - decided:.1f} s "
        f"({(planned - decided) / unit:.2f} × 1,000 sorts); {len(plan.lines) + len(plan.checks)} placed"
    )


def timed(job):
    """Return (seconds, result) of one run."""
    began = time.perf_counter()
    result = job()
    return time.perf_counter() - began, result


if __name__ == "__main__":
    if sys.argv[1:2] == ["made"]:
        made(int(sys.argv[2]))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
