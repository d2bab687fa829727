"""Forecasts judged in the second world: what was told at planned stops, beside what came of the pumps.

    python -m tests.benchmarks.second_world_forecasts run --out DIR --vehicles 200 --fleets 6 --seed 4000
        [--kind standard] [--beside 0.4] [--worlds DIR]
    python -m tests.benchmarks.second_world_forecasts report --out DIR

Per fleet: fits on the records known after three and after four years; in the year after each, every quarter,
the risk of each pump over its class's interval, told at its last planned stop of that quarter, from records
known by that stop and nothing later: neither the work done there nor what came after. The truth is the
pump's life had it been left alone, so nothing is censored and what the shop did decides nothing.
Figures are pooled over fleets; standard errors leave out one in fifty groups of pumps at a time (a pump's
forecasts stay together). These fleets are invented and no evidence for any real one.
"""

from __future__ import annotations

import argparse
import pickle
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.learning.fitting import Fit, fit_history
from analytics.past.history import History
from analytics.record.plain_rules import rule_scores
from analytics.record.scores import auc_interval, brier_skill, calibration_slope
from analytics.risk.forecast import State, score
from analytics.wear_model.failure_risk import CAUSES
from analytics.wear_model.model import risk_model
from analytics.wear_model.remaining_life import distance_left
from tests.fleet_frames import history_from_tables

FIT_YEARS = (3.0, 4.0)
QUARTER = 91
GROUPS_OF_PUMPS = 50
FIGURES = ("depot", "class", "pump_type", "readings_group", "is_new", "restarted")


def made_world(kind: str, vehicles: int, seed: int, beside: float, worlds: Path | None) -> Any:
    """Return a run of the second world with five years behind it, from `worlds` where it was kept."""
    from tests.benchmarks.second_world import build

    kept = worlds / f"{kind}.{vehicles}.{beside:g}.{seed}.pickle" if worlds else None
    if kept and kept.exists():
        return pickle.loads(kept.read_bytes())
    run = build(seed=seed, kind=kind, vehicles=vehicles, beside=beside).start()
    if kept:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(run))
    return run


def stops_judged(run: Any, first_day: int, last_day: int) -> pd.DataFrame:
    """Return each unit's last planned stop in [first_day, last_day) with the truth behind it, by unit."""
    from tests.benchmarks.second_world import truth

    stops = truth.at_visits(run)
    stops = stops[(stops["day"] >= first_day) & (stops["day"] < last_day)]
    return stops.sort_values("day").groupby("unit").last()


def known_at_stops(run: Any, stops: pd.DataFrame, last_day: int) -> History:
    """Return the past as it was known at each unit's own stop: readings of the stop are in, its work is not.

    Of units without a stop everything before `last_day` is in: they are not judged.
    """
    from tests.benchmarks.second_world.fleet import EPOCH

    tables = dict(run.tables(as_of=last_day))
    stop_on = pd.Series((EPOCH + stops["day"].to_numpy(int)).astype("datetime64[s]"), stops.index)

    def before(table: pd.DataFrame, on: str) -> pd.Series:
        return ~(table[on] >= table["unit"].map(stop_on))  # NaT: no stop, everything is before

    pumps = tables["pumps"]
    pumps = pumps[before(pumps, "fitted_on")].copy()
    pumps.loc[~before(pumps, "removed_on"), ["removed_on", "removed_odometer", "removal", "found"]] = None
    visits = tables["visits"]
    at_stop = (visits["visited_on"] == visits["unit"].map(stop_on)) & (visits["reason"] == "pm")
    tables["pumps"], tables["visits"] = pumps, visits[before(visits, "visited_on") | at_stop]
    tables["services"] = tables["services"][before(tables["services"], "done_on")]
    return history_from_tables(tables, 1.0, str(EPOCH + last_day), clean_odometers=True)


def forecasts(run: Any, fit: Fit, first_day: int, last_day: int) -> pd.DataFrame:
    """Return one row per stop judged: what was told there, and what came."""
    stops = stops_judged(run, first_day, last_day)
    history = known_at_stops(run, stops, last_day)
    state = score(history, fit)
    pumps = state.history.pumps.iloc[state.rows]
    mine = pumps["unit"].isin(stops.index).to_numpy() & ~pumps["unit"].duplicated(keep="last").to_numpy()
    state = replace(state, rows=state.rows[mine], known=state.known.take(np.flatnonzero(mine)))
    pumps = pumps[mine]
    true = stops.loc[pumps["unit"]]
    x_stop = state.history.visits.groupby("pump")["x_km"].max().reindex(state.rows).to_numpy(float)
    x_stop = np.where(np.isnan(x_stop), pumps["now_km"].to_numpy(float), x_stop)
    state = replace(state, d_0=np.maximum(x_stop - state.known.x_km, 0.0))
    ahead = true["ahead_km"].to_numpy(float)
    told = told_by(state, ahead)
    counts = np.zeros(len(state.history.pumps), int)
    counts[state.filtered.tracks.order] = state.filtered.tracks.counts
    readings = counts[state.rows]
    plain = rule_scores(history, state.rows, ahead)
    made = pd.DataFrame(
        {
            "unit": pumps["unit"].to_numpy(),
            "life": pumps["unit"].to_numpy() + "/" + true["pump"].astype(str).to_numpy(),
            "all_seeing": true["risk"].to_numpy(float),
            "happened": true["fails"].to_numpy(bool),
            "left_km": true["remaining_km"].to_numpy(float),
            "ahead_km": ahead,
            "mechanism": true["mechanism"].to_numpy(),
            "abnormal": true["abnormal"].to_numpy(bool),
            "beside": true["beside"].to_numpy(bool),
            "limits": plain["limits"].to_numpy(),
            "age": plain["age"].to_numpy(),
            "depot": pumps["depot"].to_numpy(),
            "class": pumps["class"].to_numpy(),
            "pump_type": pumps["pump_type"].to_numpy(),
            "lot": pumps["lot"].to_numpy(),
            "readings": readings,
            "readings_group": np.clip(readings, 0, 6),
            "is_new": x_stop < 15e3,
            "restarted": pumps["restarted"].to_numpy(bool),
        }
    )
    return pd.concat([made, told], axis=1)


def told_by(state: State, ahead_km: np.ndarray) -> pd.DataFrame:
    """Return what the model says of the pumps of `state` over `ahead_km`: risk, its parts, distance left."""
    model = risk_model(state.fit.parameters)
    risk, parts = model.risk(state.known, state.d_0, ahead_km)
    left = distance_left(model, state.known, state.d_0)
    return pd.DataFrame(
        {"p": risk, "low_km": left[:, 0], "high_km": left[:, 2]}
        | {f"p_{name}": part for name, part in zip(CAUSES, parts, strict=True)}
    )  # fmt: skip


def judged_fleet(run: Any) -> pd.DataFrame:
    """Return all forecasts judged in one fleet."""
    from tests.benchmarks.second_world.fleet import EPOCH

    parts = []
    for number, year in enumerate(FIT_YEARS):
        cut = round(year * 365.25)
        fit = fit_history(
            history_from_tables(run.tables(as_of=cut), 1.0, str(EPOCH + cut), clean_odometers=True)
        )
        ends = [cut + QUARTER * (k + 1) for k in range(4)]
        parts += [
            forecasts(run, fit, end - QUARTER, min(end, run.today)).assign(cut=number, quarter=4 * number + k)
            for k, end in enumerate(ends)
        ]
    made = pd.concat(parts, ignore_index=True)
    return made.assign(limits_p=chance_of(made, "limits"))


def chance_of(made: pd.DataFrame, name: str) -> np.ndarray:
    """Return a plain rule's score as a chance, by a logistic regression on the fleet's earlier quarters."""
    from analytics.record.plain_rules import as_chance

    base = made["happened"].mean()
    told = as_chance(made[name].to_numpy(float), made["happened"].to_numpy(bool), made["quarter"].to_numpy())
    return np.where(np.isnan(told), base, told)


def run_fleets(args: argparse.Namespace) -> None:
    """Judge the fleets that are not there yet, and save each."""
    args.out.mkdir(parents=True, exist_ok=True)
    for k in range(args.fleets):
        seed = args.seed + 17 * k
        path = args.out / f"{args.kind}.{args.vehicles}.{seed}.pickle"
        if path.exists():
            continue
        start = time.process_time()
        made = judged_fleet(made_world(args.kind, args.vehicles, seed, args.beside, args.worlds))
        path.write_bytes(pickle.dumps(made.assign(fleet=seed)))
        print(
            f"{path.name} {len(made)} {int(made['happened'].sum())} {time.process_time() - start:.1f} s",
            flush=True,
        )


def with_se(made: pd.DataFrame, figure: Callable[[pd.DataFrame], float]) -> tuple[float, float]:
    """Return a figure and its standard error from leaving out groups of pumps (delete-a-group jackknife)."""
    life = pd.factorize(made["fleet"].astype(str) + made["life"])[0]
    group = np.random.default_rng(0).permutation(life.max() + 1)[life] % GROUPS_OF_PUMPS
    value = figure(made)
    without = np.array([figure(made[group != g]) for g in range(GROUPS_OF_PUMPS)])
    k = GROUPS_OF_PUMPS
    return value, float(np.sqrt((k - 1) / k * np.nansum((without - np.nanmean(without)) ** 2)))


def auc(name: str) -> Callable[[pd.DataFrame], float]:
    """Return the AUC of a column, within fleets: forecasts of one fleet are ranked among themselves."""

    def figure(made: pd.DataFrame) -> float:
        parts = [
            (auc_interval(f[name].to_numpy(), f["happened"].to_numpy()).value, f["happened"].sum())
            for _, f in made.groupby("fleet")
        ]
        value, weight = np.array(parts).T
        known = ~np.isnan(value)
        return float(np.average(value[known], weights=weight[known]))

    return figure


def pooled_auc(name: str) -> Callable[[pd.DataFrame], float]:
    """Return the AUC of a column over all forecasts."""
    return lambda made: auc_interval(made[name].to_numpy(), made["happened"].to_numpy()).value


def skill(name: str) -> Callable[[pd.DataFrame], float]:
    """Return the Brier skill of a column against the base rate."""
    return lambda made: brier_skill(made[name].to_numpy(), made["happened"].to_numpy(bool))


def covered(made: pd.DataFrame) -> float:
    """Share of lives left that lie within the 80 % interval."""
    return float(((made["left_km"] >= made["low_km"]) & (made["left_km"] <= made["high_km"])).mean())


def apart(made: pd.DataFrame) -> pd.DataFrame:
    """Leave out forecasts whose horizon overlaps that of the same pump's last one kept."""
    keep = np.ones(len(made), bool)
    made = made.sort_values(["fleet", "life", "left_km"], ascending=[True, True, False])
    last: tuple[Any, float] = (None, 0.0)
    for i, (fleet, life, left, ahead) in enumerate(
        zip(made["fleet"], made["life"], made["left_km"], made["ahead_km"], strict=True)
    ):
        if last[0] == (fleet, life) and left > last[1]:
            keep[i] = False
        else:
            last = ((fleet, life), left - ahead)
    return made[keep]


def group_ranges(made: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Hold failures seen against those expected by group: exact 95 % Poisson range of seen given expected.

    Columns: expected, seen, ratio (seen/expected), outside (bool).
    """
    sums = made.groupby(by)[["p", "happened"]].sum()
    expected, seen = sums["p"].to_numpy(float), sums["happened"].to_numpy(float)
    low, high = poisson_range(expected)
    return pd.DataFrame(
        {"expected": expected, "seen": seen, "ratio": expected / np.maximum(seen, 0.5),
         "outside": (seen < low) | (seen > high)}, index=sums.index,
    )  # fmt: skip


def poisson_range(mean: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the 2.5 and 97.5 % points of a Poisson count of that mean (n,)."""
    from scipy.stats import poisson

    return poisson.ppf(0.025, mean), poisson.ppf(0.975, mean)


def lines(made: pd.DataFrame) -> Iterator[tuple[str, str]]:
    """Yield the figures of one kind of fleet, ready to read."""

    def shown(figure: Callable[[pd.DataFrame], float]) -> str:
        value, se = with_se(made, figure)
        return f"{value:.3f} ± {se:.3f}"

    yield "fleets", str(made["fleet"].nunique())
    yield (
        "forecasts / failures / pumps",
        f"{len(made):,} / {made['happened'].sum():,} / {made['life'].nunique():,}",
    )
    for name in ("p", "limits", "age", "all_seeing"):
        yield f"AUC pooled, {name}", shown(pooled_auc(name))
    for name in ("p", "limits_p", "all_seeing"):
        yield f"AUC within fleets, {name}", shown(auc(name))
        yield f"Brier skill, {name}", shown(skill(name))
    yield "calibration slope", shown(lambda f: calibration_slope(f["p"].to_numpy(), f["happened"]).value)
    yield "expected / seen", shown(lambda f: f["p"].sum() / f["happened"].sum())
    yield "80 % interval holds", shown(covered)
    for name in ("brush", "commutator", "hydraulic", "drag", "winding", "sudden", "fitting"):
        mine = made[~made["happened"] | (made["mechanism"] == name)]
        if mine["happened"].any():
            yield (
                f"AUC {name} (all-seeing)",
                f"{pooled_auc('p')(mine):.3f} ({pooled_auc('all_seeing')(mine):.3f})",
            )
    by_fleet = [
        pooled_auc("p")(f) - pooled_auc("limits")(f) for _, f in made.groupby("fleet") if f["happened"].any()
    ]
    skills = [skill("p")(f) - skill("limits_p")(f) for _, f in made.groupby("fleet") if f["happened"].any()]
    yield (
        "fleets behind plain limits (AUC; skill)",
        f"{sum(d < 0 for d in by_fleet)}; {sum(d < 0 for d in skills)}",
    )
    single = apart(made)
    each = pd.concat([group_ranges(single, ["fleet", name]) for name in FIGURES])
    each = each[each["expected"] >= 1]
    yield "groups of a fleet outside", f"{each['outside'].sum()} of {len(each)}"
    for name in FIGURES:
        for key, row in group_ranges(single, [name]).iterrows():
            mark = " outside" if row["outside"] else ""
            yield f"{name} {key}", f"{row['expected']:.0f} / {row['seen']:.0f} = {row['ratio']:.2f}{mark}"


def report(args: argparse.Namespace) -> None:
    """Pool what is saved, kind by kind."""
    kinds: dict[str, list[Path]] = {}
    for path in sorted(args.out.glob("*.pickle")):
        kinds.setdefault(path.name.rsplit(".", 2)[0], []).append(path)
    for kind, paths in kinds.items():
        made = pd.concat([pickle.loads(path.read_bytes()) for path in paths], ignore_index=True)
        print(kind)
        for name, value in lines(made):
            print(f"  {name:45s} {value}")


def main() -> None:
    """Judge fleets or report on those judged."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=["run", "report"])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--kind", default="standard")
    parser.add_argument("--vehicles", type=int, default=200)
    parser.add_argument("--fleets", type=int, default=6)
    parser.add_argument("--seed", type=int, default=4000)
    parser.add_argument("--beside", type=float, default=0.4)
    parser.add_argument("--worlds", type=Path, help="where worlds are kept between runs")
    args = parser.parse_args()
    (run_fleets if args.what == "run" else report)(args)


if __name__ == "__main__":
    main()
