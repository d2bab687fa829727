"""Forecasts and decisions on simulated fleets the model was not tuned on, pooled over fleets of one kind.

    python -m tests.benchmarks.forecast_study run --out results --vehicles 200 --fleets 10 --seed 5000
        [--variant late-knee] [--dirt] [--no-saving] [--cuts 2] [--lives 300]
        [--level-spread 1] [--sudden 1]
    python -m tests.benchmarks.forecast_study report --out results

Per fleet: fit on the records up to each of up to four cut-off days and forecast every pump in service
over its next PM interval; then follow fresh complete lives stop by stop and replace by rule
(saving_study.py). Every fleet is saved at once, and one that is there already is not run again. These figures
say how the method works on simulated fleets; they are no evidence for any real one.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.learning.fitting import Fit, fit_history
from analytics.record.scores import auc_interval, brier_skill, calibration_slope
from analytics.risk.forecast import score
from analytics.wear_model.failure_risk import CAUSES
from analytics.wear_model.model import risk_model
from analytics.wear_model.remaining_life import distance_left
from demo_fleet import fleet as simulator
from demo_fleet.dirt import Dirt
from tests.benchmarks.perfect_sensor import perfect_forecast, truth_on
from tests.benchmarks.saving_study import policies
from tests.benchmarks.study_fleets import add_fleet_options, fleet_specs
from tests.fleet_frames import history_at

CUTS = ("2024-06-30", "2024-12-31", "2025-06-30", "2025-12-31")
DRAWS = 400


def forecasts(fleet: simulator.SimulatedFleet, cut: str, fit: Fit, history) -> pd.DataFrame:
    """Return one row per pump in service on the cut-off day: what was said, and what came."""
    state = score(history, fit)
    pumps = history.pumps.iloc[state.rows]
    true = truth_on(fleet, pumps, cut)
    left = true["left_km"].to_numpy()
    d = pumps["pm_interval_km"].to_numpy(float)
    model = risk_model(fit.parameters)
    risk, parts = model.risk(state.known, state.d_0, d)
    band = distance_left(model, state.known, state.d_0)
    seen = perfect_forecast(fleet, true, d)
    counts = np.zeros(len(history.pumps), int)
    counts[state.filtered.tracks.order] = state.filtered.tracks.counts
    ripple = history.visits.groupby("pump")["ripple_pct"].last().reindex(state.rows).fillna(0).to_numpy()
    made = pd.DataFrame(
        {f"p_{cause}": part for cause, part in zip(CAUSES, parts, strict=True)}
        | {"p": risk, "perfect": seen,
         "left_km": left, "d_km": d, "happened": left <= d, "low_km": band[:, 0], "high_km": band[:, 2],
         "readings": counts[state.rows], "ripple": ripple, "age_km": true["now_km"].to_numpy(),
         "mode": true["true_mode"].map({"wear": 0, "drag": 1, "sudden": 2}).to_numpy()}
    )  # fmt: skip
    # A lost pump change leaves records that run on; who failed by the cut has no forecast to judge.
    return made[left > 0].assign(cut=CUTS.index(cut))


def run_fleet(spec: simulator.FleetSpec, cuts: int, lives: int) -> tuple[pd.DataFrame, dict[str, float]]:
    """Return one fleet's forecasts at `cuts` cut-offs, evenly spread up to the last, and its costs by rule
    over `lives` fresh lives (0: none)."""
    fleet = simulator.simulate_fleet(spec)
    parts = []
    for cut in CUTS[:: -(len(CUTS) // cuts)][::-1]:
        history = history_at(fleet, cut)
        fit = fit_history(history)
        parts.append(forecasts(fleet, cut, fit, history))
    costs = policies(fleet.parameters, fit, lives, spec.seed + 5, spec.dirt) if lives else {}
    return pd.concat(parts, ignore_index=True), costs


def run(args: argparse.Namespace) -> None:
    """Run the fleets that are not there yet, and save each."""
    args.out.mkdir(parents=True, exist_ok=True)
    kind = f"{args.variant}.{'dirt' if args.dirt else 'clean'}.{args.vehicles}"
    if (args.level_spread, args.sudden) != (1.0, 1.0):
        kind = f"levels-{args.level_spread:g}-sudden-{args.sudden:g}-{kind}"
    dirt = Dirt.usual() if args.dirt else Dirt.none()
    for spec in fleet_specs(args):
        path = args.out / f"{kind}.{spec.seed}.npz"
        if path.exists():
            continue
        frame, costs = run_fleet(replace(spec, dirt=dirt), args.cuts, 0 if args.no_saving else args.lives)
        half = path.with_name(path.name + ".half.npz")
        np.savez_compressed(half, costs=json.dumps(costs), **{c: frame[c].to_numpy() for c in frame})
        half.rename(path)
        print(path.name, len(frame), int(frame["happened"].sum()), flush=True)


def load(path: Path) -> tuple[pd.DataFrame, dict[str, float]]:
    """Read what `run` saved of one fleet."""
    with np.load(path) as kept:
        frame = pd.DataFrame({name: kept[name] for name in kept.files if name != "costs"})
        return frame, json.loads(str(kept["costs"]))


def with_se(fleets: list[pd.DataFrame], figure: Callable[[pd.DataFrame], float], seed: int = 0) -> str:
    """Return a figure of all fleets' forecasts with its standard error, by drawing fleets with
    replacement."""
    rng = np.random.default_rng(seed)
    value = figure(pd.concat(fleets))
    drawn = [
        figure(pd.concat([fleets[i] for i in rng.integers(0, len(fleets), len(fleets))]))
        for _ in range(DRAWS if len(fleets) > 2 else 0)
    ]
    return f"{value:.3f}" + (f" ± {np.nanstd(drawn):.3f}" if drawn else "")


def auc(frame: pd.DataFrame, name: str, mode: int | None = None) -> float:
    """AUC of one column, of all failures or those by one mode, against pumps that did not fail."""
    keep = slice(None) if mode is None else (~frame["happened"] | (frame["mode"] == mode)).to_numpy()
    return auc_interval(frame[name].to_numpy()[keep], frame["happened"].to_numpy()[keep]).value


def skill(frame: pd.DataFrame, name: str) -> float:
    """Brier skill of one column against the pool's base rate."""
    return brier_skill(frame[name].to_numpy(), frame["happened"].to_numpy(bool))


def covered(frame: pd.DataFrame, least: int = 0, most: int = 10**6) -> float:
    """Share of pumps with that many readings whose distance left lies within the 80 % interval."""
    mine = frame[(frame["readings"] >= least) & (frame["readings"] <= most)]
    return float(((mine["left_km"] >= mine["low_km"]) & (mine["left_km"] <= mine["high_km"])).mean())


def summary(fleets: list[pd.DataFrame], costs: list[dict[str, float]]) -> dict[str, str]:
    """Return the figures of one kind of fleet, ready to read."""
    everything = pd.concat(fleets)
    out = {
        "fleets": str(len(fleets)),
        "forecasts / failures": f"{len(everything):,} / {int(everything['happened'].sum())}",
        "AUC": with_se(fleets, lambda f: auc(f, "p")),
        "AUC of perfect's": with_se(fleets, lambda f: auc(f, "p") / auc(f, "perfect")),
        "AUC by mode (wear, drag, sudden), perfect's": "; ".join(
            ", ".join(f"{auc(everything, name, mode):.2f}" for mode in range(3)) for name in ("p", "perfect")
        ),
        "AUC last ripple, age": f"{auc(everything, 'ripple'):.3f}, {auc(everything, 'age_km'):.3f}",
        "skill": with_se(fleets, lambda f: skill(f, "p")),
        "skill of perfect's": with_se(fleets, lambda f: skill(f, "p") / skill(f, "perfect")),
        "perfect AUC, skill": f"{auc(everything, 'perfect'):.3f}, {skill(everything, 'perfect'):.3f}",
        "slope": with_se(fleets, lambda f: calibration_slope(f["p"].to_numpy(), f["happened"]).value),
        "expected / seen": with_se(fleets, lambda f: f["p"].sum() / f["happened"].sum()),
        "perfect's expected / seen": with_se(fleets, lambda f: f["perfect"].sum() / f["happened"].sum()),
        "expected / perfect's": with_se(fleets, lambda f: f["p"].sum() / f["perfect"].sum()),
        "covers": with_se(fleets, covered),
        "covers at 1, 2, 3+ readings": ", ".join(
            with_se(fleets, lambda f, a=a, b=b: covered(f, a, b)) for a, b in ((1, 1), (2, 2), (3, 10**6))
        ),
    }
    table = pd.DataFrame([c for c in costs if c])
    if len(table):
        saved = table.rsub(table["to_failure"], axis=0)
        for label, whose in (("all-knowing", "oracle"), ("damage-knowing", "damage"), ("perfect", "perfect")):
            for name in ("damage", "perfect", "informed", "ours", "booked", "ripple_rule", "age_rule"):
                if name not in saved or saved[name].isna().all():
                    continue
                values = saved[name] / saved[whose]
                se = values.std(ddof=1) / np.sqrt(len(values)) if len(values) > 1 else np.nan
                out[f"saving {name} of {label}'s"] = f"{values.mean():.3f} ± {se:.3f}"
        out["sudden share of lives"] = f"{table['sudden_share'].mean():.3f}"
    return out


def report(args: argparse.Namespace) -> None:
    """Pool what is saved, kind by kind."""
    kinds: dict[str, list[Path]] = {}
    for path in sorted(args.out.glob("*.npz")):
        kinds.setdefault(path.name.rsplit(".", 2)[0], []).append(path)
    for kind, paths in kinds.items():
        if args.only and not kind.startswith(args.only):
            continue
        loaded = [load(path) for path in paths]
        print(kind)
        for name, value in summary([f for f, _ in loaded], [c for _, c in loaded]).items():
            print(f"  {name:45s} {value}")


def main() -> None:
    """Run fleets or report on those run."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=["run", "report"])
    parser.add_argument("--out", type=Path, required=True)
    add_fleet_options(parser, vehicles=200, fleets=10, seed=5000)
    parser.add_argument("--dirt", action="store_true")
    parser.add_argument("--cuts", type=int, default=4, choices=[1, 2, 4])
    parser.add_argument("--lives", type=int, default=600)
    parser.add_argument("--no-saving", action="store_true")
    parser.add_argument("--only", default="", help="report: kinds whose names begin like this")
    args = parser.parse_args()
    (run if args.what == "run" else report)(args)


if __name__ == "__main__":
    main()
