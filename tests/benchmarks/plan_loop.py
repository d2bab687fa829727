"""What following the decision saves: 2.5 years of decisions in the second world, against other policies.

    python -m tests.benchmarks.plan_loop run --out DIR --kind standard --vehicles 200 --fleets 4 --seed 7000
        [--policies ours,ladder,informed] [--beside 0.4] [--workers 2] [--step 28]
    python -m tests.benchmarks.plan_loop report --out DIR

Every policy meets the same luck. Every four weeks it looks at the records and orders; a unit that comes to a
stop is decided about while it stands there. Compared:
    run to failure   orders nothing
    limits           a change at the stop whose reading passes a limit of its type
    best age         a change at the first stop past the age that the cost review recommends on day one
    all-seeing       sees damage, growth and lot, not the pump's own level of failure; no checks needed
    ours             this project's decision on its own forecasts, refitted as `rank` would
    the ladder       the same, on ours' parameters: jobs now in the bay, at the next stop, or at extra stops
                     too; checks and stops free; g × 1.4; risks told too low or too high
    informed         the same decision, options and prices on the same readings, with the forecasts of one who
                     knows the world's laws and numbers (plan_informed.py), in the bay
Cost is cash less what the life left at the end is worth (truth.end_credit), both shown apart. A share of
saving is (run to failure − policy) / (run to failure − all-seeing), sums over fleets; standard errors leave
out a fleet at a time. These fleets are invented and no evidence for any real one.
"""

from __future__ import annotations

import argparse
import multiprocessing
import pickle
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.learning.fitting import Fit, fit_history
from analytics.money.decision import Work
from analytics.money.long_run import LongRun
from tests.benchmarks.plan_informed import InformedPlanners
from tests.benchmarks.plan_policies import (
    WAYS,
    Planners,
    by_age,
    known_history,
    limits,
    nothing,
    recommended_ages,
)
from tests.benchmarks.second_world import Prices, build, truth

BASE = ("run to failure", "limits", "best age", "all-seeing")
INFORMED = "informed: "
FREE = Prices(check_closed=0, check_open=0, extra_stop=0, part_returned=0)


# ---------------------------------------------------------------- running
def follow(run: Any, policy: Callable[[Any], list[dict[str, Any]]], step: int) -> dict[str, Any]:
    """Follow a policy to the world's end; return what it cost and what became of what it changed."""
    while run.today < run.world.end_day:
        until = min(run.today + step, run.world.end_day)
        run.step(until, policy(run), hold=True)
        while standing(run):
            run.step(until, policy(run), hold=True)
    return outcome(run)


def follow_together(runs: dict[str, Any], planners: Planners, step: int) -> dict[str, dict[str, Any]]:
    """As `follow`, of several ways at once."""
    first = next(iter(runs.values()))
    judges = {name: planners.judge(name, run) for name, run in runs.items()}
    while first.today < first.world.end_day:
        until = min(first.today + step, first.world.end_day)
        orders = planners(runs)
        for name, run in runs.items():
            run.step(until, orders[name], hold=planners.ways[name].now, judge=judges[name])
        while here := {name: run for name, run in runs.items() if standing(run)}:
            orders = planners(here, in_the_bay=True)
            for name, run in here.items():
                run.step(until, orders[name], hold=True, judge=judges[name])
    return {name: outcome(run) for name, run in runs.items()}


def standing(run: Any) -> bool:
    """Return whether any unit waits at its stop for a decision: its days go on when it has one."""
    return bool((~np.isnan(run.held)).any())


def outcome(run: Any) -> dict[str, Any]:
    """Return what a run's years ahead cost, apart by cash and credit, and what became of changed pumps."""
    start = run.world.history_days
    money = run.money()
    money = money[money["day"] > start]
    cash = money.groupby("what")["amount"].agg(["sum", "size"])
    lives = truth.all_lives(run)
    done = lives[(lives["end"] == "taken off") & (lives["removed_day"] > start)]
    names = {name: i for i, name in enumerate(run.fleet.names)}
    u = done["unit"].map(names).to_numpy(int)
    left = run.fleet.km.at(u, done["fail_day"].to_numpy(float)) - run.fleet.km.at(
        u, done["removed_day"].to_numpy(float)
    )
    checks = truth.checks(run)
    kept = checks[(checks["day"] > start) & ~checks["changed"].astype(bool)] if len(checks) else checks
    spared = (kept["remaining_km"] > 3 * run.fleet.pm_km(kept["unit"].map(names).to_numpy(int))
              if len(kept) else np.zeros(0))  # fmt: skip
    return {
        "cash": float(money["amount"].sum()),
        "credit": float(truth.end_credit(run)["credit"].sum()),
        "changes": len(done),
        "sound": int((left > 3 * run.fleet.pm_km(u)).sum()),
        "checks": int(cash["size"].get("check, tank closed", 0)),
        "kept": len(kept),
        "kept_rightly": int(np.sum(spared)),
        "failures": int(cash["size"].get("failure", 0)),
        "spent": cash["sum"].to_dict(),
    }


def one_fleet(args: tuple[argparse.Namespace, int]) -> None:
    """Run every policy asked for that is not saved yet, for one fleet."""
    import ingest  # noqa: F401  (one thread for linear algebra)

    options, seed = args
    path = options.out / f"{options.kind}.{options.vehicles}.{seed}.pickle"
    found: dict[str, Any] = pickle.loads(path.read_bytes()) if path.exists() else {}
    missing = [n for n in wanted(options) if n not in found or n in options.again]
    world = {
        free: build(
            seed=seed, kind=options.kind, vehicles=options.vehicles, beside=options.beside, prices=prices
        )
        for free, prices in ((False, Prices()), (True, FREE))
        if not free or any(WAYS[n].free for n in missing if n in WAYS)
    }
    began = time.process_time()

    def keep(name: str, made: dict[str, Any], among: int = 1) -> None:
        found[name] = made | {"seconds": (time.process_time() - began) / among}
        path.write_bytes(pickle.dumps(found))
        print(
            f"{path.name} {name}: cash {made['cash']:,.0f} credit {made['credit']:,.0f} "
            f"changes {made['changes']} (sound {made['sound']}) checks {made['checks']} "
            f"failures {made['failures']} {found[name]['seconds']:.0f} s",
            flush=True,
        )

    plain: dict[str, Callable[[Any], list[dict[str, Any]]]] = {
        "run to failure": nothing, "limits": limits, "all-seeing": truth.all_seeing_orders,
    }  # fmt: skip
    for name in (n for n in missing if n in BASE):
        run, began = world[False].start(), time.process_time()
        if name == "best age":
            policy = by_age(recommended_ages(known_history(run), world[False].prices))
        else:
            policy = plain[name]
        keep(name, follow(run, policy, options.step))
    for informed in (False, True):
        prefix = INFORMED if informed else ""
        names = [n for n in missing if n.startswith(INFORMED) == informed and n not in BASE]
        if not names:
            continue
        ways = {n: WAYS[n.removeprefix(prefix)] for n in names}
        runs = {n: world[way.free].start() for n, way in ways.items()}
        began = time.process_time()
        fit = day_one(options, seed, runs)
        planners = (
            InformedPlanners(Prices(), usual_g(fit), ways) if informed
            else Planners(Prices(), fit, ways, refits=not options.one_fit)
        )  # fmt: skip
        for name, made in follow_together(runs, planners, options.step).items():
            keep(name, made, len(runs))


def day_one(options: argparse.Namespace, seed: int, runs: dict[str, Any]) -> Fit:
    """Return the fit of day one, kept beside the results."""
    path = options.out / f"fit.{options.kind}.{options.vehicles}.{seed}.pickled"
    if not path.exists():
        path.write_bytes(pickle.dumps(fit_history(known_history(next(iter(runs.values()))))))
    made: Fit = pickle.loads(path.read_bytes())
    return made


def wanted(options: argparse.Namespace) -> list[str]:
    """Return the names of the policies asked for."""
    out = list(BASE)
    for word in options.policies.split(","):
        if word == "ladder":
            out += list(WAYS)
        elif word == "informed":
            out += [INFORMED + "now", INFORMED + "now checked"]
        elif word != "base":
            out.append(word)
    return list(dict.fromkeys(out))


def usual_g(fit: Fit) -> float:
    """Return what a distance costs by the fit of day one, over all types: both planners reckon with one g."""
    book, prices = LongRun.from_plain(fit.parameters.summary["long_run"]), Prices()
    comeback = Work.comeback_share * prices.comeback
    planned, failure = np.array([prices.planned + comeback]), np.array([prices.failure + comeback])
    return float(book.cost_per_km(pd.Series([""]), planned, failure)[0])


def run_fleets(options: argparse.Namespace) -> None:
    """Run the fleets asked for."""
    options.out.mkdir(parents=True, exist_ok=True)
    jobs = [(options, options.seed + 13 * k) for k in range(options.fleets)]
    if options.workers == 1:
        for job in jobs:
            one_fleet(job)
    else:
        with multiprocessing.get_context("spawn").Pool(options.workers) as pool:
            pool.map(one_fleet, jobs, chunksize=1)


# ---------------------------------------------------------------- reporting
def report(options: argparse.Namespace) -> None:
    """Print every kind and size that is saved."""
    groups: dict[str, list[dict[str, Any]]] = {}
    for path in sorted(options.out.glob("*.*.*.pickle")):
        seed = int(path.name.split(".")[2])
        if options.seeds_from <= seed < options.seeds_to:
            kind = path.name.rsplit(".", 2)[0]
            groups.setdefault(kind, []).append(pickle.loads(path.read_bytes()))
    for kind, fleets in groups.items():
        print(f"{kind}: {len(fleets)} fleets")
        names = [n for n in fleets[0] if all(n in f for f in fleets)]
        print(
            f"  {'':24s}{'cash':>10s}{'credit':>9s}{'cost/rtf':>9s}{'saving':>16s}{'changes':>9s}"
            f"{'sound':>7s}{'checks':>8s}{'failures':>9s}  against limits"
        )
        for name in names:
            print(f"  {name:24s}" + row(fleets, name))


def row(fleets: list[dict[str, Any]], name: str) -> str:
    """Return one policy's figures over fleets."""

    def cost(n: str) -> np.ndarray:
        return np.array([f[n]["cash"] - f[n]["credit"] for f in fleets])

    def mean(key: str) -> float:
        return float(np.mean([f[name][key] for f in fleets]))

    base, best, mine, plain = cost("run to failure"), cost("all-seeing"), cost(name), cost("limits")
    share, se = ratio_with_se(base - mine, base - best)
    whole = np.array([f["run to failure"]["cash"] for f in fleets])
    behind = plain - mine
    lower = (behind.mean() - 1.96 * behind.std(ddof=1) / np.sqrt(len(behind))) if len(behind) > 1 else np.nan
    return (
        f"{mean('cash'):10,.0f}{mean('credit'):9,.0f}{mine.sum() / base.sum():9.3f}{share:8.3f} ± {se:.3f}"
        f"{mean('changes'):9.1f}{mean('sound') / max(mean('changes'), 1e-9):7.2f}{mean('checks'):8.1f}"
        f"{mean('failures'):9.1f}  {100 * behind.mean() / whole.mean():+.1f} % of cash, "
        f"lower {100 * lower / whole.mean():+.1f} %"
    )


def ratio_with_se(top: np.ndarray, bottom: np.ndarray) -> tuple[float, float]:
    """Return Σ top / Σ bottom and its standard error from leaving out one fleet at a time."""
    n = len(top)
    value = float(top.sum() / bottom.sum())
    if n < 2:
        return value, np.nan
    without = (top.sum() - top) / (bottom.sum() - bottom)
    return value, float(np.sqrt((n - 1) / n * ((without - without.mean()) ** 2).sum()))


def main() -> None:
    """Run fleets or report on those run."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=["run", "report"])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--kind", default="standard")
    parser.add_argument("--vehicles", type=int, default=200)
    parser.add_argument("--fleets", type=int, default=4)
    parser.add_argument("--seed", type=int, default=7000)
    parser.add_argument("--beside", type=float, default=0.4)
    parser.add_argument("--policies", default="ours")
    parser.add_argument("--again", default="", help="policies to run anew although they are saved")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--step", type=int, default=28, help="days between decisions")
    parser.add_argument("--one-fit", action="store_true", help="no refits after day one")
    parser.add_argument("--seeds-from", type=int, default=0)
    parser.add_argument("--seeds-to", type=int, default=10**9)
    options = parser.parse_args()
    options.again = options.again.split(",") if options.again else []
    (run_fleets if options.what == "run" else report)(options)


if __name__ == "__main__":
    main()
