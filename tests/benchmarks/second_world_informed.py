"""What an informed observer tells in the second world, beside what the model told at the same stops.

    python -m tests.benchmarks.second_world_informed --out DIR --worlds DIR [--fleets 3] [--particles 1000]

DIR (out) holds forecasts judged by `second_world_forecasts run`. The observer (second_world/informed.py) is
given every law and number of the world, and otherwise what the fleet wrote down: what separates it from the
model is what learning lacks, what separates it from the all-seeing no reading shows. It hears of late entries
as if they had been made on their day, so it stands a little too well.
"""

from __future__ import annotations

import argparse
import pickle
from pathlib import Path

import pandas as pd

from tests.benchmarks.second_world.informed import Informed
from tests.benchmarks.second_world_forecasts import (
    FIT_YEARS,
    QUARTER,
    made_world,
    pooled_auc,
    skill,
    stops_judged,
    with_se,
)


def informed_at(made: pd.DataFrame, worlds: Path, particles: int) -> pd.DataFrame:
    """Return one fleet's judged forecasts with what the observer told at the same stops, `informed`."""
    kind, vehicles, seed = made.attrs["fleet"]
    run = made_world(kind, vehicles, seed, 0.4, worlds)
    observer = Informed(run.world, particles)
    observer.update(run)
    told = observer.told().assign(unit=lambda t: run.fleet.names[t["u"]])
    told = told[["unit", "day", "risk"]].rename(columns={"risk": "informed"})
    parts = []
    for number, year in enumerate(FIT_YEARS):
        cut = round(year * 365.25)
        for k in range(4):
            end = cut + QUARTER * (k + 1)
            stops = stops_judged(run, end - QUARTER, min(end, run.today)).reset_index()
            parts.append(stops[["unit", "day"]].assign(quarter=4 * number + k))
    days = pd.concat(parts).merge(told, on=["unit", "day"])
    return made.merge(days, on=["unit", "quarter"], how="left")


def main() -> None:
    """Print both, fleet by fleet and pooled."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--worlds", type=Path)
    parser.add_argument("--fleets", type=int, default=3)
    parser.add_argument("--particles", type=int, default=1000)
    args = parser.parse_args()
    parts = []
    for path in sorted(args.out.glob("*.pickle"))[: args.fleets]:
        made: pd.DataFrame = pickle.loads(path.read_bytes())
        kind, vehicles, seed, _ = path.name.split(".")
        made.attrs["fleet"] = (kind, int(vehicles), int(seed))
        parts.append(informed_at(made, args.worlds, args.particles))
        of = parts[-1].dropna(subset=["informed"])
        print(path.name, len(of), {n: round(pooled_auc(n)(of), 3) for n in NAMES}, flush=True)
    everything = pd.concat(parts, ignore_index=True).dropna(subset=["informed"])
    for name in NAMES:
        told = [with_se(everything, figure(name)) for figure in (pooled_auc, skill)]
        print(name, "; ".join(f"{value:.3f} ± {se:.3f}" for value, se in told))
    for mechanism, mine in everything.groupby("mechanism"):
        against = pd.concat([everything[~everything["happened"]], mine[mine["happened"]]])
        print(mechanism, {n: round(pooled_auc(n)(against), 3) for n in NAMES})


NAMES = ("p", "informed", "all_seeing")

if __name__ == "__main__":
    main()
