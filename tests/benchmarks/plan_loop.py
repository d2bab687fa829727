"""What following the decision saves: 2.5 years of decisions in the second world, against other policies.

    python -m tests.benchmarks.plan_loop run --out DIR --kind standard --vehicles 200 --fleets 4 --seed 7000
        [--policies ours,ladder,informed] [--beside 0.4] [--workers 2]
    python -m tests.benchmarks.plan_loop report --out DIR

Every policy meets the same luck. Every four weeks it looks at the records and orders; a unit at a stop
may be worked on there. Compared:
    run to failure   orders nothing
    limits           a change at the stop whose reading passes a limit of its type
    best age         a change at the first stop past the age that the cost review recommends on day one
    all-seeing       sees damage, growth and lot, not the pump's own level of failure; no checks needed
    ours             this project's decision on its own forecasts, refitted as `rank` would; the ladder
    beside it:
                     jobs now in the bay, at the next stop, or at extra stops too; checks and stops free; g ×
                     1.4
    informed         the same decision on the same readings, with parameters learned from a fleet of 4,000 of
    the
                     same kind (the model's own form at the best numbers there are for it, not the world's
                     laws)
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
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.cost_review.age_replacement import best_age
from analytics.cost_review.type_lives import fit_types
from analytics.learning.fitting import Fit, fit_history
from analytics.money.cost_book import CostBook, Entry
from analytics.money.cost_rule import Curves, weigh, with_decision, with_prices
from analytics.money.decision import JOBS
from analytics.money.long_run import LongRun
from analytics.past.history import History
from analytics.risk.deciding import ahead_of, with_next_stop
from analytics.risk.forecast import GRID_KM, State, score, survival_on_grid
from analytics.wear_model.model import risk_model
from ingest.ledger.settings import DEFAULTS
from tests.benchmarks.second_world import Prices, build, truth
from tests.benchmarks.second_world.fleet import EPOCH
from tests.fleet_frames import history_from_tables

STEP = 28
NOTICE = 7
REFIT_DAYS = 180


@dataclass(frozen=True)
class Way:
    """One way to decide: which times are open, whether checks and stops are free, factor on g."""

    now: bool = True
    extra: bool = True
    next_stop: bool = True
    free: bool = False
    g_factor: float = 1.0
    settings: dict[str, Any] | None = None


WAYS = {
    "ours": Way(),
    "plan only": Way(now=False),
    "now": Way(extra=False, next_stop=False),
    "next": Way(now=False, extra=False),
    "now, free": Way(extra=False, next_stop=False, free=True),
    "next, free": Way(now=False, extra=False, free=True),
    "free": Way(free=True),
    "g × 1.4": Way(g_factor=1.4),
    "plan only, g × 1.4": Way(now=False, g_factor=1.4),
}


@dataclass
class Seen:
    """What is known on a day: the scored past, its vehicles, and the rows decided on."""

    state: State
    vehicles: pd.DataFrame
    pumps: pd.DataFrame


class Planner:
    """A policy that decides with the product's own functions, on records as they come in."""

    def __init__(self, world: Any, fit: Fit, way: Way, refits: bool):
        self.world, self.fit, self.way, self.refits = world, fit, way, refits
        p = world.prices
        self.book = price_book(p)
        self.settings = DEFAULTS | {"distance_unit": "km", "risk_ceiling": {}} | (way.settings or {})
        self.claims: list[dict[str, float]] = []

    def __call__(self, run: Any) -> list[dict[str, Any]]:
        """Return the orders of a day."""
        as_of = day_of(run.today)
        history = known_history(run)
        if self.refits and refit_due(self.fit, history):
            self.fit = fit_history(history)
        state = score(history, self.fit)
        pumps = ranked(state, run, as_of)
        if not len(pumps):
            return []
        vehicles = vehicles_of(run)
        g = LongRun.from_plain(self.fit.parameters.summary["long_run"])
        g = replace(g, per_km=g.per_km * self.way.g_factor)
        pumps = with_prices(pumps, self.book, g, vehicles)
        pumps = with_next_stop(pumps, vehicles, self.settings, as_of)
        ahead = ahead_of(pumps, self.settings, as_of, as_of)
        held = held_days(run)
        here = pumps["unit"].map(held).notna().to_numpy()
        ahead = replace(ahead, in_bay=here & self.way.now, may_extra=np.full(len(pumps), self.way.extra))
        made = survival_on_grid(state, GRID_KM)
        curves = Curves(made.grid_km, made.survival, made.by_age_survival, made.new_pump_survival)
        weighed = weigh(pumps.assign(finished=False, failed=False), curves, ahead, self.settings)
        pumps = with_decision(pumps, weighed)
        orders = []
        for row in pumps[pumps["job"] != JOBS[0]].to_dict("records"):
            if row["at"] == "now":
                day, own = int(held[row["unit"]]), False
            elif row["at"] == "extra stop":
                day, own = working(run.today + NOTICE), True
            elif self.way.next_stop:
                day, own = run.today + 1, False
            else:
                continue
            orders.append({"unit": row["unit"], "day": day, "job": row["job"], "own_stop": own})
        return orders


def price_book(p: Prices) -> CostBook:
    """Return a cost book in which every price is the world's."""
    stamp = datetime(2020, 1, 1)
    amounts = {
        "planned_replacement": p.planned, "failure_replacement": p.failure,
        "check_tank_closed": p.check_closed, "check_tank_open": p.check_open, "extra_stop": p.extra_stop,
        "part_returned": p.part_returned,
        "comeback": p.comeback, "other_breakdown": p.other_breakdown,
    }  # fmt: skip
    entries = [Entry(n, a, None, None, "world", True, date(1900, 1, 1), stamp) for n, a in amounts.items()]
    return CostBook(date(2020, 1, 1), "USD", tuple(entries), {})


def day_of(day: int) -> date:
    """Return a day of the world as a date."""
    return (EPOCH + np.timedelta64(day, "D")).astype("datetime64[D]").astype(object)


def working(day: int) -> int:
    """Return the same day, or the Monday after a weekend."""
    return day + (0, 0, 0, 0, 0, 2, 1)[day % 7]


def known_history(run: Any) -> History:
    """Return the past as recorded today."""
    return history_from_tables(run.tables(), 1.0, str(EPOCH + run.today), clean_odometers=True)


def refit_due(fit: Fit, history: History) -> bool:
    """Return whether `rank` would learn the fleet anew (risk.forecast.fit_for)."""
    failures = int(history.pumps["failed"].sum())
    return (
        len(history.visits) > 1.1 * fit.visits + 30
        or failures > 1.1 * fit.failures + 2
        or (history.as_of - fit.data_until).days > REFIT_DAYS
    )


def held_days(run: Any) -> dict[str, float]:
    """Return by unit the day of the stop at which it stands."""
    rows = np.flatnonzero(~np.isnan(run.held))
    return {run.fleet.names[i]: float(run.held[i]) for i in rows}


def ranked(state: State, run: Any, as_of: date) -> pd.DataFrame:
    """Return the columns of `rank` that the decision rests on, one row a pump in service."""
    p, pumps = state.fit.parameters, state.history.pumps.iloc[state.rows].reset_index(drop=True)
    model = risk_model(p)
    interval = pumps["pm_interval_km"].to_numpy(float)
    last = state.history.visits.groupby("pump")["day"].max().reindex(state.rows).to_numpy(float)
    return pd.DataFrame(
        {
            "unit": pumps["unit"], "pump_type": pumps["pump_type"], "depot": pumps["depot"],
            "class": pumps["class"], "pump_id": pumps["pump_id"],
            "risk": model.risk(state.known, state.d_0, interval)[0],
            "risk_if_new": model.risk(state.new_pumps, np.zeros(len(pumps)), interval)[0],
            "km_per_day": pumps["unit_km_per_day"], "pump_km_per_day": pumps["km_per_day"],
            "last_visited_on": pd.to_datetime(last, unit="D"),
        }
    )  # fmt: skip


def vehicles_of(run: Any) -> pd.DataFrame:
    """Return the vehicles as plan_vehicles.sql gives them, with the last planned stop on record."""
    tables = run.tables()
    cars, visits = tables["vehicles"], tables["visits"]
    last = visits[visits["reason"] == "pm"].groupby("unit")["visited_on"].max()
    return cars.assign(
        last_pm_on=cars["unit"].map(last), pm_interval_km=cars["pm_interval"], pm_interval_hours=np.nan,
        hours_per_day=np.nan, vin=None, make=None, model=None,
    )  # fmt: skip


# ---------------------------------------------------------------- the others
def nothing(run: Any) -> list[dict[str, Any]]:
    """Run to failure."""
    return []


def limits(run: Any) -> list[dict[str, Any]]:
    """Change at the stop whose reading passes a limit of its type."""
    held = held_days(run)
    tables = run.tables()
    visits = tables["visits"][tables["visits"]["unit"].isin(held)]
    last = visits[visits["reason"].isin(["pm", "complaint"])].groupby("unit").tail(1)
    last = last[last["visited_on"] == (EPOCH + last["unit"].map(held).to_numpy(int)).astype("datetime64[s]")]
    pumps = tables["pumps"].drop_duplicates("unit", keep="last").set_index("unit")["pump_type"]
    spec = tables["pump_types"].set_index("pump_type").loc[last["unit"].map(pumps)].reset_index(drop=True)
    last = last.reset_index(drop=True)
    over = (
        (last["ripple_pct"] > spec["ripple_limit_pct"])
        | (last["mean_a"] > spec["current_high_a"]) | (last["mean_a"] < spec["current_low_a"])
        | (last["rpm"] < spec["rpm_low"]) | (last["rpm"] > spec["rpm_high"])
    )  # fmt: skip
    return [{"unit": u, "day": int(held[u]), "job": "change", "own_stop": False} for u in last["unit"][over]]


def by_age(ages: dict[str, float]) -> Callable[[Any], list[dict[str, Any]]]:
    """Change at the first stop past the type's age; the true distance on the pump is known to it."""

    def orders(run: Any) -> list[dict[str, Any]]:
        held = np.flatnonzero(~np.isnan(run.held))
        own = run.lives.take(held)
        run_km = run.fleet.km.at(held, run.held[held]) - own.start_km
        names = pump_type_names(run)
        age = np.array([ages.get(names[d], np.inf) for d in own.design])
        return [
            {"unit": run.fleet.names[u], "day": int(run.held[u]), "job": "change", "own_stop": False}
            for u in held[run_km > age]
        ]

    return orders


def pump_type_names(run: Any) -> list[str]:
    """Return the names of the designs."""
    return list(run.tables()["pump_types"]["pump_type"])


def recommended_ages(history: History, prices: Prices) -> dict[str, float]:
    """Return the age that the cost review recommends for each type on that day, km."""
    lives = fit_types(history.pumps)
    types = history.pumps["pump_type"].unique()
    return {str(t): float(best_age(lives.of(t).life, prices.planned, prices.failure).age) for t in types}


# ---------------------------------------------------------------- running
def follow(run: Any, policy: Callable[[Any], list[dict[str, Any]]]) -> dict[str, Any]:
    """Follow a policy to the world's end; return what it cost and what became of what it changed."""
    world = run.world
    start = world.history_days
    step = run.step(run.today, [], hold=True)
    changed: list[dict[str, Any]] = []
    while run.today < world.end_day:
        orders = policy(run)
        step = run.step(min(run.today + STEP, world.end_day), orders, hold=True)
        happened = step.events
        changed += happened[happened["what"].isin(["change", "check"])].to_dict("records")
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
    return {
        "cash": float(money["amount"].sum()),
        "credit": float(truth.end_credit(run)["credit"].sum()),
        "changes": len(done),
        "sound": int((left > 3 * run.fleet.pm_km(u)).sum()),
        "checks": int(cash["size"].get("check, tank closed", 0)),
        "failures": int(cash["size"].get("failure", 0)),
        "spent": cash["sum"].to_dict(),
    }


def one_fleet(args: tuple[argparse.Namespace, int]) -> None:
    """Run every policy asked for that is not saved yet, for one fleet."""
    import ingest  # noqa: F401  (one thread for linear algebra)

    options, seed = args
    path = options.out / f"{options.kind}.{options.vehicles}.{seed}.pickle"
    found: dict[str, Any] = pickle.loads(path.read_bytes()) if path.exists() else {}
    worlds: dict[bool, Any] = {}

    def start(free: bool) -> Any:
        if free not in worlds:
            prices = Prices(check_closed=0, check_open=0, extra_stop=0, part_returned=0) if free else Prices()
            worlds[free] = build(
                seed=seed, kind=options.kind, vehicles=options.vehicles, beside=options.beside, prices=prices
            )
        return worlds[free].start()

    fit: Fit | None = None
    for name in wanted(options):
        if name in found and name not in options.again:
            continue
        began = time.process_time()
        way = WAYS.get(name.removeprefix("informed: "))
        run = start(way is not None and way.free)
        if name == "run to failure":
            policy: Callable = nothing
        elif name == "limits":
            policy = limits
        elif name == "best age":
            policy = by_age(recommended_ages(known_history(run), run.world.prices))
        elif name == "all-seeing":
            policy = truth.all_seeing_orders
        elif name.startswith("informed: "):
            assert way is not None
            policy = Planner(run.world, pickle.loads(informed_path(options).read_bytes()), way, refits=False)
        else:
            assert way is not None
            if fit is None:
                fit = fit_history(known_history(run))
            policy = Planner(run.world, fit, way, refits=True)
        found[name] = follow(run, policy) | {"seconds": time.process_time() - began}
        path.write_bytes(pickle.dumps(found))
        f = found[name]
        print(
            f"{path.name} {name}: cash {f['cash']:,.0f} credit {f['credit']:,.0f} changes {f['changes']} "
            f"(sound {f['sound']}) checks {f['checks']} failures {f['failures']} {f['seconds']:.0f} s",
            flush=True,
        )


BASE = ("run to failure", "limits", "best age", "all-seeing")


def wanted(options: argparse.Namespace) -> list[str]:
    """Return the names of the policies asked for."""
    out = list(BASE)
    for word in options.policies.split(","):
        if word == "ladder":
            out += list(WAYS)
        elif word == "informed":
            out.append("informed: ours")
        elif word != "base":
            out.append(word)
    return list(dict.fromkeys(out))


def informed_path(options: argparse.Namespace) -> Path:
    """Return where the informed planner's parameters are kept."""
    return options.out / f"informed.{options.kind}.pickle"


def learn_informed(options: argparse.Namespace) -> None:
    """Learn the parameters of a kind from a fleet of 4,000, once."""
    path = informed_path(options)
    if not path.exists():
        run = build(seed=99, kind=options.kind, vehicles=4000, beside=options.beside).start()
        path.write_bytes(pickle.dumps(fit_history(known_history(run))))


def run_fleets(options: argparse.Namespace) -> None:
    """Run the fleets asked for."""
    options.out.mkdir(parents=True, exist_ok=True)
    if any(name.startswith("informed") for name in wanted(options)):
        learn_informed(options)
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
    parser.add_argument("--seeds-from", type=int, default=0)
    parser.add_argument("--seeds-to", type=int, default=10**9)
    options = parser.parse_args()
    options.again = options.again.split(",") if options.again else []
    (run_fleets if options.what == "run" else report)(options)


if __name__ == "__main__":
    main()
