"""How often the test for early failures raises a false alarm, and how soon it sees a bad lot.

python -m tests.benchmarks.lots_study [FLEETS]

Pumps of three types in lots of 40, fitted over three years, looked at every month for five years. Lives are
Weibull with shape 2. Equal lots: a fleet counts as a false alarm if any group is ever flagged. One bad lot:
its hazard is so many times the others'.
"""

from __future__ import annotations

import sys
from types import SimpleNamespace

import numpy as np
import pandas as pd

from analytics.past.lots import early_failures

TYPES, LOTS, EACH = 3, 8, 40
KM_PER_DAY = 55.0
LIFE_KM, SHAPE = 250e3, 2.0


def fleet(rng: np.random.Generator, times: float) -> pd.DataFrame:
    """Draw pumps: type, lot, day of fitting, km at failure; the first lot fails `times` as often."""
    n = TYPES * LOTS * EACH
    lot = np.repeat(np.arange(TYPES * LOTS), EACH)
    life = LIFE_KM * rng.weibull(SHAPE, n)
    life[lot == 0] *= times ** (-1 / SHAPE)
    daily = KM_PER_DAY * np.exp(rng.normal(0, 0.3, n))
    fitted = (lot % LOTS) / LOTS * 900 + rng.uniform(0, 200, n)  # a lot is fitted within some months
    return pd.DataFrame(
        {"pump_type": lot // LOTS, "lot": lot, "life": life, "daily": daily, "fitted": fitted}
    )


def watch(pumps: pd.DataFrame) -> tuple[bool, float, int]:
    """Look every 30 days; return whether anything but lot 0 (or its type) was flagged, and the day and number
    of failures at which lot 0 was (inf, 0: never)."""
    other = False
    for day in np.arange(60, 5 * 365, 30.0):
        seen = pumps[pumps["fitted"] < day]
        ran = (day - seen["fitted"]) * seen["daily"]
        now = seen.assign(
            now_km=np.minimum(ran, seen["life"]),
            entry_km=0.0,
            failed=ran >= seen["life"],
            lot=seen["lot"].astype(str),
            pump_type=seen["pump_type"].astype(str),
        )
        found = early_failures(SimpleNamespace(pumps=now))
        flagged = found[found["flagged"]]
        mine = flagged["name"] == "0 (0)"
        other |= bool((~mine & (flagged["name"] != "0")).any())
        if mine.any():
            return other, day, int(flagged[mine]["failed"].iloc[0])
    return other, np.inf, 0


def main(fleets: int) -> None:
    """Run and print."""
    rng = np.random.default_rng(1)
    for times in (1.0, 3.0, 5.0, 8.0):
        made = [watch(fleet(rng, times)) for _ in range(fleets)]
        day = np.array([m[1] for m in made])
        seen = np.isfinite(day)
        other = np.mean([m[0] for m in made])
        line = f"hazard × {times:g}: lot flagged in {seen.mean():.0%} of {fleets} fleets"
        if times == 1:
            false = np.mean(seen | [m[0] for m in made])
            line = f"equal lots: any false alarm in {false:.1%} of {fleets} fleets"
        elif seen.any():
            failures = np.median([m[2] for m in made if np.isfinite(m[1])])
            line += f", half of those by day {np.median(day[seen]):.0f} with {failures:.0f} of {EACH} failed"
            line += f"; another group flagged in {other:.1%}"
        print(line, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
