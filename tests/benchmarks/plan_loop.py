"""What following the decision saves: 2.5 years of decisions in the second world, against other policies.

    python -m tests.benchmarks.plan_loop run --out DIR --kind standard --vehicles 200 --fleets 4 --seed 7000
        [--policies ours,ladder,informed] [--beside 0.4] [--together 4] [--step 28]
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
import pickle
import queue
import threading
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
from tests.benchmarks.plan_plain import by_age, limits, nothing, recommended_ages
from tests.benchmarks.plan_policies import OF_FLEET, WAYS, Planners, known_history
from tests.benchmarks.second_world import Prices, build, truth

BASE = ("run to failure", "limits", "best age", "all-seeing")
INFORMED = "informed: "
STEP_DAYS = 28
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


def follow_together(runs: dict[str, Any], planners: Any, step: int) -> dict[str, dict[str, Any]]:
    """As `follow`, of several ways and fleets at once, so that they are scored at once; `planners`:
    plan_policies.Planners, or one like it."""
    first = next(iter(runs.values()))
    while first.today < first.world.end_day:
        until = min(first.today + step, first.world.end_day)
        side_by_side_steps(runs, planners(runs), until, planners)
        while here := {name: run for name, run in runs.items() if standing(run)}:
            side_by_side_steps(here, planners(here, in_the_bay=True), until, planners)
    return {name: outcome(run) for name, run in runs.items()}


def side_by_side_steps(runs: dict[str, Any], orders: dict[str, Any], until: int, planners: Any) -> None:
    """Step every run in a thread of its own; what their checks ask is answered when all have come to one or
    to the end of their step."""
    asked: queue.SimpleQueue[tuple[str, Any]] = queue.SimpleQueue()
    answers: dict[str, queue.SimpleQueue[Any]] = {name: queue.SimpleQueue() for name in runs}

    def go(name: str) -> None:
        def judge(seen: pd.DataFrame) -> np.ndarray:
            asked.put((name, seen))
            answer: np.ndarray = answers[name].get()
            return answer

        try:
            runs[name].step(until, orders[name], hold=planners.holds(name), judge=judge)
            asked.put((name, None))
        except BaseException as error:
            asked.put((name, error))

    under_way = set(runs)
    for name in runs:
        threading.Thread(target=go, args=(name,), daemon=True).start()
    while under_way:
        told = dict(asked.get() for _ in range(len(under_way)))
        for error in (e for e in told.values() if isinstance(e, BaseException)):
            raise error
        seen = {name: frame for name, frame in told.items() if frame is not None}
        under_way = set(seen)
        if seen:
            for name, goes in planners.goes({name: runs[name] for name in seen}, seen).items():
                answers[name].put(goes)


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


def some_fleets(options: argparse.Namespace, seeds: list[int]) -> None:
    """Run every policy asked for that is not saved yet, for these fleets side by side."""
    import ingest  # noqa: F401  (one thread for linear algebra)

    paths = {seed: options.out / f"{options.kind}.{options.vehicles}.{seed}.pickle" for seed in seeds}
    found: dict[int, dict[str, Any]] = {
        seed: pickle.loads(path.read_bytes()) if path.exists() else {} for seed, path in paths.items()
    }

    def world(seed: int, free: bool) -> Any:
        prices = FREE if free else Prices()
        return build(
            seed=seed, kind=options.kind, vehicles=options.vehicles, beside=options.beside, prices=prices
        )

    def keep(seed: int, name: str, made: dict[str, Any], seconds: float) -> None:
        found[seed][name] = made | {"seconds": seconds}
        paths[seed].write_bytes(pickle.dumps(found[seed]))
        print(
            f"{paths[seed].name} {name}: cash {made['cash']:,.0f} credit {made['credit']:,.0f} "
            f"changes {made['changes']} (sound {made['sound']}) checks {made['checks']} "
            f"failures {made['failures']} {seconds:.0f} s",
            flush=True,
        )

    names = wanted(options)
    plain: dict[str, Callable[[Any], list[dict[str, Any]]]] = {
        "run to failure": nothing, "limits": limits, "all-seeing": truth.all_seeing_orders,
    }  # fmt: skip
    missing = {(seed, n) for seed in seeds for n in names if n not in found[seed] or n in options.again}
    for seed, name in [(seed, n) for seed in seeds for n in BASE if (seed, n) in missing]:
        run, began = world(seed, False).start(), time.process_time()
        if name == "best age":
            policy = by_age(recommended_ages(known_history(run), run.world.prices))
        else:
            policy = plain[name]
        # The all-seeing look at the damage of the day on which they are asked.
        days = min(options.step, STEP_DAYS) if name == "all-seeing" else options.step
        keep(seed, name, follow(run, policy, days), time.process_time() - began)
    for informed in (False, True):
        prefix = INFORMED if informed else ""
        asked = [
            (seed, n) for seed in seeds for n in names
            if n not in BASE and n.startswith(INFORMED) == informed and (seed, n) in missing
        ]  # fmt: skip
        if not asked:
            continue
        ways = {n: WAYS[n.removeprefix(prefix)] for _, n in asked}
        runs = {f"{seed}{OF_FLEET}{n}": world(seed, ways[n].free).start() for seed, n in asked}
        began = time.process_time()
        fits = {
            str(seed): day_one(options, seed, runs[f"{seed}{OF_FLEET}{n}"]) for seed, n in asked
        }  # the same by every way
        planners = (
            InformedPlanners(Prices(), {fleet: usual_g(fit) for fleet, fit in fits.items()}, ways)
            if informed
            else Planners(Prices(), fits, ways, refits=not options.one_fit)
        )
        made = follow_together(runs, planners, options.step)
        seconds = (time.process_time() - began) / len(runs)
        for key, result in made.items():
            seed, name = key.split(OF_FLEET, 1)
            keep(int(seed), name, result, seconds)


def day_one(options: argparse.Namespace, seed: int, run: Any) -> Fit:
    """Return the fit of day one, kept beside the results."""
    path = options.out / f"fit.{options.kind}.{options.vehicles}.{seed}.pickled"
    if not path.exists():
        path.write_bytes(pickle.dumps(fit_history(known_history(run))))
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
    seeds = [options.seed + 13 * k for k in range(options.fleets)]
    for k in range(0, len(seeds), options.together):
        some_fleets(options, seeds[k : k + options.together])


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
    parser.add_argument("--together", type=int, default=4, help="fleets followed side by side")
    parser.add_argument(
        "--step", type=int, default=STEP_DAYS, help="days between lists; longer serves who decides at stops"
    )
    parser.add_argument("--one-fit", action="store_true", help="no refits after day one")
    parser.add_argument("--seeds-from", type=int, default=0)
    parser.add_argument("--seeds-to", type=int, default=10**9)
    options = parser.parse_args()
    options.again = options.again.split(",") if options.again else []
    (run_fleets if options.what == "run" else report)(options)


if __name__ == "__main__":
    main()
