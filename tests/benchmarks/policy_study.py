"""What the cost page claims of policies kept up, held against the truth of simulated fleets.

    uv run python -m tests.benchmarks.policy_study --vehicles 200 --fleets 6

Each fleet is fitted once. Claimed: cost and saving per 10,000 km with their 80 % ranges, as the review has
them. Realised: the same rule, g and ages on new pumps of the fleet's true kind, read at stops as irregular as
a shop's (saving_study.fresh_stops), captures paid. Beside it the age of least cost against the true one, by
simulated lives and by the Weibull closed form, and what missing it costs. Types are weighed alike on both
sides.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cost_review.age_replacement import best_age
from analytics.cost_review.best_ages import DRAWS, age_range
from analytics.cost_review.given_up import given_up
from analytics.cost_review.groups import Group, Simulation, lives_of, simulated_life_km, total
from analytics.cost_review.policy_review import policy_table, saving_range, whole_spread
from analytics.cost_review.simulated_age import best_simulated_age, cost_at_ages
from analytics.cost_review.type_lives import TypeLives, completed, fit_types
from analytics.learning.fitting import Fit, fit_history
from analytics.money.cost_book import Prices
from analytics.money.interval_rule import break_even_risk
from analytics.money.long_run import LongRun
from analytics.money.policies import AGE, RISK, RUN
from demo_fleet import fleet as simulator
from demo_fleet.dirt import Dirt
from demo_fleet.fleet_pumps import FleetSpec, draw_lives
from tests.benchmarks.saving_study import STOP_KM, fresh_stops, risks_at_stops
from tests.fleet_frames import history_at

PRICES = Prices(650.0, 2400.0, 30.0, 0.0, 0.0, 95.0, ())
WEIGHTS = (0.4, 0.3, 0.2, 0.1)
PER_KM = 1e4
TRUE_LIVES = 6000


def groups_of(fit: Fit, lives: int) -> list[Group]:
    """Return the simulator's types as the review simulates them from a fit."""
    p, long_run = fit.parameters, LongRun.from_plain(fit.parameters.summary["long_run"])
    made = []
    for number, (name, weight) in enumerate(zip(simulator.TYPES, WEIGHTS, strict=True)):
        code = int(p.type_codes(pd.Series([name]))[0])
        simulation = Simulation(p, p.to_json(), code, 15.0, float(np.log(1.3)), number)
        made.append(
            Group(name, weight, lives_of(((simulation, STOP_KM),), lives)[0], PRICES, long_run, STOP_KM,
                  simulated_life_km(p, name))
        )  # fmt: skip
    return made


def claimed(groups: list[Group], types: TypeLives) -> dict[str, float]:
    """Return cost and saving of each policy with 80 % ranges, money per 10,000 km."""
    events = [g.events() for g in groups]
    table, record = policy_table(groups, events, types, PER_KM)
    rows = table.set_index("policy")
    spread = whole_spread(groups, types, record)
    against = saving_range(groups, events, AGE, RISK, spread)
    out = {"record": record.recorded, "record_low": record.low, "record_high": record.high}
    for name, policy in (("run", RUN), ("age", AGE), ("risk", RISK)):
        out |= {name + end: float(rows.loc[policy, "cost" + end]) for end in ("", "_low", "_high")}
    out |= {"saving" + end: float(rows.loc[RISK, "saving" + end]) for end in ("", "_low", "_high")}
    over_age = total(groups, events, AGE) - total(groups, events, RISK)
    return out | {
        "over_age": over_age * PER_KM, "over_age_low": against[0] * PER_KM,
        "over_age_high": against[1] * PER_KM, "failures": float(rows.loc[RISK, "breakdowns"]),
        "changes": float(rows.loc[RISK, "planned"]),
    }  # fmt: skip


def realised(p: simulator.FleetParameters, fit: Fit, groups: list[Group], lives: int, seed: int) -> dict:
    """Return what the same policies cost on the fleet's true pumps, money per 10,000 km, with the error that
    the number of lives leaves on the saving."""
    true, stops = fresh_stops(p, lives, seed)
    risk, new = risks_at_stops(p, true, stops, fit, Dirt.none(), seed + 1)
    out = dict.fromkeys(("run", "age", "risk", "failures", "changes", "told", "came"), 0.0)
    var = 0.0
    for code, group in enumerate(groups):
        mine = np.flatnonzero(true.type_code == code)
        least = float(break_even_risk(STOP_KM, PRICES.planned, PRICES.failure, group.cost_per_km()))
        worth = (risk >= least) & (risk > new) & np.isin(stops.row, mine)
        first = pd.Series(stops.x_km[worth]).groupby(stops.row[worth]).min()
        fails, end = true.fails_at_km[mine], true.fails_at_km[mine].copy()
        at = np.searchsorted(mine, first.index.to_numpy())
        end[at] = first.to_numpy()
        changed = np.zeros(len(mine), bool)
        changed[at] = True
        captures = pd.Series(stops.x_km <= end[np.searchsorted(mine, stops.row).clip(max=len(mine) - 1)])
        captures = captures[np.isin(stops.row, mine)].groupby(stops.row[np.isin(stops.row, mine)]).sum()
        read = captures.reindex(mine, fill_value=0).to_numpy(float)
        paid = np.where(changed, PRICES.planned, PRICES.failure) + PRICES.capture * read
        age = group.best_age_km()
        w = group.weight * PER_KM
        run, rule = PRICES.failure / fails.mean(), paid.mean() / end.mean()
        out["run"] += w * run
        out["risk"] += w * rule
        out["age"] += w * float(
            cost_at_ages(fails, np.array([min(age, fails.max())]), PRICES.planned, PRICES.failure)[0]
        )
        out["failures"] += w * (~changed).sum() / end.sum()
        out["changes"] += w * changed.sum() / end.sum()
        # Of the same lives under both: the ratio's linear error, life by life.
        apart = (PRICES.failure - run * fails) / fails.mean() - (paid - rule * end) / end.mean()
        var += (w * apart.std() / np.sqrt(len(mine))) ** 2
        stop = np.flatnonzero(
            worth & (stops.x_km == end[np.searchsorted(mine, stops.row).clip(max=len(mine) - 1)])
        )
        out["told"] += float(risk[stop].sum())
        out["came"] += float((true.fails_at_km[stops.row[stop]] <= stops.x_km[stop] + STOP_KM).sum())
    return {f"true_{name}": value for name, value in out.items()} | {"saving_se": float(np.sqrt(var))}


def ages(p: simulator.FleetParameters, groups: list[Group], types: TypeLives, seed: int) -> list[dict]:
    """Return for each type the age of least cost: true, by simulated lives, in closed form; and its range."""
    rng, rows = np.random.default_rng(seed), []
    cp, cf = PRICES.planned, PRICES.failure
    for code, group in enumerate(groups):
        fails = draw_lives(p, np.full(TRUE_LIVES, code), rng).fails_at_km
        life = types.of(group.pump_type)
        age, closed = group.best_age_km(), best_age(life.life, cp, cf).age
        drawn = np.array([best_age(d, cp, cf).age for d in life.draws(DRAWS, np.random.default_rng(20))])
        low, high, _ = age_range(age, life, cp, cf, drawn)
        true = best_simulated_age(fails, cp, cf)

        def costs(at: float, fails: np.ndarray = fails) -> float:
            return float(cost_at_ages(fails, np.array([min(at, fails.max())]), cp, cf)[0])

        rows.append(
            {"pump_type": group.pump_type, "failures": life.failures, "age_true": true, "age": age,
             "age_low": low, "age_high": high, "age_closed": closed, "covered": low <= true <= high,
             "loss": costs(age) / costs(true) - 1, "loss_closed": costs(closed) / costs(true) - 1}
        )  # fmt: skip
    return rows


def main() -> None:
    """Print and keep a row per fleet, and one per fleet and type for the ages."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--vehicles", type=int, default=200)
    parser.add_argument("--fleets", type=int, default=4)
    parser.add_argument("--seed", type=int, default=60)
    parser.add_argument("--lives", type=int, default=800)
    parser.add_argument("--out", type=Path, default=Path("policy_study.csv"))
    args = parser.parse_args()
    rows, old = [], []
    for k in range(args.fleets):
        spec = FleetSpec(vehicles=args.vehicles, seed=args.seed + 17 * k)
        fleet = simulator.simulate_fleet(spec)
        history = history_at(fleet)
        fit = fit_history(history)
        types = fit_types(completed(history.pumps, given_up(history, fit)))
        groups = groups_of(fit, args.lives)
        told = claimed(groups, types)
        rows.append(
            {"seed": spec.seed} | told | realised(fleet.parameters, fit, groups, args.lives, spec.seed)
        )
        old += [{"seed": spec.seed} | row for row in ages(fleet.parameters, groups, types, spec.seed)]
        pd.DataFrame(rows).to_csv(args.out, index=False)
        pd.DataFrame(old).to_csv(args.out.with_suffix(".ages.csv"), index=False)
        print(
            pd.DataFrame(rows[-1:]).round(2).T.to_string(),
            pd.DataFrame(old[-4:]).round(3).to_string(),
            sep="\n",
            flush=True,
        )


if __name__ == "__main__":
    main()
