"""A large simulated fleet, as a history and as a ledger, for speed studies.

python -m tests.benchmarks.many_pumps 1000000   # made, learnt from, ranked: seconds, processor time, memory
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import re
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from demo_fleet import fleet as simulator
from ingest.ledger.connection import open_ledger
from ingest.ledger.statements import statement

START = pd.Timestamp("2020-01-01")
KM_PER_DAY = 60.0
GAP_KM = 6000.0
DRAWN = 5000  # lives that are drawn; more pumps repeat them


def draw(
    pumps: int, visits: int, seed: int = 3, variant: simulator.Variant = "standard"
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return pumps and visits (visit.pump: row of its pump), about `visits` a pump, some pumps failed."""
    rng = np.random.default_rng(seed)
    p = simulator.draw_parameters(simulator.FleetSpec(variant=variant), rng)
    few = min(pumps, DRAWN)
    code = rng.integers(0, len(simulator.TYPES), few)
    lives = simulator.draw_lives(p, code, rng)
    x = np.cumsum(GAP_KM * np.exp(rng.normal(0, 0.2, (few, visits))), 1) + rng.uniform(0, 9e3, (few, 1))
    row, col = np.nonzero(x < lives.fails_at_km[:, None])
    at = x[row, col]
    frame = simulator.take_readings(p, lives, row, at, at % 50e3, rng.uniform(0, 365, len(row)), rng)
    frame = frame.assign(pump=row, odometer_km=at)
    end = np.minimum(lives.fails_at_km, x[:, -1] + 4000)
    table = pd.DataFrame(
        {
            "pump_type": np.array(simulator.TYPES)[code],
            "usual_a": p.current_a[code],
            "now_km": end,
            "entry_km": np.minimum(x[:, 0], end),
            "failed": lives.fails_at_km <= end,
        }
    )
    times = -(-pumps // few)
    frames = [frame.assign(pump=frame["pump"] + k * few) for k in range(times)]
    table = pd.concat([table] * times, ignore_index=True)[:pumps]
    frame = pd.concat(frames, ignore_index=True)
    return table, frame[frame["pump"] < pumps].reset_index(drop=True)


def build(path: Path, pumps: int, visits: int, variant: simulator.Variant = "standard") -> None:
    """Write such a fleet into a new ledger: one pump a unit, with specifications, classes and intervals."""
    table, frame = draw(pumps, visits, variant=variant)
    odometer = frame["odometer_km"]
    frame = frame.assign(
        visited_on=(START + pd.to_timedelta(np.round(odometer / KM_PER_DAY), unit="D")).dt.date
    )
    table = table.assign(
        unit=[f"{i:06d}" for i in range(len(table))],
        removed_on=(START + pd.to_timedelta(np.round(table["now_km"] / KM_PER_DAY), unit="D")).dt.date,
    )
    with open_ledger(path, read_only=False) as con:
        con.register("fleet_pumps", table)
        con.register("fleet_visits", frame.reset_index(names="row"))
        con.execute("BEGIN")
        con.execute(
            "INSERT INTO pump_type (pump_type, segments, current_low_a, current_high_a, rated_pressure_kpa,"
            " recorded_at) SELECT DISTINCT pump_type, 8, 0.75 * usual_a, 1.25 * usual_a, 400, now()"
            " FROM fleet_pumps"
        )
        con.execute(
            "INSERT INTO vehicle (unit, depot, class, pm_interval_km, pm_interval_days, recorded_at)"
            " SELECT unit, 'Depot ' || CAST(unit AS INTEGER) % 20, 'van', 9000, 150, now() FROM fleet_pumps"
        )
        con.execute(
            "INSERT INTO pump (pump_id, unit, pump_type, fitted_on, fitted_odometer_km, removed_on,"
            " removed_odometer_km, removal, found, recorded_at)"
            " SELECT row_number() OVER (ORDER BY unit), unit, pump_type, ?, 0,"
            " CASE WHEN failed THEN removed_on END,"
            " CASE WHEN failed THEN now_km END, CASE WHEN failed THEN 'failed' END,"
            " CASE WHEN failed THEN 'worn' END, now() FROM fleet_pumps ORDER BY unit",
            [START.date()],
        )
        con.execute(
            "INSERT INTO visit (visit_id, unit, pump_id, visited_on, odometer_km, odometer_unit, reason,"
            " state, supply_v, fuel_pressure_kpa, fuel_temp_c, recorded_at)"
            " SELECT v.row + 1, p.unit, p.pump_id, v.visited_on, v.odometer_km, 'km', 'pm', 'idle',"
            " v.supply_v, v.fuel_pressure_kpa, v.fuel_temp_c, now()"
            " FROM fleet_visits v JOIN pump p ON CAST(p.unit AS INTEGER) = v.pump ORDER BY v.row"
        )
        con.execute(
            "INSERT INTO reading (reading_id, visit_id, origin, method_version, mean_a, ripple_pct, rpm,"
            " recorded_at) SELECT row + 1, row + 1, 'elsewhere', 1, mean_a, ripple_pct, rpm, now()"
            " FROM fleet_visits ORDER BY row"
        )
        con.execute(statement("upkeep/raise_last_numbers"))
        con.execute("COMMIT")


def _learn(path: Path) -> None:
    from analytics.learning.fitting import fit

    fit(path)


def _rank(path: Path) -> None:
    from analytics.risk.ranking import rank

    rank(path)


def _timed(job: Callable[[Path], None], path: Path) -> None:
    """Do a job in this process, which is new, and print what it took."""
    began = time.perf_counter()
    job(path)
    told = re.search(r"VmHWM:\s*(\d+)", Path("/proc/self/status").read_text())
    most_gb = int(told[1]) / 2**20 if told else float("nan")
    print(
        f"{job.__name__.strip('_')}: {time.perf_counter() - began:.0f} s, {time.process_time():.0f} s of"
        f" processor time, {most_gb:.2f} GB at the most, load average {os.getloadavg()[0]:.1f}",
        flush=True,
    )


def main() -> None:
    """Make a fleet and time what is done with all of it, each in a process of its own."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("pumps", type=int)
    parser.add_argument("--visits", type=int, default=8)
    args = parser.parse_args()
    spawn = multiprocessing.get_context("spawn")  # a forked one would begin with this one's memory
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "fleet.duckdb"
        build(path, args.pumps, args.visits)
        print(
            f"{args.pumps:,} pumps, {args.visits} visits each: {path.stat().st_size / 1e6:,.0f} MB",
            flush=True,
        )
        for job in (_learn, _rank):
            process = spawn.Process(target=_timed, args=(job, path))
            process.start()
            process.join()


if __name__ == "__main__":
    main()
