"""What the forecasting studies share: which fleets to simulate, and how to print a figure of many."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import get_args

import numpy as np
import pandas as pd

from demo_fleet.fleet_pumps import FleetSpec, Variant

# Failure levels this much as far apart as the demo fleet's and this many times its sudden failures: a perfect
# sensor's AUC is .85 then and its Brier skill .41, as in an earlier study (fleet_hardness.py).
LEVEL_SPREAD, SUDDEN = 0.45, 1.3
SEED_STEP = 17


def add_fleet_options(parser: argparse.ArgumentParser, *, vehicles: int, fleets: int, seed: int) -> None:
    """Add the options that say which fleets to simulate, with these defaults."""
    parser.add_argument("--vehicles", type=int, default=vehicles)
    parser.add_argument("--fleets", type=int, default=fleets)
    parser.add_argument("--seed", type=int, default=seed)
    parser.add_argument("--variant", default="standard", choices=get_args(Variant))
    parser.add_argument("--level-spread", type=float, default=LEVEL_SPREAD)
    parser.add_argument("--sudden", type=float, default=SUDDEN)


def fleet_specs(args: argparse.Namespace) -> Iterator[FleetSpec]:
    """Yield the fleets that the options ask for."""
    for k in range(args.fleets):
        yield FleetSpec(
            vehicles=args.vehicles,
            seed=args.seed + SEED_STEP * k,
            variant=args.variant,
            level_spread=args.level_spread,
            sudden=args.sudden,
        )


def print_means(table: pd.DataFrame, digits: int) -> None:
    """Print each column's mean over the fleets (rows) with its standard error."""
    for name in table:
        se = table[name].std() / np.sqrt(len(table))
        print(f"{name:35} {table[name].mean():.{digits}f} ± {se:.{digits}f}")
