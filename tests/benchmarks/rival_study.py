"""The model beside a rival on the same held-out forecasts: a discrete-time hazard regression on plain
features.

    python -m tests.benchmarks.rival_study --vehicles 200 --fleets 3 --seed 7000 --variant standard

Rival: complementary log-log regression, ln(-ln S) = ln(gap) + a + b'f, of whether the pump failed in each
past gap on
f = distance, last ripple, last load and brush channels over the type's, and their changes since the pump's
first readings, ridge-penalised. Stack: the model's own log hazard with the same features on top.
"""

from __future__ import annotations

import argparse
import json

import numpy as np
import pandas as pd

from analytics.learning.fitting import fit_history
from analytics.learning.gaps import make_gaps
from analytics.past.history import History
from analytics.past.normalise import channels
from analytics.record.scores import auc_interval, brier_skill, calibration_slope, log_score
from analytics.risk.forecast import score
from analytics.wear_model.model import risk_model, run_filters
from demo_fleet import fleet as simulator
from tests.benchmarks.forecast_study import CUTS
from tests.benchmarks.perfect_sensor import truth_on
from tests.fleet_frames import history_at


def features(history: History, exponents) -> np.ndarray:
    """Return (visits, 7): distance, levels over the type's and changes from the mean of the first three
    readings."""
    made = channels(history.visits, history.pumps, exponents)
    pump = history.visits["pump"].to_numpy(int)
    kind = history.pumps["pump_type"].to_numpy()[pump]
    out = [history.visits["x_km"].to_numpy(float) / 1e5]
    for value, scale in ((made.ripple, 4.0), (made.load, 0.1), (made.brush, 0.1)):
        v = pd.Series(value)
        level = (v - v.groupby(kind).transform("median")) / scale
        order = v.groupby(pump).cumcount()
        first = v.where(order < 3).groupby(pump).transform("mean")
        out += [level.to_numpy(), ((v - first) / scale).to_numpy()]
    return np.clip(np.nan_to_num(np.column_stack(out)), -4, 6)


def fit_hazard(f: np.ndarray, offset: np.ndarray, failed: np.ndarray, ridge: float = 1.0) -> np.ndarray:
    """Return coefficients (intercept first) by Newton steps on the penalised complementary log-log
    likelihood."""
    x = np.column_stack([np.ones(len(f)), f])
    b = np.zeros(x.shape[1])
    b[0] = np.log(max(failed.sum(), 1) / np.exp(offset).sum())
    penalty = ridge * np.diag([0.0] + [1.0] * f.shape[1])
    for _ in range(40):
        h = np.exp(np.clip(x @ b + offset, -30, 5))
        d = np.where(failed, h / np.expm1(np.maximum(h, 1e-12)), -h)
        info = (x * np.where(failed, np.minimum(h, 1.0), h)[:, None]).T @ x + penalty + 1e-8 * np.eye(len(b))
        step = np.linalg.solve(info, x.T @ d - penalty @ b)
        b = b + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-6:
            break
    return b


def study(vehicles: int, fleets: int, seed: int, variant: str) -> dict:
    """Pool over fleets and cut-offs."""
    said: dict[str, list] = {"model": [], "rival": [], "stack": []}
    happened = []
    for k in range(fleets):
        fleet = simulator.simulate_fleet(
            simulator.FleetSpec(vehicles=vehicles, seed=seed + 17 * k, variant=variant)
        )
        for cut in CUTS:
            history = history_at(fleet, cut)
            fit = fit_history(history)
            p = fit.parameters
            state = score(history, fit)
            model = risk_model(p)
            filtered = run_filters(history, p, keep=True)
            gaps = make_gaps(history, filtered, p)
            f = features(history, p.exponents)
            table = {
                (int(a), int(n)): i
                for i, (a, n) in enumerate(
                    zip(history.visits["pump"], history.visits.groupby("pump").cumcount() + 1, strict=True)
                )
            }
            rows = np.array(
                [table.get((int(a), int(n)), -1) for a, n in zip(gaps.pump, gaps.order_number, strict=True)]
            )
            rated = (rows >= 0) & (gaps.d_to > gaps.d_from)
            g, at = gaps.take(np.flatnonzero(rated)), rows[rated]
            own = model.log_survival(g.known, g.d_to).total - model.log_survival(g.known, g.d_from).total
            rival = fit_hazard(f[at], np.log(g.d_to - g.d_from) - 9, g.failed)
            stack = fit_hazard(f[at], np.log(np.maximum(own, 1e-9)), g.failed, ridge=4.0)

            pumps = history.pumps.iloc[state.rows]
            d = pumps["pm_interval_km"].to_numpy(float)
            left = truth_on(fleet, pumps, cut)["left_km"].to_numpy()
            last = history.visits.reset_index().groupby("pump")["index"].last().reindex(state.rows)
            keep = (left > 0) & last.notna().to_numpy()
            risk, _ = model.risk(state.known, state.d_0, d)
            f_now = np.column_stack([np.ones(len(d)), f[last.fillna(0).astype(int)]])
            said["model"].append(risk[keep])
            said["rival"].append(-np.expm1(-np.exp(f_now @ rival + np.log(d) - 9))[keep])
            said["stack"].append(-np.expm1(-np.exp(f_now @ stack + np.log(-np.log1p(-risk))))[keep])
            happened.append((left <= d)[keep])
    o = np.concatenate(happened)
    out: dict = {
        "vehicles": vehicles,
        "fleets": fleets,
        "variant": variant,
        "n": len(o),
        "events": int(o.sum()),
    }
    for name, parts in said.items():
        p_said = np.concatenate(parts)
        out[name] = {
            "auc": round(auc_interval(p_said, o).value, 4), "skill": round(brier_skill(p_said, o), 4),
            "log": round(log_score(p_said, o), 5), "slope": round(calibration_slope(p_said, o).value, 3),
            "expected": round(float(p_said.sum()), 1),
        }  # fmt: skip
    return out


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--vehicles", type=int, default=200)
    parser.add_argument("--fleets", type=int, default=3)
    parser.add_argument("--seed", type=int, default=7000)
    parser.add_argument("--variant", default="standard")
    args = parser.parse_args()
    print(json.dumps(study(args.vehicles, args.fleets, args.seed, args.variant)))


if __name__ == "__main__":
    main()
