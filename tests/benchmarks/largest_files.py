"""What the largest files that are accepted cost, read and measured, each in processes of its own.

    python -m tests.benchmarks.largest_files [WORD]

WORD: only the cases whose name holds it.

For each: the memory of the process that asks and of the child that reads for it, at most, and the CPU of both
together. The bounds are 600 MB for either and 10 s of CPU; exit 1 where one is passed.
"""

from __future__ import annotations

import gzip
import io
import multiprocessing
import resource
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from scipy.io import savemat, wavfile

from ingest.errors import PumpledgerError
from ingest.limits import MAX_SAMPLES
from ingest.measuring.measurement import measure
from ingest.readers import read_apart
from ingest.readers.capture_file import read_capture

MOST_MB, MOST_CPU_S = 600.0, 10.0
TURN_HZ = 97.0
MADE = 250_000  # samples, again and again
Made = tuple[str, bytes, dict[str, Any]]


def current(rate_hz: float, kind: str = "pump", samples: int = MAX_SAMPLES) -> np.ndarray:
    """Return a made-up run of a pump with 8 segments, or noise alone; shape (samples,), A."""
    noise = 0.02 * np.random.default_rng(1).standard_normal(MADE)
    if kind == "noise":
        return np.resize(4.3 + 10 * noise, samples)
    turn = 2 * np.pi * TURN_HZ * np.arange(MADE) / rate_hz
    wave = 4.3 + noise
    for order, size in ((8, 0.25), (16, 0.1), (2, 0.03), (1, 0.02), (3, 0.02)):
        wave += size * np.cos(order * turn + order)
    return np.resize(wave, samples)


def npz(rate_hz: float, kind: str = "pump") -> Made:
    """Amperes in single precision."""
    file = io.BytesIO()
    np.savez(file, current_a=current(rate_hz, kind).astype(np.float32))
    return "large.npz", file.getvalue(), {"sample_rate_hz": rate_hz}


def wav(rate_hz: int) -> Made:
    """16 bits, whatever rate the header says."""
    file = io.BytesIO()
    wavfile.write(file, rate_hz, (current(rate_hz) / 10 * 32767).astype(np.int16))
    return "large.wav", file.getvalue(), {"full_scale": "10A"}


def text(rate_hz: float) -> Made:
    """Two columns of numbers, as large as a file may be."""
    wave = current(rate_hz)
    rows = [
        "".join(f"{k / rate_hz:.9f},{a:.9f}\n" for k, a in enumerate(wave[at : at + 100_000].tolist(), at))
        for at in range(0, len(wave), 100_000)
    ]
    return "large.csv", ("time (s),current (A)\n" + "".join(rows)).encode(), {}


def cellwise() -> Made:
    """Clock times, which are read cell by cell, as large as such a file may be."""
    wave = current(1_000, samples=680_000)
    rows = (f"{k // 3_600_000:02d}:{k // 60_000 % 60:02d}:{k % 60_000 / 1000:06.3f},{a:.6f}\n"
            for k, a in enumerate(wave.tolist()))  # fmt: skip
    return "clock.csv", ("time,current (A)\n" + "".join(rows)).encode(), {}


def packed_text() -> Made:
    """The text once more, compressed."""
    name, data, how = text(100_000)
    return f"{name}.gz", gzip.compress(data, 1), how


def mat(rate_hz: float) -> Made:
    """Time and current in double precision, compressed."""
    file = io.BytesIO()
    time_s = np.arange(MAX_SAMPLES) / rate_hz
    savemat(file, {"time": time_s, "current": current(rate_hz)}, do_compression=True)
    return "large.mat", file.getvalue(), {"channel": "current"}


def parquet(rate_hz: float) -> Made:
    """Four channels: as many values as are read."""
    file = io.BytesIO()
    wave = current(rate_hz).astype(np.float32)
    pq.write_table(pa.table({f"CH{k} (A)": wave for k in range(1, 5)}), file)
    return "large.parquet", file.getvalue(), {"channel": "CH2", "sample_rate_hz": rate_hz}


CASES: dict[str, Callable[[], Made]] = {
    **{f"npz at {rate:g} S/s": lambda rate=rate: npz(rate)
       for rate in (10.0, 680.0, 5e3, 2e4, 49e3, 1e5, 2e5, 1e6, 5e7, 1e9)},
    **{f"npz of noise at {rate:g} S/s": lambda rate=rate: npz(rate, "noise") for rate in (49e3, 2e5, 5e5)},
    "wav with a header of 1 S/s": lambda: wav(1),
    "wav at 192 kS/s": lambda: wav(192_000),
    "text of 5 M rows": lambda: text(100_000),
    "the same, gzip": packed_text,
    "clock times, cell by cell": cellwise,
    "mat, compressed": lambda: mat(100_000),
    "parquet of 20 M values": lambda: parquet(100_000),
}  # fmt: skip


def run(path: Path, how: dict[str, Any], results: Any) -> None:
    """Read and measure one file; puts (outcome, MB here, MB of the child, CPU s of both)."""
    try:
        capture = read_capture(path, **how)
        reading = measure(capture)
        outcome = f"{len(capture.current_a):,} samples, {reading.mean_a:.2f} A"
    except PumpledgerError as refused:
        outcome = f"refused: {refused.text}"
    read_apart._children.close()
    here, child = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    cpu_s = sum(use.ru_utime + use.ru_stime for use in (here, child))
    # getrusage would count what the process that started this one held, as it does for the child's figure
    status = Path("/proc/self/status").read_text(encoding="ascii")
    here_kb = int(status.split("VmHWM:")[1].split()[0])
    results.put((outcome, here_kb / 1024, child.ru_maxrss / 1024, cpu_s))


def main(word: str = "") -> int:
    """Print the figures; 1 where a bound is passed or a file refused."""
    context = multiprocessing.get_context("spawn")
    over = 0
    for case, make in ((name, make) for name, make in CASES.items() if word in name):
        with tempfile.TemporaryDirectory() as folder:
            name, data, how = make()
            path = Path(folder) / name
            path.write_bytes(data)
            size = len(data) / 2**20
            del data
            results = context.Queue()
            worker = context.Process(target=run, args=(path, how, results))
            worker.start()
            outcome, here_mb, child_mb, cpu_s = results.get(timeout=600)
            worker.join()
        bad = max(here_mb, child_mb) > MOST_MB or cpu_s > MOST_CPU_S or outcome.startswith("refused")
        over += bad
        print(
            f"{case:30s} {size:6.1f} MB: {here_mb:4.0f} MB here, {child_mb:4.0f} MB in the child, "
            f"{cpu_s:5.1f} s of CPU with its start; {outcome}{'  OVER' if bad else ''}",
            flush=True,
        )
    return 1 if over else 0


if __name__ == "__main__":
    raise SystemExit(main(*sys.argv[1:2]))
