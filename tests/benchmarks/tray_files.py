"""The tray at many files: taken in once and again, stored, and its page; beside one FFT of a file's samples.

python -m tests.benchmarks.tray_files [FILES]
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from dashboard.data import queries
from ingest.author import Author
from ingest.intake.taking import take_folder
from ingest.intake.tray import Named, store_named
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import UNITS, build_ledger, small_capture
from tests.pages.page_runs import open_page


def write_files(folder: Path, files: int) -> int:
    """Write captures, no two alike, every other one named after a unit; returns the samples of one."""
    folder.mkdir()
    rng = np.random.default_rng(11)
    samples = 0
    for n in range(files):
        capture = small_capture(rpm=5800 + rng.uniform(0, 400), mean_a=5 + rng.uniform(0, 0.5), seconds=0.25)
        samples = len(capture.current_a)
        name = f"{UNITS[n % len(UNITS)]}_{n:05d}.npz" if n % 2 else f"scope{n:05d}x.npz"
        t = np.arange(samples) / capture.sample_rate_hz
        np.savez(folder / name, time_s=t, current_a=capture.current_a)
    return samples


def main(files: int) -> None:
    """Print seconds and ratios."""
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        ledger = build_ledger(root / "fleet.duckdb")
        samples = write_files(root / "captures", files)
        noise = np.random.default_rng(1).normal(size=samples)
        one_fft = min(_seconds(lambda: np.fft.rfft(noise)) for _ in range(50))
        author = Author("bench", "manager")
        arrivals = []
        first = _seconds(lambda: arrivals.extend(take_folder(ledger, root / "captures", author=author)))
        again = _seconds(lambda: take_folder(ledger, root / "captures", author=author))
        told = {s: sum(a.status == s for a in arrivals) for s in ("matched", "waiting", "refused", "known")}
        print(f"{files} files of {samples:,} samples: {told}", flush=True)
        each = first / files
        print(f"taken in: {first:.1f} s, {1000 * each:.0f} ms a file, {each / one_fft:,.0f} FFTs")
        print(f"taken again: {again:.1f} s", flush=True)
        named = [Named(a.tray_id, a.match.unit) for a in arrivals if a.status == "matched"][:25]
        stored = _seconds(lambda: store_named(ledger, named, author=author))
        print(f"{len(named)} stored as visits: {stored:.1f} s", flush=True)
        os.environ["PUMPLEDGER"] = str(ledger)
        asked = _seconds(lambda: queries.ask(ledger, "tray", rows=25, skip=0, find=""))
        page = _seconds(lambda: open_page("tray"))
        with open_ledger(ledger) as connection:
            [(waits,)] = connection.execute("SELECT count(*) FROM tray WHERE status = 'waiting'").fetchall()
        print(f"page with {waits} waiting: {page:.2f} s, its query {asked:.3f} s", flush=True)


def _seconds(work: object) -> float:
    started = time.perf_counter()
    work()  # type: ignore[operator]
    return time.perf_counter() - started


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
