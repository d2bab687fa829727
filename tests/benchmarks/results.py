"""What the benchmarks measured: one file, from which docs quote.

A figure is a ratio within one run, processor time, or how time grows with size: seconds by the clock say more
about what else a machine did. The page docs/speed.md is written from the file.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

ROOT = Path(__file__).parents[2]
FILE = Path(__file__).with_name("results.json")
PAGE = ROOT / "docs/speed.md"
OLDER = " (older method)"
QUOTED = re.compile(r"([\d,]*\.?\d+)<!--=([a-z0-9_.]+)-->")


@dataclass(frozen=True)
class Figure:
    """One figure as a benchmark gives it; `about` says what it is in one phrase."""

    name: str
    value: float
    unit: str
    about: str


@dataclass(frozen=True)
class Result:
    """A figure with how it came to be. method: whose METHOD_VERSION it hangs on, None for none."""

    name: str
    value: float
    unit: str
    about: str
    commit: str
    date: str
    machine: str
    script: str
    method: str | None
    method_version: int | None


def method_versions() -> dict[str, int]:
    """Return today's version of each method that a figure may hang on."""
    from analytics.cost_review import policy_review
    from analytics.money import decision
    from analytics.wear_model import model
    from ingest.measuring import measurement

    modules = {"measuring": measurement, "risk": model, "decision": decision, "review": policy_review}
    return {name: module.METHOD_VERSION for name, module in modules.items()}


def is_older(result: Result, today: dict[str, int]) -> bool:
    """Return whether the method has changed since the figure was measured."""
    return result.method is not None and result.method_version != today[result.method]


def read_results(file: Path = FILE) -> dict[str, Result]:
    """Return the results by name."""
    if not file.exists():
        return {}
    return {told["name"]: Result(**told) for told in json.loads(file.read_text(encoding="utf-8"))}


def keep_results(
    figures: Iterable[Figure], script: str, method: str | None, file: Path = FILE
) -> list[Result]:
    """Put figures of one benchmark in the place of its earlier ones, and of others by the same name; returns
    them as results."""
    version = method_versions()[method] if method else None
    here = {
        "commit": commit(),
        "date": date.today().isoformat(),
        "machine": machine(),
        "script": script,
        "method": method,
        "method_version": version,
    }
    made = [Result(**asdict(f) | here | {"value": float(f"{f.value:.4g}")}) for f in figures]
    names = {r.name for r in made}
    kept = [r for r in read_results(file).values() if r.script != script and r.name not in names]
    rows = [asdict(r) for r in sorted(kept + made, key=lambda r: r.name)]
    text = json.dumps(rows, indent=1, ensure_ascii=False) + "\n"
    part = file.with_suffix(".part")
    part.write_text(text, encoding="utf-8")
    part.replace(file)
    return made


def commit() -> str:
    """Return the commit that is checked out, with + where files have been changed since."""
    said = subprocess.run(
        ["git", "describe", "--always", "--dirty=+", "--abbrev=10"], cwd=ROOT, capture_output=True, text=True
    )
    return said.stdout.strip() or "unknown"


def machine() -> str:
    """Return cores, memory and how busy it was: nothing that names the machine."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return f"{cores} cores, {memory:.0f} GB, load {os.getloadavg()[0]:.0f}"


def page(results: dict[str, Result], today: dict[str, int]) -> str:
    """Return docs/speed.md."""
    lines = [
        "# How fast, and how it grows",
        "",
        "Written by `python -m tests.benchmarks` from `tests/benchmarks/results.json`. A ratio is to what",
        "everyone has, timed in the same run; CPU is processor time over all threads; growth is the exponent",
        "with which time grows with size: 1 doubles it where size doubles. The load is that of the whole",
        "machine at the time.",
        "",
        "| figure | value | what it is | method | measured |",
        "|---|---|---|---|---|",
    ]
    for r in results.values():
        method = f"{r.method} {r.method_version}{OLDER if is_older(r, today) else ''}" if r.method else ""
        how = f"{r.date}, {r.commit}; {r.machine}"
        lines.append(f"| {r.name} | {r.value:,g} {r.unit} | {r.about} | {method} | {how} |")
    return "\n".join(lines) + "\n"


def wrong_quotes(text: str, results: dict[str, Result]) -> list[str]:
    """Return what is wrong with the figures that a text quotes as NUMBER<!--=name-->."""
    wrong = []
    for number, name in QUOTED.findall(text):
        if name not in results:
            wrong.append(f"{name} is no result")
            continue
        decimals = len(number.partition(".")[2])
        if abs(results[name].value - float(number.replace(",", ""))) > 0.5000001 * 10**-decimals:
            wrong.append(f"{name} is {results[name].value:g}, quoted as {number}")
    return wrong
