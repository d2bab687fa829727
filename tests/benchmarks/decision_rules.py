"""Rules for changing a pump at its stop, held against each other on the same forecasts and the same lives.

    python -m tests.benchmarks.decision_rules --vehicles 200 --fleets 4 --seed 7000 [--out DIR]

Every fleet of the second world runs to failure for 2.5 years; at each planned stop with a usable reading
stands what the fit of day one says then. A rule changes a pump at the first of its stops that it flags. With
g what a distance costs (here .75 of running to failure) and x the distance until the pump fails or the years
end,

    gain = (Cf, where it fails by then, else the old pump's worth against a new one's) − g·x − Cp,

summed over lives and divided by the all-seeing rule's sum. No stop, check or capture costs anything here, and
a new pump's own life enters through g alone: this says which rule gets most out of the same forecasts, in
seconds; what following it earns is measured by plan_loop.py.
"""

from __future__ import annotations

import argparse
import pickle
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.learning.fitting import fit_history
from analytics.learning.gaps import make_gaps
from analytics.money.decision import curve_at, keep_cost, lived_km
from analytics.money.interval_rule import break_even_risk
from analytics.money.long_run import LongRun
from analytics.past.normal import Z_80
from analytics.risk.forecast import GRID_KM
from analytics.wear_model.exposure import exposure
from analytics.wear_model.failure_risk import Known
from analytics.wear_model.model import risk_model, run_filters
from analytics.wear_model.unrecorded import allow_for_unrecorded
from tests.benchmarks.plan_plain import recommended_ages
from tests.benchmarks.plan_policies import known_history
from tests.benchmarks.second_world import Prices, build, truth
from tests.benchmarks.second_world.fleet import EPOCH
from tests.benchmarks.second_world.informed import Informed
from tests.benchmarks.second_world.run import Run
from tests.fleet_frames import history_from_tables

PARTICLES = 400
LIST_DAYS = 120
CP, CF = 650.0 + 30.0, 2400.0 + 30.0  # with comebacks (second_world.kinds.Prices)
OF_RUN_TO_FAILURE = 0.75
DAY_0 = int(EPOCH.astype("datetime64[D]").astype(int))


@dataclass(frozen=True)
class Stops:
    """n planned stops ahead with what was told there: survival as read and by age (n, grid), km on the pump,
    the cost review's age, g as the fit has it, whether a limit was passed, the risk over the interval and the
    survival (n, grid) to one who knows the world's laws; and the truth, and how many pumps failed in all."""

    read: np.ndarray
    by_age: np.ndarray
    run_km: np.ndarray
    best_age_km: np.ndarray
    model_g: np.ndarray
    over_limit: np.ndarray
    truth: pd.DataFrame
    g: float
    end_day: int
    informed: np.ndarray
    informed_survival: np.ndarray
    failures: int

    @property
    def ahead_km(self) -> np.ndarray:
        """Distance to the next stop, (n,)."""
        return self.truth["ahead_km"].to_numpy(float)


Rule = Callable[[Stops], np.ndarray]


def stops_of(kind: str, vehicles: int, seed: int) -> Stops:
    """Let a fleet run to failure and return its planned stops ahead."""
    world = build(seed=seed, kind=kind, vehicles=vehicles)
    run = world.start()
    past = known_history(run)
    fit, ages = fit_history(past), recommended_ages(past, Prices())
    run.step(world.end_day, [])
    tables, p = run.tables(), fit.parameters
    history = history_from_tables(tables, 1.0, str(EPOCH + run.today), clean_odometers=True)
    history = allow_for_unrecorded(history, p.exponents)
    gaps = make_gaps(history, run_filters(history, p, keep=True), p)
    visits = history.visits.assign(at=history.visits["x_km"].round(3)).drop_duplicates(["pump", "at"])
    visits = visits.set_index(["pump", "at"])
    mine = visits.reindex(pd.MultiIndex.from_arrays([gaps.pump, gaps.known.x_km.round(3)]))
    seen = truth.at_visits(run)
    lives = truth.all_lives(run)
    key = seen["unit"].astype(str) + "@" + seen["day"].astype(str)
    seen = seen.set_index(key).loc[lambda t: ~t.index.duplicated()]
    day = mine["day"].to_numpy(float) - DAY_0
    unit = history.pumps["unit"].to_numpy(object)[gaps.pump]
    name = np.array([f"{u}@{int(d)}" if d == d else "" for u, d in zip(unit, day, strict=True)], dtype=object)
    ahead = (gaps.order_number > 0) & (day > world.history_days) & (mine["reason"] == "pm").to_numpy()
    keep = np.flatnonzero(ahead & np.isin(name, seen.index.to_numpy(object)))
    gaps, seen = gaps.take(keep), seen.loc[name[keep]].reset_index(drop=True)
    pumps = history.pumps.iloc[gaps.pump]
    model, known = risk_model(p), gaps.known
    zero = np.zeros(len(keep))
    factor = exposure(p.groups, pumps, new=True)
    new = Known.of_new(p.wear, p.drag, p.onsets, known.type_code, factor)
    n = len(keep)
    g = LongRun.from_plain(p.summary["long_run"]).cost_per_km(
        pumps["pump_type"], np.full(n, CP), np.full(n, CF)
    )
    failed = ((lives["end"] == "failed") & (lives["removed_day"] > world.history_days)).sum()
    driven = run.fleet.km.at(np.arange(vehicles), np.full(vehicles, float(world.end_day)))
    driven = driven - run.fleet.km.at(np.arange(vehicles), np.full(vehicles, float(world.history_days)))
    return Stops(
        model.survival(known, zero, GRID_KM), model.survival(new, known.x_km, GRID_KM), known.x_km,
        np.array([ages[t] for t in pumps["pump_type"]]), g, _over_limit(tables, name[keep], pumps), seen,
        OF_RUN_TO_FAILURE * failed * CF / driven.sum(), world.end_day, *_informed(run, seen), int(failed),
    )  # fmt: skip


def _informed(run: Run, seen: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return what the world's own laws make of the same records at these stops: risk, survival (NaN where
    it told none)."""
    planner = Informed(run.world, PARTICLES, keep_curves_km=GRID_KM)
    planner.update(run)
    curves = np.concatenate(planner.told_curves)
    told = planner.told()
    told["row"] = np.arange(len(told))
    told = told.drop_duplicates(["u", "day"], keep="last").set_index(["u", "day"])
    told = told.reindex(pd.MultiIndex.from_frame(seen[["u", "day"]]))
    row, missing = told["row"].fillna(0).to_numpy(int), told["row"].isna().to_numpy()
    survival = np.where(missing[:, None], np.nan, curves[row])
    return told["risk"].fillna(0.0).to_numpy(float), survival


def _over_limit(tables: dict[str, pd.DataFrame], name: np.ndarray, pumps: pd.DataFrame) -> np.ndarray:
    visits = tables["visits"][tables["visits"]["reason"] == "pm"]
    day = (visits["visited_on"] - pd.Timestamp(EPOCH)).dt.days
    visits = visits.set_index(visits["unit"] + "@" + day.astype(str)).loc[lambda v: ~v.index.duplicated()]
    read = visits.reindex(name)
    spec = tables["pump_types"].set_index("pump_type").loc[pumps["pump_type"]]
    amps, rpm = read["mean_a"].to_numpy(float), read["rpm"].to_numpy(float)
    return np.asarray(
        (read["ripple_pct"].to_numpy(float) > spec["ripple_limit_pct"].to_numpy(float))
        | (amps > spec["current_high_a"].to_numpy(float))
        | (amps < spec["current_low_a"].to_numpy(float))
        | (rpm > spec["rpm_high"].to_numpy(float))
        | (rpm < spec["rpm_low"].to_numpy(float))
    )


def keeping(s: Stops, survival: np.ndarray, g: np.ndarray) -> np.ndarray:
    """Return what keeping costs as decision.py has it: the least over all later stops."""
    n = len(survival)
    return keep_cost(GRID_KM, survival, np.zeros(n), s.ahead_km, np.full(n, CP), np.full(n, CF), g)


def decided(hazard: float = 1.0, g_factor: float = 1.0) -> Rule:
    """The decision's own rule, with −ln S and g times a factor."""
    return lambda s: keeping(s, s.read**hazard, s.model_g * g_factor) > CP


def with_next_reading(spread: float, g_factor: float = 1.0, late: float = 60.0) -> Rule:
    """The same, with the next stop's reading taken into account: it moves ln(−ln S) by a normal of this
    spread, and the pump is changed after it where that is cheaper, at the price of a stop of its own."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(7)

    def rule(s: Stops) -> np.ndarray:
        d, n, g = s.ahead_km, len(s.read), s.model_g * g_factor
        change, fail, log_s = np.full(n, CP), np.full(n, CF), np.log(np.maximum(s.read, 1e-12))
        there = np.zeros(n)
        for node, weight in zip(nodes, weights / weights.sum(), strict=True):
            told = np.exp(log_s * np.exp(spread * node - spread**2 / 2))
            there += weight * np.minimum(keep_cost(GRID_KM, told, d, d, change, fail, g), CP + late)
        alive, lived = curve_at(s.read, GRID_KM, d), curve_at(lived_km(GRID_KM, s.read), GRID_KM, d)
        return (1 - alive) * CF + alive * there - g * lived > CP

    return rule


def one_interval(s: Stops) -> np.ndarray:
    """Return where waiting one interval costs more than a change now (interval_rule.py)."""
    risk = 1 - curve_at(s.read, GRID_KM, s.ahead_km)
    return risk > np.asarray(break_even_risk(s.ahead_km, CP, CF, s.model_g))


RULES: dict[str, Rule] = {
    "limits": lambda s: s.over_limit,
    "best age": lambda s: s.run_km > s.best_age_km,
    "decision, no readings": lambda s: keeping(s, s.by_age, s.model_g) > CP,
    "decision": decided(),
    "one interval": one_interval,
    "next reading, spread .3": with_next_reading(0.3),
    "next reading, spread .6": with_next_reading(0.6),
    "g × .85": decided(g_factor=0.85),
    "g × 1.2": decided(g_factor=1.2),
    "g × 1.4": decided(g_factor=1.4),
    "−ln S × 1.3": decided(hazard=1.3),
    "−ln S × 1/1.3": decided(hazard=1 / 1.3),
    "informed, one interval": lambda s: s.informed > np.asarray(break_even_risk(s.ahead_km, CP, CF, s.g)),
    "abnormal, the pump's own": lambda s: (s.truth["abnormal"] & ~s.truth["beside"]).to_numpy(bool),
}  # fmt: skip


def all_seeing(s: Stops) -> np.ndarray:
    """Return where the true risk over the interval is worth a change."""
    risk = s.truth["risk"].to_numpy(float)
    return np.asarray((CF - CP) * risk > s.g * s.ahead_km * (1 - risk / 2))


def gains(s: Stops, flagged: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the gain of each life changed and whether it would have run three more intervals."""
    first = s.truth[flagged].sort_values("day").drop_duplicates(["u", "pump"])
    left, day, ends = (first[name].to_numpy(float) for name in ("remaining_km", "day", "fail_day"))
    to_end = (s.end_day - day) * left / np.maximum(ends - day, 1.0)
    old = np.clip(CF - s.g * (left - to_end), 0, CP)
    gain = np.where(left <= to_end, CF - s.g * left, old - s.g * to_end) - CP
    return gain, left > 3 * first["ahead_km"].to_numpy(float)


def main() -> None:
    """Run the fleets and print every rule."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kind", default="standard")
    parser.add_argument("--vehicles", type=int, default=200)
    parser.add_argument("--fleets", type=int, default=4)
    parser.add_argument("--seed", type=int, default=7000)
    parser.add_argument("--out", type=Path, help="keep the fleets' stops here for the next run")
    options = parser.parse_args()
    fleets = []
    for k in range(options.fleets):
        seed = options.seed + 13 * k
        kept = options.out / f"stops.{options.kind}.{options.vehicles}.{seed}.pickle" if options.out else None
        if kept and kept.exists():
            fleets.append(pickle.loads(kept.read_bytes()))
            continue
        fleets.append(stops_of(options.kind, options.vehicles, seed))
        if kept:
            kept.write_bytes(pickle.dumps(fleets[-1]))
    best = np.array([gains(s, all_seeing(s))[0].sum() for s in fleets])
    whole = CF * sum(s.failures for s in fleets)
    print(f"{options.kind}, {options.vehicles} vehicles, {len(fleets)} fleets")
    for name, rule in RULES.items():
        made = [gains(s, rule(s)) for s in fleets]
        total = np.array([gain.sum() for gain, _ in made])
        share = total.sum() / best.sum()
        se = np.sqrt(len(fleets) * np.var(total - best * share)) / best.sum()
        changes, sound = sum(len(g) for g, _ in made), sum(s.sum() for _, s in made)
        print(
            f"  {name:26s}{share:7.3f} ± {se:.3f}  changes {changes / len(fleets):6.1f}  "
            f"sound {sound / max(changes, 1):.2f}  costs {1 - total.sum() / whole:.3f} of run to failure"
        )
    print("  " + _lists(fleets))
    for who in ("told", "informed"):
        print(f"  {who}: " + _bands(fleets, who == "informed"))
    odd, fails, told = (np.concatenate(part) for part in zip(*map(_odd_readings, fleets), strict=True))
    print(
        f"  readings that stand out by the pump's own doing: {odd.mean():.3f} of all; of them "
        f"{fails[odd].mean():.2f} fail before the next stop ({fails[~odd].mean():.3f} of the others); "
        f"told half of them less than {np.median(told[odd]):.3f}"
    )


def _lists(fleets: list[Stops]) -> str:
    """Return what lists of changes claimed to save against running those pumps to failure, what they saved,
    how often that lay in the 80 % range, and how wide that is beside the range of one who knows the world's
    laws, for the same pumps; a list is what a fleet was told to change in LIST_DAYS."""
    kept = []
    for s in fleets:
        row = np.flatnonzero(decided()(s) & ~np.isnan(s.informed_survival[:, 0]))
        first = s.truth.iloc[row].assign(row=row).sort_values("day").drop_duplicates(["u", "pump"])
        g, row = s.model_g[first["row"]], first["row"].to_numpy(int)
        list_ = {"list": (first["day"].to_numpy(int) - s.truth["day"].min()) // LIST_DAYS, "n": 1}
        list_["real"] = CF - g * first["remaining_km"].to_numpy(float) - CP
        list_["claimed"], list_["var"] = _claim(s.read[row], g)
        list_["informed"], list_["informed_var"] = _claim(s.informed_survival[row], g)
        kept.append(pd.DataFrame(list_).groupby("list").sum().query("n > 1"))
    lists = pd.concat(kept)
    words = [f"{len(lists)} lists"]
    for claim, var in (("claimed", "var"), ("informed", "informed_var")):
        held = (lists["real"] - lists[claim]).abs() <= Z_80 * np.sqrt(lists[var])
        words.append(
            f"{claim}: saved {lists['real'].sum() / lists[claim].sum():.2f} of it, {held.mean():.2f} inside "
            f"the 80 % range, median width {2 * Z_80 * np.sqrt(lists[var].median()):,.0f}"
        )
    apart = np.sqrt(lists["var"] / lists["informed_var"])
    return "; ".join(words) + f"; a list's own width {np.median(apart):.2f} of the informed one's"


def _claim(survival: np.ndarray, g: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return what changing these pumps saves against failure, by survival (n, grid), and its variance."""
    mean, square = (lived_km(grid, survival)[:, -1] for grid in (GRID_KM, GRID_KM**2))
    return CF - g * mean - CP, g**2 * np.maximum(square - mean**2, 0.0)


def _bands(fleets: list[Stops], informed: bool) -> str:
    """Return how many of the risks told in each band were seen to fail before the next stop."""
    told = np.concatenate([s.informed if informed else _odd_readings(s)[2] for s in fleets])
    fails = np.concatenate([s.truth["fails"].to_numpy(bool) for s in fleets])
    words = []
    for low, high in ((0.0, 0.05), (0.05, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 1.01)):
        rows = (told >= low) & (told < high)
        words.append(
            f"{100 * low:.0f}-{min(100 * high, 100):.0f} % n {rows.sum()} seen {fails[rows].mean():.3f}"
        )
    return ", ".join(words)


def _odd_readings(s: Stops) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    odd = (s.truth["abnormal"] & ~s.truth["beside"]).to_numpy(bool)
    told = 1 - curve_at(s.read, GRID_KM, s.ahead_km)
    return odd, s.truth["fails"].to_numpy(bool), told


if __name__ == "__main__":
    main()
