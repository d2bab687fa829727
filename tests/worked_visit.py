"""The captures, drawings and answers of docs/worked_visit.md.

    python -m tests.worked_visit                # draws docs/traces/*.svg and renews the answers on the page
    python -m tests.worked_visit demo/worked    # and keeps the captures there, to try the commands on

The motor is invented (docs/demo_fleet.md), so that the traces show the kind of a fault, not its size.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from dashboard.cli import main
from demo_fleet.acquisition import Probe, Scope, acquire
from demo_fleet.armature import Motor, Start, Supply, simulate
from demo_fleet.capture_text import as_text

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "worked_visit.md"
DRAWINGS = ROOT / "docs" / "traces"
MOTOR = Motor(spread_seed=5)
RATE_HZ, FULL_SCALE_A, OFF_S = 50_000, 20.0, 0.05
SPECIFICATION = "4-6"


@dataclass(frozen=True)
class Case:
    """One trace of the page: the fault by its name in `demo_fleet.motor.FAULTS`, the feed, the command's
    options, and where the drawing's few turns begin, s."""

    name: str
    fault: str = "healthy"
    supply: Supply = field(default_factory=Supply)
    start: Start = "inrush"
    options: tuple[str, ...] = ("--segments", "8")
    shown_from_s: float = 0.3


CASES = (
    Case("healthy"),
    Case("open_coil", "open coil"),
    Case("isolated_bar", "isolated bar"),
    Case("worn", "worn brushes"),
    Case("drag", "drag"),
    Case("starved", "starved"),
    Case(
        "pwm",
        supply=Supply(pwm_hz=4_000.0, pwm_duty=0.75),
        options=("--segments", "8", "--supply", "pwm", "--duty-pct", "75", "--previous-rpm", "3910"),
    ),
    Case("engine_on", supply=Supply(alternator_pp_v=0.5, alternator_hz=870.0), start="settled"),
)


# The visit of the page: what is typed in order, and the capture that each line logs; told from this line on.
VISIT = (
    "add fleet distance_unit=mi",
    "add type FP-10 current_low_a=4 current_high_a=6 segments=8 rated_pressure_kpa=400",
    "add unit 412 depot=North pump_type=FP-10 fitted_on=2024-03-04 fitted_odometer='12 mi'",
    "log 2024-03.csv --unit 412 --date 2024-03-06 --odometer '130 mi' --state prime --supply-v 13.5",
    "log 2025-09.csv --unit 412 --date 2025-09-01 --odometer '44950 mi' --state prime --supply-v 13.5",
    "log monday.csv --unit 412 --date 2026-11-02 --odometer '74200 mi' --state prime --supply-v 13.5 "
    "--drop-supply-v 0.12 --drop-ground-v 0.04 --fuel-pressure '400 kPa'",
    "log tuesday.csv --unit 412 --date 2026-11-03 --odometer '74210 mi' --state prime --reason follow-up "
    "--supply-v 13.5 --fuel-pressure '400 kPa' --done filter --strainer good --check-result no_other_cause",
    "rank --why --as-of 2026-11-03",
)
TOLD_FROM = 5
FAULTS_BY_FILE = {"monday.csv": "drag", "tuesday.csv": "drag"}
SHOWN = ("Stored", "average", "ripple", "revolution", "verdict", "also", "next test")


def record(case: Case, seed: int = 5) -> tuple[np.ndarray, float]:
    """Return a case's capture, A at RATE_HZ, and how long a turn took at its end, ms."""
    trace = simulate(
        MOTOR, duration_s=0.4, seed=seed, faults=case.fault, start=case.start, supply=case.supply,
        sample_rate_hz=100_000,
    )  # fmt: skip
    off_s = OFF_S if case.start == "inrush" else 0.0
    scope = Scope(sample_rate_hz=RATE_HZ, full_scale_a=FULL_SCALE_A)
    samples = acquire(trace, Probe(zero_a=0.03), scope, off_s=off_s, seed=seed).samples
    return samples, 60_000 / trace.mean_rpm(0.25, 0.4)


def write_capture(samples: np.ndarray, path: Path) -> Path:
    """Write a capture as a text file and return it."""
    path.write_text(as_text("comma-seconds", samples, RATE_HZ), encoding="utf-8", newline="")
    return path


def said_by(words: list[str]) -> str:
    """Return what a command prints; AssertionError where it refuses."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        code = main(words)
    assert code == 0, words
    return said.getvalue()


def visit(folder: Path, lines: Sequence[str] = VISIT) -> list[str]:
    """Go through the visit in a folder, with a ledger of its own; returns what stands on the page for each
    line from TOLD_FROM on: the command, and of a visit's answer what SHOWN names."""
    out = []
    for at, line in enumerate(lines):
        words = shlex.split(line)
        if words[0] == "log":
            made, _ = record(Case(words[1], FAULTS_BY_FILE.get(words[1], "healthy")), seed=10 + at)
            words[1] = str(write_capture(made, folder / words[1]))
        told = said_by([*words, "--ledger", str(folder / "visit.duckdb")])
        if words[0] == "log":
            told = "\n".join(each for each in told.splitlines() if each.strip().startswith(SHOWN))
        if at >= TOLD_FROM:
            out.append(_indented(f"pumpledger {line}\n\n{told}"))
    return out


def answer(case: Case, capture: Path) -> str:
    """Return what `pumpledger analyse` prints for a capture, without its first line, the file's name; a day
    counted from today is left open."""
    told = said_by(["analyse", str(capture), "--spec", SPECIFICATION, *case.options])
    return re.sub(r"by \d{4}-\d\d-\d\d", "by DATE", told.partition("\n")[2])


def block(case: Case, told: str) -> str:
    """Return what stands on the page of a case: the command and its answer."""
    command = " ".join(["pumpledger analyse", f"{case.name}.csv", "--spec", SPECIFICATION, *case.options])
    return _indented(f"{command}\n\n{told}")


def _indented(text: str) -> str:
    return "\n".join(f"    {line}".rstrip() for line in text.rstrip().splitlines())


def drawing(case: Case, samples: np.ndarray, turn_ms: float) -> str:
    """Return an SVG: the whole record on the left, 30 ms of it with one turn shaded on the right."""
    top = float(np.ceil(samples.max() / 2) * 2)
    few = round(case.shown_from_s * RATE_HZ)
    panels = [
        _panel(samples, 0.0, (46, 230), top, 100, 0.0),
        _panel(
            samples[few : few + round(0.03 * RATE_HZ)], 1000 * few / RATE_HZ, (312, 430), None, 5, turn_ms
        ),
    ]
    label = f"{case.name.replace('_', ' ')}: current in A over time in ms, whole record and 30 ms of it"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 760 236" role="img" aria-label="{label}" '
        'font-family="sans-serif" font-size="12" fill="#333">\n'
        '<rect width="760" height="236" fill="#fdfcf8"/>\n' + "\n".join(panels) + "\n</svg>\n"
    )


def _panel(
    samples: np.ndarray,
    from_ms: float,
    where: tuple[int, int],
    top: float | None,
    tick_ms: int,
    turn_ms: float,
) -> str:
    """Return one chart of samples: lowest and highest of each bin, so that no spike is lost."""
    left, width = where
    low = 0.0 if top is not None else float(np.floor(samples.min()))
    high = top if top is not None else max(float(np.ceil(samples.max())), low + 2)
    ms = 1000 / RATE_HZ

    def x(at_ms: float) -> float:
        return left + width * (at_ms - from_ms) / (len(samples) * ms)

    def y(value_a: float) -> float:
        return 200 - 180 * (value_a - low) / (high - low)

    out = [f'<rect x="{left}" y="20" width="{width}" height="180" fill="none" stroke="#999"/>']
    if turn_ms:
        ends = x(from_ms + 8), x(from_ms + 8 + turn_ms)
        out.append(
            f'<rect x="{ends[0]:.1f}" y="20" width="{ends[1] - ends[0]:.1f}" height="180" fill="#eae4d2"/>'
        )
        out.append(f'<text x="{sum(ends) / 2:.1f}" y="14" text-anchor="middle">one turn</text>')
    step = max(1, round((high - low) / 5))
    for value in np.arange(low, high + 0.5, step):
        out.append(f'<path d="M{left} {y(value):.1f}h{width}" stroke="#ddd"/>')
        out.append(f'<text x="{left - 6}" y="{y(value) + 4:.1f}" text-anchor="end">{value:g}</text>')
    for at in np.arange(from_ms, from_ms + len(samples) * ms + 0.1, tick_ms):
        out.append(f'<text x="{x(at):.1f}" y="216" text-anchor="middle">{at:g}</text>')
    out.append(
        f'<text x="{left}" y="14">A</text><text x="{left + width}" y="232" text-anchor="end">ms</text>'
    )
    points = []
    for part in np.array_split(np.arange(len(samples)), min(700, len(samples))):
        ends = sorted({int(part[samples[part].argmin()]), int(part[samples[part].argmax()])})
        points += [f"{x(from_ms + i * ms):.1f},{y(float(samples[i])):.1f}" for i in ends]
    out.append(f'<polyline points="{" ".join(points)}" fill="none" stroke="#1f4e6b" stroke-width="1"/>')
    return "\n".join(out)


def part(name: str) -> str:
    """Return what stands on the page between the marks of that name."""
    found = re.search(_between(name), PAGE.read_text(encoding="utf-8"), re.S)
    assert found, name
    return found[1]


def _between(name: str) -> str:
    return rf"(?<=<!-- {re.escape(name)} -->\n\n)(.*?)(?=\n\n<!-- / -->)"


def renew(keep: Path | None = None) -> None:
    """Draw all cases, go through the visit and put the answers on the page."""
    text = PAGE.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as own:
        folder = keep or Path(own)
        made = {}
        for case in CASES:
            samples, turn_ms = record(case)
            capture = write_capture(samples, folder / f"{case.name}.csv")
            (DRAWINGS / f"{case.name}.svg").write_text(drawing(case, samples, turn_ms), encoding="utf-8")
            made[case.name] = block(case, answer(case, capture))
        made |= {f"visit {i}": told for i, told in enumerate(visit(folder), 1)}
    for name, told in made.items():
        text, times = re.subn(_between(name), lambda _, told=told: told, text, flags=re.S)
        assert times == 1, name
    PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    kept = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    if kept:
        kept.mkdir(parents=True, exist_ok=True)
    renew(kept)
