"""How long a fleet folder takes, beside the least any loader must do: read the same CSV and insert it.

    python -m tests.benchmarks.load_speed 2000 20000

prints, for each number of vehicles (20 visits each, no captures), the first load, a second one that changes
nothing, and a bare read-and-insert of visits.csv by DuckDB, in seconds of one run on this machine.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from ingest.fleet_folder.loading import load_folder
from tests.authors import ANYBODY

VISITS = 20


def write_fleet(folder: Path, vehicles: int) -> None:
    """A steady fleet with all common columns filled."""
    folder.mkdir()
    rng = np.random.default_rng(0)
    units = np.array([f"T{i:05d}" for i in range(vehicles)])
    k = np.tile(np.arange(VISITS), vehicles)
    n = len(k)
    day = np.datetime64("2019-01-01") + (k * 120 + rng.integers(0, 30, n)).astype("timedelta64[D]")
    pd.DataFrame(
        {
            "unit": np.repeat(units, VISITS),
            "visited_on": day.astype(str),
            "odometer": k * 5000 + rng.integers(0, 1200, n),
            "reason": "pm",
            "state": "idle",
            "mean_a": np.round(rng.normal(5, 0.3, n), 3),
            "ripple_pct": np.round(rng.normal(9, 1, n), 2),
            "rpm": np.round(rng.normal(6000, 200, n), 1),
            "supply_v": np.round(rng.normal(13.5, 0.2, n), 2),
            "fuel_pressure_kpa": 400,
            "fuel_temp_c": 25,
            "fuel_level_pct": 50,
            "technician": "AB",
        }
    ).to_csv(folder / "visits.csv", index=False)
    pd.DataFrame({"unit": units, "class": "van", "depot": "north", "pm_interval": 5000}).to_csv(
        folder / "vehicles.csv", index=False
    )
    pd.DataFrame(
        {"unit": units, "pump_type": "P1", "serial": "S" + pd.Series(units), "fitted_on": "2018-12-01"}
    ).to_csv(folder / "pumps.csv", index=False)
    pd.DataFrame({"pump_type": ["P1"], "current_low_a": 4, "current_high_a": 7}).to_csv(
        folder / "pump_types.csv", index=False
    )
    (folder / "fleet.toml").write_text('distance_unit = "mi"\n')


def bare_insert(folder: Path, target: Path) -> float:
    """Seconds DuckDB takes to read visits.csv and write it to a new file, nothing checked."""
    started = time.perf_counter()
    with duckdb.connect(str(target)) as connection:
        connection.execute(f"CREATE TABLE visit AS FROM read_csv('{folder / 'visits.csv'}')")
    return time.perf_counter() - started


def main() -> None:
    """Run the comparison for the fleet sizes on the command line."""
    print(f"{'vehicles':>9}{'visits':>9}{'first load':>12}{'again':>9}{'bare insert':>13}{'ratio':>7}")
    for vehicles in map(int, sys.argv[1:] or ["2000", "20000"]):
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch) / "fleet"
            write_fleet(folder, vehicles)
            bare = bare_insert(folder, Path(scratch) / "bare.duckdb")
            first = load_folder(Path(scratch) / "ledger.duckdb", folder, author=ANYBODY)
            again = load_folder(Path(scratch) / "ledger.duckdb", folder, author=ANYBODY)
            assert again.changes == 0
            print(
                f"{vehicles:>9,}{vehicles * VISITS:>9,}{first.seconds:>11.1f}s{again.seconds:>8.1f}s"
                f"{bare:>12.2f}s{first.seconds / bare:>7.0f}"
            )


if __name__ == "__main__":
    main()
