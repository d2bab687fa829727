"""What fleets of 1,000 to 10,000,000 pumps need, worked out from measured figures and named inputs.

    python -m tests.benchmarks.on_paper [--visits-a-year 4] [--core-s 0.25] …

Without options it prints the table that stands in docs/outgrowing_one_machine.md. What lies beyond the sizes
that were measured is extrapolated and marked ~.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass, fields

from tests.benchmarks.results import ROOT, Result, read_results

DOC = ROOT / "docs/outgrowing_one_machine.md"
BEGIN, END = "<!-- sizes: python -m tests.benchmarks -->\n", "<!-- end of sizes -->\n"
PUMPS = (1_000, 10_000, 100_000, 1_000_000, 10_000_000)


@dataclass(frozen=True)
class Inputs:
    """What the table follows from; the first five are assumptions, the rest measured (docs/speed.md)."""

    visits_a_year: float = 4.0  # of a pump, each with a capture
    visits_kept: float = 8.0  # of a pump, in the ledger
    working_hours: float = 2_000.0  # a year, in which visits come in
    core_hour_price: float = 0.05  # a rented core, in money
    tb_month_price: float = 20.0  # of storage, in money
    core_s: float = 0.0  # chains.core_s: to measure one capture of 100,000 samples
    capture_kb: float = 0.0  # chains.kb
    visit_bytes: float = 0.0  # sizes.100k.visit_bytes, readings measured elsewhere
    log_ms: float = 0.0  # log.cpu, with 20,000 pumps on record
    log_growth: float = 0.0  # log.growth
    rank_s: float = 0.0  # rank.cpu, with 20,000 pumps
    rank_growth: float = 0.0  # rank.growth; beyond what was measured it is taken for 1 at the least
    rank_gb_20k: float = 0.0  # memory.rank_20k, with 20,000 pumps; fewer are taken to need as much
    rank_gb_40k: float = 0.0  # memory.rank_40k, with 40,000


_MEASURED = {
    "core_s": "chains.core_s",
    "capture_kb": "chains.kb",
    "visit_bytes": "sizes.100k.visit_bytes",
    "log_ms": "log.cpu",
    "log_growth": "log.growth",
    "rank_s": "rank.cpu",
    "rank_growth": "rank.growth",
    "rank_gb_20k": "memory.rank_20k",
    "rank_gb_40k": "memory.rank_40k",
}
MEASURED = set(_MEASURED.values())


def inputs_from(results: Mapping[str, Result], **told: float) -> Inputs:
    """Return the inputs: as told, else as measured, else as assumed."""
    measured = {name: results[key].value for name, key in _MEASURED.items() if key in results}
    return Inputs(**measured | told)


@dataclass(frozen=True)
class Needs:
    """Of one fleet; `writing`: the share of working hours in which a visit is being written."""

    pumps: int
    ledger_bytes: float
    capture_bytes_a_year: float
    core_hours_a_year: float
    core_hours_again: float
    writing: float
    rank_s: float
    rank_gb: float


def needs(pumps: int, given: Inputs) -> Needs:
    """Return what a fleet of so many pumps needs."""
    a_year = pumps * given.visits_a_year
    log_s = given.log_ms / 1000 * max(1.0, pumps / 20_000) ** max(given.log_growth, 0.0)
    return Needs(
        pumps,
        ledger_bytes=pumps * given.visits_kept * given.visit_bytes,
        capture_bytes_a_year=a_year * given.capture_kb * 1000,
        core_hours_a_year=a_year * given.core_s / 3600,
        core_hours_again=pumps * given.visits_kept * given.core_s / 3600,
        writing=a_year * log_s / (given.working_hours * 3600),
        rank_s=given.rank_s * (pumps / 20_000) ** max(given.rank_growth, float(pumps > 20_000)),
        rank_gb=given.rank_gb_20k + (given.rank_gb_40k - given.rank_gb_20k) * max(pumps - 20_000, 0) / 20_000,
    )


def table(results: Mapping[str, Result], given: Inputs) -> str:
    """Return the table of sizes, and what a petabyte of captures is, as text of the page."""
    lines = [
        "| pumps | ledger | captures a year | a year's measured | all measured again | a visit is written |"
        " all ranked |",
        "|---|---|---|---|---|---|---|",
    ]
    measured = {1_000: "1k", 10_000: "10k", 100_000: "100k"}
    for pumps in PUMPS:
        n = needs(pumps, given)
        key = f"sizes.{measured.get(pumps)}.mb"
        size = _bytes(results[key].value * 1e6) if key in results else f"~{_bytes(n.ledger_bytes)}"
        rank = f"~{n.rank_s:,.0f} s CPU, ~{n.rank_gb:,.1f} GB"
        busy = f"{n.writing:.1%} of working hours" if n.writing < 1 else f"{n.writing:,.0f} times them"
        lines.append(
            f"| {pumps:,} | {size} | {_bytes(n.capture_bytes_a_year)} | {_hours(n.core_hours_a_year)} |"
            f" {_hours(n.core_hours_again)} | {busy} | {rank} |"
        )
    per_million = 1e6 * given.core_s / 3600
    captures = 1e15 / (given.capture_kb * 1000)
    core_hours = captures * given.core_s / 3600
    storage = 1000 * given.tb_month_price
    told = "; ".join(f"{f.name} {getattr(given, f.name):,.4g}" for f in fields(given))
    lines += [
        "",
        f"A million captures of 100,000 samples take {per_million:,.0f} core-hours. A petabyte is"
        f" {captures / 1e9:,.1f} thousand million of them: {core_hours:,.0f} core-hours to measure"
        f" ({core_hours / 24 / 1000:,.0f} days on 1,000 cores), {core_hours * given.core_hour_price:,.0f}"
        f" in money, and {storage:,.0f} a month to keep.",
        "",
        f"Inputs ({', '.join(f.name for f in fields(given)[:5])} are assumed, put your own; the rest are"
        f" measured, [speed.md](speed.md)): {told}.",
    ]
    return "\n".join(lines) + "\n"


def write_sizes(results: Mapping[str, Result]) -> None:
    """Write the table into its place in the page, once all that it follows from is measured."""
    if not results.keys() >= MEASURED:
        return
    text = DOC.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    DOC.write_text(before + BEGIN + table(results, inputs_from(results)) + END + after, encoding="utf-8")


def _bytes(count: float) -> str:
    for unit, size in (("PB", 1e15), ("TB", 1e12), ("GB", 1e9), ("MB", 1e6)):
        if count >= size:
            return f"{count / size:,.3g} {unit}"
    return f"{count / 1e3:,.0f} kB"


def _hours(hours: float) -> str:
    return f"{hours:,.0f} core-hours" if hours >= 10 else f"{hours:,.1f} core-hours"


def main() -> None:
    """Print the table for the inputs on the command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    for field in fields(Inputs):
        parser.add_argument(f"--{field.name.replace('_', '-')}", type=float)
    told = {name: value for name, value in vars(parser.parse_args()).items() if value is not None}
    results = read_results()
    print(table(results, inputs_from(results, **told)), end="")


if __name__ == "__main__":
    main()
