"""How long a technician waits in the browser, from choosing a file of a million samples to the reading shown.

    python -m tests.benchmarks.upload_speed [SAMPLES] [FILES]

Each file holds another healthy motor by demo_fleet's physics (the measuring study's), new to the server.
For each format, the median and the worst of FILES (default 5): from the moment the file is chosen, by the
browser's own clock,

- trace: until the trace is drawn;
- reading: until the figures beside the specification, the verdict and the next test stand there too;

and what of it the server alone takes to read, and to measure, in this process. The load of the machine is
printed: run it on a quiet one.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import sync_playwright
from scipy.io import wavfile

from demo_fleet.capture_text import as_text
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from ingest.readers.capture_file import read_capture
from tests.benchmarks.study_captures import StudyCapture, draw
from tests.browser.browsing import DESKTOP, FLAGS, chromium, served, settle
from tests.ledger_fixture import build_ledger

FULL_SCALE_A = 20.0
# Notes when a file is chosen, when a chart is there, and when the next test is said.
WATCH = """() => {
    window.chosen = 0; window.traced = 0; window.read = 0;
    document.querySelector('input[type=file]').addEventListener('change',
        () => { window.chosen = performance.now(); }, true);
    const look = () => {
        const chart = document.querySelector('[data-testid="stVegaLiteChart"] canvas, '
            + '[data-testid="stVegaLiteChart"] svg');
        if (!window.traced && chart) window.traced = performance.now();
        const words = document.querySelector('[data-testid="stMain"]').innerText;
        const table = document.querySelector('[data-testid="stTable"] td');
        if (!window.read && chart && table && words.includes('Next test.')) window.read = performance.now();
        if (!window.read) requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
}"""


def write_npz(path: Path, study: StudyCapture) -> None:
    """Amperes as float32, with the sample rate."""
    np.savez(path, current_a=study.samples.astype(np.float32), sample_rate=study.sample_rate_hz)


def write_wav(path: Path, study: StudyCapture) -> None:
    """16 bits of a full scale that has to be told."""
    codes = np.clip(study.samples / FULL_SCALE_A * 32768, -32768, 32767).astype(np.int16)
    wavfile.write(path, round(study.sample_rate_hz), codes)


def write_csv(path: Path, study: StudyCapture) -> None:
    """Two columns of text, seconds and amperes, a line each."""
    path.write_text(as_text("comma-seconds", np.round(study.samples, 4), study.sample_rate_hz))


FORMATS: dict[str, Callable[[Path, StudyCapture], None]] = {
    "npz": write_npz, "wav": write_wav, "csv": write_csv,
}  # fmt: skip


def alone(path: Path) -> tuple[float, float]:
    """Return the seconds it takes to read a file and to measure it, without a page around."""
    start = time.perf_counter()
    capture = read_capture(path, full_scale=f"{FULL_SCALE_A:g}A" if path.suffix == ".wav" else None)
    read = time.perf_counter()
    measure(capture, KnownPump(segments=8))
    return read - start, time.perf_counter() - read


def upload(page: Any, address: str, path: Path) -> tuple[float, float]:
    """Return the seconds from choosing the file to the trace and to the whole reading."""
    page.goto(f"{address}/log-visit?unit=101")
    settle(page)
    if path.suffix == ".wav":  # its full scale has to be told, before the file, so that no typing is timed
        page.locator("summary", has_text="stop, today").click()
        page.get_by_label("Amps at full scale (sound files)").fill(f"{FULL_SCALE_A:g}A")
        page.keyboard.press("Tab")
        settle(page)
    page.evaluate(WATCH)
    page.set_input_files("input[type=file]", str(path))
    page.wait_for_function("() => window.read > 0")
    chosen, traced, read = page.evaluate("() => [window.chosen, window.traced, window.read]")
    settle(page)
    return (traced - chosen) / 1000, (read - chosen) / 1000


def main(samples: int, files: int) -> None:
    """Print the figures."""
    print(f"{samples:,} samples; load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        with served(build_ledger(folder / "fleet.duckdb")) as address:
            page = browser.new_page(viewport=DESKTOP)
            page.set_default_timeout(120_000)
            for suffix, write in FORMATS.items():
                paths = [folder / f"{i}.{suffix}" for i in range(files + 1)]
                for i, path in enumerate(paths):
                    write(path, draw("healthy", 70_000 + i, samples=samples))
                alone(paths[0])  # imports
                server = [alone(path) for path in paths[1:]]
                waits = [upload(page, address, path) for path in paths][1:]
                traces, readings = zip(*waits, strict=True)
                reading, measuring = (statistics.median(part) for part in zip(*server, strict=True))
                print(
                    f"  {suffix}, {paths[0].stat().st_size / 1e6:.1f} MB: "
                    f"trace {statistics.median(traces):.2f} s, reading {statistics.median(readings):.2f} s "
                    f"(worst {max(readings):.2f}); of it reading the file {reading:.2f}, "
                    f"measuring {measuring:.2f}",
                    flush=True,
                )
        browser.close()
    print(f"load of the machine {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000,
        int(sys.argv[2]) if len(sys.argv) > 2 else 5,
    )
