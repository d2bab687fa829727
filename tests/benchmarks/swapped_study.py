"""Visits entered for each other's unit: how many are paired, and how many pairs are none.

python -m tests.benchmarks.swapped_study [UNITS]

Fleets of tests/checking with 3 % slipped entries, 10 pairs of visits in 200 units given to each other's
unit, so many days apart. Levels of current lie 6 % apart between pumps (standard deviation)
and a reading 1.5 % off its pump's.
"""

from __future__ import annotations

import sys
from itertools import permutations

import numpy as np
import pandas as pd

from ingest.checking.odometer import clean
from ingest.checking.swapped_units import currents_alike, swapped
from tests.checking.test_odometer import slipped_fleet

PAIRS_IN_200 = 10
SEEDS = range(20, 30)


def planted(seed: int, units: int, least: int, most: int) -> tuple[pd.DataFrame, set[frozenset[int]]]:
    """Return a fleet's readings, and the places of the readings given to each other's unit."""
    frame, slip = slipped_fleet(units=units, seed=seed)
    frame = frame.reset_index(drop=True)
    rng = np.random.default_rng(seed + 1000)
    day = frame["read_on"].to_numpy(dtype="datetime64[D]").astype("int64")
    unit = frame["unit"].to_numpy().copy()
    pairs: set[frozenset[int]] = set()
    used: set[int] = set()
    while len(pairs) < units * PAIRS_IN_200 // 200:
        one = int(rng.integers(len(frame)))
        apart = np.abs(day - day[one])
        other = int(rng.choice(np.flatnonzero((apart >= least) & (apart <= most) & (unit != unit[one]))))
        if slip[one] or slip[other] or {one, other} & used:
            continue
        used |= {one, other}
        pairs.add(frozenset((one, other)))
        unit[one], unit[other] = unit[other], unit[one]
    return frame.assign(unit=unit), pairs


def main(units: int) -> None:
    """Print what is found by how far apart the stops were."""
    for least, most in ((0, 7), (8, 30)):
        planted_pairs = paired = wrong = readings = 0
        for seed in SEEDS:
            frame, pairs = planted(seed, units, least, most)
            rng = np.random.default_rng(seed)
            level = dict(zip(sorted(set(frame["unit"])), rng.normal(0, 0.06, units), strict=True))
            partner = {one: other for pair in pairs for one, other in permutations(pair)}
            whose = frame["unit"].loc[[partner.get(i, i) for i in frame.index]]
            read = np.exp(whose.map(level).to_numpy() + rng.normal(0, 0.015, len(frame)))
            usual = np.exp(frame["unit"].map(level).to_numpy())

            def alike(one, other, read=read, usual=usual):
                return currents_alike(read[one], usual[other]) and currents_alike(read[other], usual[one])

            found = {frozenset(pair) for pair in swapped(frame, clean(frame), alike).items()}
            planted_pairs, paired = planted_pairs + len(pairs), paired + len(pairs & found)
            wrong, readings = wrong + len(found - pairs), readings + len(frame)
        print(
            f"{units} units, {least} to {most} days apart: {paired} of {planted_pairs} pairs asked about,"
            f" {wrong} pairs that are none, of {readings:,} readings",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
