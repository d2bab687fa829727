"""What following the plan saves for an owner outside: `load` and `plan --json` as processes, their lines and
checks done as they are dated.

    python -m tests.benchmarks.plan_outside --out DIR [--vehicles 60] [--seed 7000] [--step 84]

A world's books go to a folder and are loaded; every `step` days the plan is asked for as of that day, and
what stands under `lines` and `checks` is ordered: an own stop on its day, else the unit's first stop on or
after it. The owner knows nothing else of the project, and a check is answered by the shop. Beside it the same
fleet and luck under plan_loop's own "shop dated", which weighs the same records without ledger, command or
assignment: what the two order differently on one day is printed, job by job, and what both earned. A
difference that is not the solver's own (bays, parts) is a defect of the public path.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from analytics.learning.fitting import fit_history
from tests.benchmarks.plan_loop import follow, follow_together, outcome
from tests.benchmarks.plan_plain import nothing
from tests.benchmarks.plan_policies import OF_FLEET, WAYS, Orders, Planners, known_history
from tests.benchmarks.second_world import Prices, build, truth, write_folder
from tests.benchmarks.second_world.fleet import day_of

WAY = "shop dated"


def command(*words: object) -> str:
    """Run the program as a process; return what it printed."""
    done = subprocess.run(
        [sys.executable, "-m", "dashboard.cli", *map(str, words)], capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise SystemExit(f"{words}: {done.stdout}\n{done.stderr}")
    return done.stdout


def told(whole: dict[str, Any], run: Any) -> Orders:
    """Return the orders that an owner takes from a plan's JSON."""
    return [
        {"unit": row["unit"], "day": max(run.world.day(row["planned_on"]), run.today + 1),
         "job": _ordered(row), "own_stop": bool(row["own_stop"])}
        for row in [*whole["lines"], *whole["checks"]]
    ]  # fmt: skip


def _ordered(row: dict[str, Any]) -> str:
    """Return a line's job by the names that this world has: what is captured first is checked first."""
    if row["asked_first"] != "check":
        return "change"
    return "check and change" if row["job"] == "capture first" else str(row["job"])


def different(mine: Orders, other: Orders) -> list[str]:
    """Return what two lists of orders order differently, by unit."""
    left, right = ({row["unit"]: row for row in rows} for rows in (mine, other))
    out = []
    for unit in sorted(left.keys() | right.keys()):
        a, b = left.get(unit), right.get(unit)
        alike = a is not None and b is not None and abs(a["day"] - b["day"]) <= 3
        if not alike or (a["job"], a["own_stop"]) != (b["job"], b["own_stop"]):
            out.append(f"{unit}: outside {_said(a)}, within {_said(b)}")
    return out


def _said(row: dict[str, Any] | None) -> str:
    if row is None:
        return "nothing"
    return f"{row['job']} day {row['day']}{' of its own' if row['own_stop'] else ''}"


def main() -> None:
    """Follow one fleet from outside and from within."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--kind", default="standard")
    parser.add_argument("--vehicles", type=int, default=60)
    parser.add_argument("--seed", type=int, default=7000)
    parser.add_argument("--step", type=int, default=84)
    parser.add_argument("--days", type=int, default=0, help="stop after so many days; default: all")
    options = parser.parse_args()
    world = build(seed=options.seed, kind=options.kind, vehicles=options.vehicles)
    key = f"0{OF_FLEET}{WAY}"

    run = world.start()
    ledger = options.out / "fleet.duckdb"
    options.out.mkdir(parents=True, exist_ok=True)
    beside = Planners(Prices(), {"0": fit_history(known_history(run))}, {WAY: WAYS[WAY]}, refits=True)
    began, since, jobs, unlike = run.today, None, 0, 0
    end = min(world.end_day, began + options.days) if options.days else world.end_day
    while run.today < end:
        folder = write_folder(run.tables(since=since), options.out / f"day{run.today}")
        command("load", folder, "--ledger", ledger)
        since = run.today
        whole = json.loads(command("plan", "--json", "--as-of", day_of(run.today), "--ledger", ledger))
        orders = told(whole, run)
        apart = different(orders, beside({key: run})[key])
        jobs, unlike = jobs + len(orders), unlike + len(apart)
        print(f"{day_of(run.today)}: {len(orders)} jobs, {len(apart)} differ, "
              f"{len(whole['unplaced'])} unplaced", flush=True)  # fmt: skip
        print("".join(f"    {line}\n" for line in apart), end="", flush=True)
        run.step(min(run.today + options.step, end), orders)
    print(f"{jobs} jobs, {unlike} differ")
    if end < world.end_day:
        return
    within = Planners(
        Prices(), {"0": fit_history(known_history(world.start()))}, {WAY: WAYS[WAY]}, refits=True
    )
    failing = follow(world.start(), nothing, options.step)
    seeing = follow(world.start(), truth.all_seeing_orders, 28)
    tell("from outside", outcome(run), failing, seeing)
    tell("from within", follow_together({key: world.start()}, within, options.step)[key], failing, seeing)


def tell(name: str, made: dict[str, Any], failing: dict[str, Any], seeing: dict[str, Any]) -> None:
    """Print what a course earned, as a share of what an all-seeing owner saves against running to failure."""
    cost, most, least = (each["cash"] - each["credit"] for each in (made, failing, seeing))
    print(
        f"{name:15s} cash {made['cash']:9,.0f} credit {made['credit']:8,.0f} saving "
        f"{(most - cost) / (most - least):5.2f} changes {made['changes']} (sound {made['sound']}) "
        f"checks {made['checks']} failures {made['failures']}",
        flush=True,
    )


if __name__ == "__main__":
    main()
