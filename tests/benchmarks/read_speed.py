"""Reading speed: one million rows of two columns against general CSV engines alone, in one run, and sniffing.

Run by hand: python -m tests.benchmarks.read_speed [rows]. Prints the best of five for each, interleaved, and
the ratio to the fastest engine; then the time to find a file's layout in each text dialect of the tests.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
from pyarrow import csv

from ingest.readers import text
from ingest.readers.capture_file import read_capture
from tests.readers.dialects import SCENARIOS
from tests.readers.dialects.scenario import waveform


def write_file(path: Path, count: int) -> None:
    rng = np.random.default_rng(1)
    current = waveform(count) + rng.normal(0, 0.02, count)
    table = pd.DataFrame({"time (s)": np.arange(count) / 20_000, "current (A)": current})
    table.to_csv(path, index=False, float_format="%.7f")


def best_of(tasks: dict[str, Callable[[], object]], rounds: int = 5) -> dict[str, float]:
    best = dict.fromkeys(tasks, float("inf"))
    for task in tasks.values():
        task()  # imports and file cache
    for _ in range(rounds):
        for name, task in tasks.items():
            gc.collect()
            start = time.perf_counter()
            task()
            best[name] = min(best[name], time.perf_counter() - start)
    return best


def main(count: int = 1_000_000) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "capture.csv"
        write_file(path, count)
        print(f"{count:,} rows x 2, {path.stat().st_size / 2**20:.1f} MB")
        engines: dict[str, Callable[[], object]] = {
            "pyarrow.csv": lambda: csv.read_csv(path),
            "pandas, C engine": lambda: pd.read_csv(path),
            "pandas, pyarrow engine": lambda: pd.read_csv(path, engine="pyarrow"),
            "duckdb read_csv": lambda: duckdb.read_csv(str(path)).fetchnumpy(),
            "numpy.loadtxt": lambda: np.loadtxt(path, delimiter=",", skiprows=1),
        }
        best = best_of({"read_capture": lambda: read_capture(path), **engines})
    fastest = min(best[name] for name in engines)
    for name, seconds in best.items():
        print(f"  {name:24s} {seconds * 1e3:8.1f} ms   {seconds / fastest:5.2f} x the fastest engine")
    sniffing = {}
    for function in SCENARIOS:
        scenario = function()
        if text.sniff(scenario.data[:8192]):
            took = []
            for _ in range(5):
                start = time.perf_counter()
                text.read_layout(scenario.data)
                took.append(time.perf_counter() - start)
            sniffing[function.__name__] = min(took)
    times = np.array(sorted(sniffing.values())) * 1e3
    slowest = max(sniffing, key=lambda name: sniffing[name])
    print(
        f"header of {len(times)} text dialects: median {np.median(times):.2f} ms, "
        f"{np.mean(times < 5):.0%} under 5 ms, "
        f"95 % below {np.quantile(times, 0.95):.2f} ms, slowest {times[-1]:.2f} ms ({slowest})"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
