"""Damaged files whose formats are taken apart by libraries: what they do to the process that is given them.

    nice python -m tests.benchmarks.damaged_files [FILES] [SEED] [PROCESSES] [replace]

FILES (default 20,000) Parquet, MATLAB, NPZ and WAV files are damaged at random, half of them within the last
kilobytes, where Parquet and ZIP keep what they are read by; each is read by the front door and, if it reads,
measured. One that does neither gives a sentence. Counted: processes that ended, anything else than a reading
or a sentence, files stopped by a limit (10 s of CPU, memory, the clock), the largest memory of the process
that asks and of its child, and the most CPU one file took. Exit 1 for any finding.

So that thousands fit in an hour, a child is kept until it dies, which is harder than what users have: there
one refusal replaces it. With `replace` it is as for them.
"""

from __future__ import annotations

import io
import multiprocessing
import queue
import resource
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from scipy.io import savemat, wavfile

from ingest.apart.child import ChildEnded
from ingest.capture import Capture
from ingest.errors import PumpledgerError
from ingest.measuring.measurement import measure
from ingest.readers import read_apart
from ingest.readers.capture_file import read_capture_bytes
from ingest.sealed import sealed_parquet
from tests.readers.dialects.mutation import TOKENS
from tests.readers.dialects.scenario import times, waveform

TIME = times(2_000)
CURRENT = np.asarray(waveform(2_000), dtype=float)
STOPPED = {"took-too-long": "stopped by a limit of time", "fault": "a fault of ours"}
OPTIONS: dict[str, Any] = {"channel": "1", "sample_rate_hz": 20_000, "probe": "1V/A", "full_scale": 10}


@dataclass
class Tally:
    """Counts of one process; `findings`: (what happened, file name, number of the damaged file)."""

    files: Counter[str] = field(default_factory=Counter)
    read: Counter[str] = field(default_factory=Counter)
    outcomes: Counter[str] = field(default_factory=Counter)
    children_ended: Counter[str] = field(default_factory=Counter)
    findings: list[tuple[str, str, int]] = field(default_factory=list)
    most_cpu_s: float = 0.0
    asking_mb: float = 0.0
    child_mb: float = 0.0


def corpus() -> list[tuple[str, bytes]]:
    """Return (name, content) of sound files, several of each format."""
    table = pa.table({"time (s)": TIME, "current (A)": CURRENT})
    lists = pa.table({"current (A)": [list(CURRENT), list(CURRENT)], "rate": [20_000.0, 20_000.0]})
    stamps = pa.array((TIME * 1e9).astype("datetime64[ns]"))
    dated = pa.table({"when": stamps, "current (A)": CURRENT.astype(np.float32)})
    counts = pa.table({"current (A)": np.rint(CURRENT * 1000).astype(np.int16)})
    files: list[tuple[str, bytes]] = []
    for name, content, how in (
        ("plain", table, {"compression": None, "use_dictionary": False}),
        ("snappy", table, {"compression": "snappy"}),
        ("zstd", table, {"compression": "zstd", "row_group_size": 500}),
        ("gzip", table, {"compression": "gzip", "data_page_version": "2.0"}),
        ("lists", lists, {}),
        ("dated", dated, {}),
        ("delta", counts, {"use_dictionary": False, "column_encoding": "DELTA_BINARY_PACKED"}),
        ("indexed", table, {"write_page_index": True, "write_page_checksum": True}),
    ):
        file = io.BytesIO()
        pq.write_table(content, file, **how)
        files.append((f"{name}.parquet", file.getvalue()))
    files.append(("sealed.parquet", sealed_parquet(table, compression="zstd")))
    for name, content, how in (
        ("vectors", {"time": TIME, "current": CURRENT}, {}),
        ("packed", {"time": TIME, "current": CURRENT}, {"do_compression": True}),
        ("level4", {"time": TIME, "current": CURRENT}, {"format": "4"}),
        ("structure", {"record": {"current": CURRENT, "dt": 5e-5}}, {"do_compression": True}),
    ):
        file = io.BytesIO()
        savemat(file, content, **how)
        files.append((f"{name}.mat", file.getvalue()))
    for name, save in (("stored", np.savez), ("packed", np.savez_compressed)):
        file = io.BytesIO()
        save(file, current_a=CURRENT.astype(np.float32), time_s=TIME)
        files.append((f"{name}.npz", file.getvalue()))
    for name, samples in (
        ("bits16", (CURRENT / 10 * 32767).astype(np.int16)),
        ("bits8", (CURRENT / 10 * 100 + 128).astype(np.uint8)),
        ("float", (CURRENT / 10).astype(np.float32)),
        ("stereo", np.stack([CURRENT / 10, TIME], 1).astype(np.float64)),
    ):
        file = io.BytesIO()
        wavfile.write(file, 20_000, samples)
        files.append((f"{name}.wav", file.getvalue()))
    return files


def damage(data: bytes, rng: np.random.Generator) -> bytes:
    """Return `data` after one to six injuries, half of them near the end and a quarter near the start."""
    damaged = bytearray(data)
    for _ in range(int(rng.integers(1, 7))):
        size = len(damaged)
        if not size:
            break
        where = rng.random()
        reach = min(size, int(rng.choice([16, 200, 2_000])))
        if where < 0.5:
            place = size - 1 - int(rng.integers(0, reach))
        else:
            place = int(rng.integers(0, reach if where < 0.75 else size))
        kind = int(rng.integers(0, 8))
        if kind <= 1:
            damaged[place] = int(rng.integers(0, 256))
        elif kind == 2:
            damaged[place] ^= 1 << int(rng.integers(0, 8))
        elif kind == 3:
            damaged[place] = int(rng.choice([0, 1, 0x7F, 0x80, 0xFF]))
        elif kind == 4:
            width = int(rng.choice([2, 4, 8]))
            number = int(rng.choice([0, 1, 2**15, 2**31 - 1, 2**31, 2**32 - 1, 2**62])) % 2 ** (8 * width)
            damaged[place : place + width] = number.to_bytes(width, "little")
        elif kind == 5:
            token = TOKENS[int(rng.integers(0, len(TOKENS)))]
            damaged[place : place + len(token)] = token
        elif kind == 6:
            del damaged[place : place + int(rng.integers(1, 30))]
        else:
            damaged[place:place] = bytes(damaged[place : place + 30]) * int(rng.integers(1, 5))
    return bytes(damaged)


def outcome_of(name: str, data: bytes) -> str:
    """Read and measure as a user would; returns what came of it, raises what no user must see."""
    try:
        capture: Capture = read_capture_bytes(name, data, **OPTIONS)
        reading = measure(capture)
    except PumpledgerError as refused:
        if "\n" in refused.text or not refused.text.rstrip().endswith((".", "?", ").")):
            raise AssertionError(f"not one sentence: {refused.text!r}") from refused
        if refused.code in STOPPED:
            raise AssertionError(f"{STOPPED[refused.code]}: {refused.text}") from refused
        if "more memory than there is" in refused.text:
            raise AssertionError(f"stopped by the limit of memory: {refused.text}") from refused
        return refused.code
    assert reading.mean_a is None or np.isfinite(reading.mean_a)
    return "read"


def keep_children() -> None:
    """Let a child live on after a refusal."""
    ask = read_apart._children.ask

    def patient(about: Any, body: Any, wall_s: float, **_: Any) -> Any:
        return ask(about, body, wall_s)

    read_apart._children.ask = patient  # type: ignore[method-assign]


def work(files: int, seed: int, replace: bool, progress: Any, results: Any) -> None:
    """Damage and read `files` files; `progress.value` tells which, if the process should end."""
    tally = Tally()
    if not replace:
        keep_children()
    rng = np.random.default_rng(seed)
    sound = corpus()
    for number in range(files):
        progress.value = number
        name, data = sound[number % len(sound)]
        form = name.rpartition(".")[2]
        damaged = damage(data, rng)
        start = time.process_time()
        try:
            outcome = outcome_of(name, damaged)
        except ChildEnded as error:
            tally.findings.append((f"unanswered: {error}", name, number))
            outcome = "finding"
        except Exception as error:
            tally.findings.append((f"{type(error).__name__}: {error}"[:300], name, number))
            outcome = "finding"
        tally.most_cpu_s = max(tally.most_cpu_s, time.process_time() - start)
        tally.files[form] += 1
        tally.read[form] += outcome == "read"
        tally.children_ended[form] += outcome == "ended-the-reader"
        tally.outcomes[outcome] += 1
    read_apart._children.close()
    tally.asking_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    tally.child_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    results.put(tally)


def main(files: int = 20_000, seed: int = 1, processes: int = 2, *, replace: bool = False) -> int:
    """Print the figures; 1 where there is a finding."""
    start = time.perf_counter()
    context = multiprocessing.get_context("spawn")
    results = context.Queue()
    workers = []
    for n in range(processes):
        progress = context.Value("l", -1)
        share = -(-files // processes)
        worker = context.Process(target=work, args=(share, seed + n, replace, progress, results))
        worker.start()
        workers.append((worker, progress))
    tallies: list[Tally] = []
    ended = 0
    while len(tallies) + ended < processes:
        try:
            tallies.append(results.get(timeout=5))
        except queue.Empty:
            ended = sum(worker.exitcode not in (None, 0) for worker, _ in workers)
    read = sum((t.read for t in tallies), Counter())
    died = sum((t.children_ended for t in tallies), Counter())
    counts = sum((t.files for t in tallies), Counter())
    findings = [finding for t in tallies for finding in t.findings]
    print(f"{counts.total():,} damaged files in {time.perf_counter() - start:.0f} s")
    for form, count in counts.items():
        print(f"  {form}: {count:,}, read {read[form]:,}, children ended {died[form]}")
    print(f"outcomes: {dict(sum((t.outcomes for t in tallies), Counter()).most_common())}")
    print(f"processes that asked and ended: {ended}; anything but a reading or a sentence: {len(findings)}")
    if tallies:
        print(
            f"most CPU of one file, its child's aside: {max(t.most_cpu_s for t in tallies):.2f} s; memory at "
            f"most {max(t.asking_mb for t in tallies):.0f} MB, of a child "
            f"{max(t.child_mb for t in tallies):.0f} MB"
        )
    for what, name, number in findings[:40]:
        print(f"  {name} #{number}: {what}")
    return 1 if findings or ended else 0


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:4] if a.isdecimal()]
    raise SystemExit(main(*numbers, replace="replace" in sys.argv[1:]))
