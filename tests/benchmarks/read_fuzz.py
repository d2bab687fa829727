"""Mutation fuzzing of the capture readers, guided by outcome: a file with a new outcome is mutated further.

Run by hand: python -m tests.benchmarks.read_fuzz [files] [seed] [processes]. Every file either reads or is
refused with one sentence; anything else, more than 5 s for one file, or more than 500 MB, is a finding and is
printed with the seed that makes it. An outcome is the refusal's code or the set of note codes.
"""

from __future__ import annotations

import multiprocessing
import queue
import resource
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ingest.errors import PumpledgerError
from ingest.readers.capture_file import read_capture_bytes
from tests.readers.dialects import SCENARIOS
from tests.readers.dialects.mutation import mutate

SLOW_S = 5.0
MOST_MB = 500.0
TEXT_BYTES = 5_000  # text scenarios are cut: damage matters, length doesn't


@dataclass
class Tally:
    """Counts of one process; `findings` are (what happened, file name, number of the mutation)."""

    files: int = 0
    read: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    findings: list[tuple[str, str, int]] = field(default_factory=list)
    slowest_s: float = 0.0
    memory_mb: float = 0.0


def corpus() -> list[tuple[str, bytes, dict]]:
    seeds = []
    for function in SCENARIOS:
        scenario = function()
        data = scenario.data
        if not scenario.file_name.endswith((".npy", ".npz", ".mat", ".wav", ".parquet", ".gz")):
            data = data[:TEXT_BYTES]
        seeds.append((scenario.file_name, data, scenario.options))
    return seeds


def outcome_of(name: str, data: bytes, options: dict) -> tuple[str, bool]:
    try:
        capture = read_capture_bytes(name, data, **options)
    except PumpledgerError as refused:
        if "\n" in refused.text or not refused.text.rstrip().endswith((".", "?")):
            raise AssertionError(f"not one sentence: {refused.text!r}") from refused
        return f"refused {refused.code}", False
    values = capture.current_a
    if values.ndim != 1 or np.isinf(values).any() or not 0 < capture.sample_rate_hz < np.inf:
        raise AssertionError("a capture that is no even, finite record")
    if not np.isfinite(capture.start_s):
        raise AssertionError("a capture without a start")
    return "read " + "+".join(sorted({note.code for note in capture.notes})), True


def fuzz(files: int, seed: int, progress: Any = None) -> Tally:
    """Mutate and read `files` files; `progress.value` tells which one was being read if the process dies."""
    tally = Tally()
    rng = np.random.default_rng(seed)
    seeds = corpus()
    seen: set[str] = set()
    for number in range(files):
        if progress is not None:
            progress.value = number
        name, data, options = seeds[int(rng.integers(0, len(seeds)))]
        damaged = mutate(data, rng)
        said = options if rng.random() < 0.7 else {"channel": "1", "sample_rate_hz": 20_000, "probe": "1V/A"}
        start = time.perf_counter()
        try:
            outcome, read = outcome_of(name, damaged, said)
        except Exception as error:
            tally.findings.append((f"{type(error).__name__}: {error}"[:300], name, number))
            outcome, read = f"crash {type(error).__name__}", False
        took = time.perf_counter() - start
        tally.slowest_s = max(tally.slowest_s, took)
        if took > SLOW_S:
            tally.findings.append((f"took {took:.1f} s", name, number))
        tally.files += 1
        tally.read += read
        tally.outcomes[outcome] += 1
        key = f"{name} {outcome}"
        if key not in seen and len(damaged) < 200_000:
            # a new outcome: damage it further
            seen.add(key)
            seeds.append((name, damaged, options))
    tally.memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if tally.memory_mb > MOST_MB:
        tally.findings.append((f"{tally.memory_mb:.0f} MB", "-", -1))
    return tally


def _work(files: int, seed: int, progress: Any, results: Any) -> None:
    results.put(fuzz(files, seed, progress))


def main(files: int = 100_000, seed: int = 1, processes: int = 2) -> int:
    start = time.perf_counter()
    share = -(-files // processes)
    context = multiprocessing.get_context("spawn")
    results = context.Queue()
    workers = []
    for n in range(processes):
        progress = context.Value("l", -1)
        worker = context.Process(target=_work, args=(share, seed + n, progress, results))
        worker.start()
        workers.append((worker, progress))
    tallies = []
    while len(tallies) < processes:
        try:
            tallies.append(results.get(timeout=5))
        except queue.Empty:
            dead = [(w, p) for w, p in workers if w.exitcode not in (None, 0)]
            if len(dead) + len(tallies) == processes:
                for worker, progress in dead:
                    died = f"the process died with {worker.exitcode}"
                    tallies.append(Tally(progress.value, findings=[(died, "-", progress.value)]))
    outcomes = sum((t.outcomes for t in tallies), Counter())
    total = sum(t.files for t in tallies)
    print(f"{total:,} mutated files from {len(SCENARIOS)} dialects in {time.perf_counter() - start:.0f} s")
    print(f"read {sum(t.read for t in tallies):,}, refused {total - sum(t.read for t in tallies):,}")
    refused = Counter({k: v for k, v in outcomes.items() if k.startswith("refused")})
    print(f"{len(outcomes)} outcomes, {len(refused)} refusal codes: {dict(refused.most_common())}")
    slowest, memory = max(t.slowest_s for t in tallies), max(t.memory_mb for t in tallies)
    print(f"slowest {slowest:.2f} s, memory {memory:.0f} MB")
    findings = [f for t in tallies for f in t.findings]
    print(f"findings: {len(findings)}")
    for what, name, number in findings[:40]:
        print(f"  {name} #{number}: {what}")
    return 1 if findings else 0


if __name__ == "__main__":
    arguments = [int(a) for a in sys.argv[1:4]]
    raise SystemExit(main(*arguments))
