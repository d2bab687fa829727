"""Whether the intervals of drift hold: level now, slope, the next reading, and where a limit is passed.

python -m tests.benchmarks.drift_study [FLEETS]

Ripple of pumps whose noise-free path is known. `straight`: every pump has a line of its own about its type's,
as the model assumes. `fleet`: lives of demo_fleet/fleet.py, whose wear bends (a power of distance) and
wanders; its slope is taken over the next 10,000 km. Every pump has 1 to 8 readings some 8,000 km apart, and
none is looked at after it has failed. The next reading is 8,000 km ahead, and is also forecast by least
squares through the pump's own readings (three or more). Nothing here is evidence for a real fleet.
"""

from __future__ import annotations

import sys
from typing import NamedTuple

import numpy as np
import pandas as pd

from analytics.past.history import History
from analytics.past.normal import Z_80
from analytics.past.normalise import fit_exponents
from analytics.record.scores import crps_normal, interval_score
from analytics.trend.drift import PER_KM, drift_of, fit_drift, limit_forecast, line_ahead
from analytics.trend.first_passage import fit_lines
from demo_fleet.fleet_pumps import STEP_KM, TYPES, FleetSpec, draw_lives, draw_parameters

PUMPS, MOST, SPACING_KM, NOISE, LIMIT = 400, 8, 8000.0, 0.6, 15.0
NEXT_KM = 8000.0
SLOPE_OVER_KM = 10_000.0


class Truth(NamedTuple):
    """Noise-free ripple of n pumps at every STEP_KM of distance (n, steps), and where each fails, km."""

    path: np.ndarray
    ends_km: np.ndarray
    kind: np.ndarray

    def at(self, x_km: np.ndarray) -> np.ndarray:
        """Ripple of every pump at one distance each, (n,)."""
        place = np.clip(x_km / STEP_KM, 0, self.path.shape[1] - 1.001)
        low, rows = place.astype(int), np.arange(len(place))
        step = self.path[rows, low + 1] - self.path[rows, low]
        return self.path[rows, low] + (place - low) * step

    def passes(self, now_km: np.ndarray) -> np.ndarray:
        """Distance from now until the path first stands at LIMIT, km; inf where it never does."""
        x = np.arange(self.path.shape[1]) * STEP_KM
        beyond = (self.path >= LIMIT) & (x >= now_km[:, None])
        far = np.where(beyond.any(1), x[beyond.argmax(1)] - now_km, np.inf)
        return np.where(self.at(now_km) >= LIMIT, 0.0, far)


def straight(rng: np.random.Generator) -> Truth:
    """Lines of four types."""
    kind = rng.choice(4, PUMPS, p=[0.4, 0.3, 0.2, 0.1])
    start = rng.normal(8, 1, 4)[kind] + rng.normal(0, 0.9, PUMPS)
    slope = rng.normal(0.4, 0.1, 4)[kind] + rng.normal(0, 0.2, PUMPS)
    x = np.arange(900) * STEP_KM
    return Truth(start[:, None] + slope[:, None] * x / PER_KM, np.full(PUMPS, 250e3), kind)


def fleet(rng: np.random.Generator) -> Truth:
    """Lives of the simulated fleet."""
    p = draw_parameters(FleetSpec(), rng)
    kind = rng.choice(len(TYPES), PUMPS, p=[0.4, 0.3, 0.2, 0.1])
    lives = draw_lives(p, kind, rng)
    return Truth(lives.ripple[:, None] + lives.wear, lives.fails_at_km, kind)


def observed(truth: Truth, rng: np.random.Generator) -> History:
    """Readings of pumps that ran until the end of theirs; who failed before is left out of the trend."""
    n = len(truth.kind)
    count = rng.integers(1, MOST + 1, n)
    x = rng.uniform(0, 120e3, n)[:, None] + np.cumsum(
        SPACING_KM * np.exp(rng.normal(0, 0.2, (n, MOST))), axis=1
    )
    last = x[np.arange(n), count - 1]
    now = last + rng.uniform(0, SPACING_KM, n)
    seen = (np.arange(MOST) < count[:, None]) & (now < truth.ends_km)[:, None]
    pump, k = np.nonzero(seen)
    read = np.column_stack([truth.at(x[:, j]) for j in range(MOST)]) + rng.normal(0, NOISE, (n, MOST))
    none = np.full(len(pump), np.nan)
    visits = pd.DataFrame(
        {"pump": pump, "x_km": x[pump, k], "day": k, "usable": True, "ripple_pct": read[pump, k],
         "mean_a": none, "rpm": none, "supply_v": none, "fuel_pressure_kpa": none, "fuel_temp_c": none}
    )  # fmt: skip
    pumps = pd.DataFrame({"now_km": now, "reference_v": 13.5, "rated_pressure_kpa": np.nan, "pump_type": "A"})
    return History(0, pumps, visits)


def one_fleet(truth: Truth, rng: np.random.Generator) -> pd.DataFrame:
    """One row per pump that still runs: readings, and whether each interval holds the truth."""
    history = observed(truth, rng)
    exponents = fit_exponents(history.visits, history.pumps)
    learned = fit_drift(history, truth.kind, 4, exponents, "ripple_pct")
    drift = drift_of(history, truth.kind, exponents, "ripple_pct", learned)
    now = history.pumps["now_km"].to_numpy()
    level = truth.at(now)
    slope = (truth.at(now + SLOPE_OVER_KM) - level) / SLOPE_OVER_KM
    ahead, low, high = (part[:, 0] for part in line_ahead(drift, np.array([NEXT_KM])))
    sd = np.hypot((high - low) / (2 * Z_80), NOISE)
    next_reading = truth.at(now + NEXT_KM) + rng.normal(0, NOISE, PUMPS)
    nothing = np.full(PUMPS, np.nan)
    limit = limit_forecast(drift, nothing, np.full(PUMPS, LIMIT))
    passes = truth.passes(now)
    own = history.visits
    lines = fit_lines(own["pump"].to_numpy(), own["x_km"].to_numpy(), own["ripple_pct"].to_numpy(), PUMPS)
    by_line = lines.intercept + lines.slope * (now + NEXT_KM)
    group = np.select([drift.readings < 3, drift.readings < 5], [drift.readings.astype(str), "3-4"], "5-8")
    found = pd.DataFrame(
        {
            "readings": group,
            "level": np.abs(drift.level - level) <= Z_80 * drift.level_se,
            "slope": np.abs(drift.slope - slope) <= Z_80 * drift.slope_ahead_se,
            "next": np.abs(ahead - next_reading) <= Z_80 * sd,
            "told": limit.told & (level < LIMIT),
            "passes": (passes >= limit.soonest_km - STEP_KM) & (passes <= limit.latest_km),
            "width": interval_score(ahead - Z_80 * sd, ahead + Z_80 * sd, next_reading, 0.8),
            "crps": crps_normal(ahead, sd, next_reading),
            "crps_line": np.abs(by_line - next_reading),
        }
    )  # fmt: skip
    return found[drift.readings > 0]


def main(fleets: int) -> None:
    """Run and print."""
    for name, draw in (("straight", straight), ("fleet", fleet)):
        rng = np.random.default_rng(20260)
        made = pd.concat([one_fleet(draw(rng), rng).assign(fleet=k) for k in range(fleets)])
        print(f"{name}: {fleets} fleets, {len(made)} pumps; share inside the 80 % interval")
        for readings, group in [*made.groupby("readings"), ("all", made)]:
            told = group[group["told"]]
            se = group.groupby("fleet")["next"].mean().std() / np.sqrt(fleets)
            print(
                f"  {readings:>4} readings  n {len(group):5d}  level {group['level'].mean():.3f}"
                f"  slope {group['slope'].mean():.3f}  next reading {group['next'].mean():.3f} ± {se:.3f}"
                f"  limit told {len(told) / len(group):.2f}, holds {told['passes'].mean():.3f}"
                f"  CRPS {group['crps'].mean():.3f} (own line: {group['crps_line'].mean():.3f})"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
