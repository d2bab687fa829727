"""Speed of scoring and fitting, and of random slopes beside a reference library in the same run.

python -m tests.benchmarks.forecast_speed --pumps 100000 --visits 10
"""

from __future__ import annotations

import argparse
import resource
import time

import numpy as np
import pandas as pd

from analytics import drag as drag_model
from analytics import wear as wear_model
from analytics.fitting import fit_history
from analytics.history import History
from analytics.mixed_model import fit_random_slope, group_sums
from analytics.model import risk_model, run_filters
from analytics.remaining_life import distance_left
from demo_fleet import fleet as simulator


def many_pumps(pumps: int, visits: int, seed: int = 3) -> History:
    """Return pumps with about `visits` readings each, a fifth of them failed, from a simulated fleet."""
    rng = np.random.default_rng(seed)
    p = simulator.draw_parameters(simulator.FleetSpec(), rng)
    few = min(pumps, 5000)
    code = rng.integers(0, len(simulator.TYPES), few)
    lives = simulator.draw_lives(p, code, rng)
    x = np.cumsum(9000 * np.exp(rng.normal(0, 0.2, (few, visits))), 1) + rng.uniform(0, 40e3, (few, 1))
    row, col = np.nonzero(x < lives.fails_at_km[:, None])
    frame = simulator.take_readings(
        p, lives, row, x[row, col], x[row, col] % 50e3, rng.uniform(0, 365, len(row)), rng
    )
    frame = frame.assign(
        pump=row, x_km=x[row, col], filter_km=x[row, col] % 50e3, usable=True, by_meter=False, day=0
    )
    end = np.minimum(lives.fails_at_km, x[:, -1] + 4000)
    table = pd.DataFrame(
        {
            "pump_id": np.arange(few),
            "pump_type": np.array(simulator.TYPES)[code],
            "system_v": 12.0,
            "rated_pressure_kpa": 400.0,
            "now_km": end,
            "entry_km": np.minimum(x[:, 0], end),
            "failed": lives.fails_at_km <= end,
            "removed": lives.fails_at_km <= end,
        }
    )
    times = -(-pumps // few)
    frames = [frame.assign(pump=frame["pump"] + k * few) for k in range(times)]
    return History(0, pd.concat([table] * times, ignore_index=True), pd.concat(frames, ignore_index=True))


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pumps", type=int, default=100_000)
    parser.add_argument("--visits", type=int, default=10)
    args = parser.parse_args()
    history = many_pumps(args.pumps, args.visits)
    print(
        f"{len(history.pumps):,} pumps, {len(history.visits):,} visits, "
        f"{history.pumps['failed'].sum():,} failures"
    )

    start = time.process_time()
    fit = fit_history(history)
    print(f"full refit            {time.process_time() - start:6.2f} CPU s")

    start = time.process_time()
    filtered = run_filters(history, fit.parameters)
    model = risk_model(fit.parameters)
    n = len(history.pumps)
    d_0 = np.maximum(history.pumps["now_km"].to_numpy(float) - filtered.known.x_km, 0)
    model.risk(filtered.known, d_0, np.full(n, 8000.0))
    scored = time.process_time() - start
    distance_left(model, filtered.known, d_0)
    print(
        f"all scored            {scored:6.2f} CPU s; with distances left {time.process_time() - start:6.2f}"
    )

    p = fit.parameters
    rows = filtered.tracks.index[0]
    who = filtered.tracks.order[: len(rows)]
    known = filtered.known.take(who)
    load, u = filtered.channels.load[rows], filtered.u[rows]
    start = time.process_time()
    h = wear_model.clock(known.x_km + 8000, p.wear.power) - wear_model.clock(known.x_km, p.wear.power)
    wear_state, _, _ = wear_model.update(
        wear_model.predict(known.wear, h, p.wear.walk), u, p.wear.noise, p.wear.bad
    )
    drag_state, _ = drag_model.advance(
        p.drag,
        known.drag,
        known.x_km,
        known.x_km + 8000,
        p.drag.starts[known.type_code],
        load,
        np.full(len(who), p.drag.noise),
        p.drag_life_km,
    )
    after = known._replace(x_km=known.x_km + 8000, wear=wear_state, drag=drag_state)
    model.risk(after, np.zeros(len(who)), np.full(len(who), 8000.0))
    print(f"one new visit for all {time.process_time() - start:6.2f} CPU s")
    print(f"memory at most        {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:6.0f} MB")
    mixed_model_race()


def mixed_model_race(groups: int = 1500, each: int = 8) -> None:
    """Fit the same random slopes here and with statsmodels, if it is installed; print times and
    log-likelihoods."""
    rng = np.random.default_rng(0)
    group = np.repeat(np.arange(groups), each)
    x = np.tile(np.arange(each, dtype=float), groups)
    b = rng.multivariate_normal([0, 0], [[1, 0.2], [0.2, 0.3]], groups)
    y = 5 + 0.5 * x + b[group, 0] + b[group, 1] * x + rng.normal(0, 0.7, len(x))
    start = time.process_time()
    ours = fit_random_slope(group_sums(group, x, y, groups))
    t_ours = time.process_time() - start
    try:
        from statsmodels.regression.mixed_linear_model import MixedLM
    except ImportError:
        print(f"random slopes: {t_ours:.3f} s here; statsmodels is not installed, so no race")
        return
    z = np.column_stack([np.ones_like(x), x])
    start = time.process_time()
    theirs = MixedLM(y, z, group, exog_re=z).fit(reml=True, method="lbfgs")
    t_theirs = time.process_time() - start
    print(
        f"random slopes, {groups} groups x {each}: {t_ours:.3f} s here, {t_theirs:.2f} s statsmodels, "
        f"{t_theirs / t_ours:.0f} times; log-likelihood {-ours.deviance / 2:.4f} and {theirs.llf:.4f}"
    )


if __name__ == "__main__":
    main()
