"""Forecasts and decisions on simulated fleets the model was not tuned on, pooled over fleets of one size.

    python -m tests.benchmarks.forecast_study --vehicles 200 --fleets 10 --seed 5000 [--variant late-knee]
    [--dirt]

Per fleet: fit on records up to two cut-off days and forecast every pump in service over its next PM interval;
then follow fresh complete lives visit by visit and replace by rule. Compared with what a perfect sensor of
both
damages (but not of the failure levels), an all-knowing owner and plain rules would do. These figures say
how the method works on simulated fleets; they are no evidence for any real one.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from analytics.failure_risk import Known
from analytics.fitting import Fit, fit_history
from analytics.forecast import score
from analytics.gaps import make_gaps
from analytics.history import History
from analytics.model import risk_model, run_filters
from analytics.remaining_life import distance_left
from analytics.scores import auc_interval, brier, calibration_slope
from demo_fleet import fleet as simulator
from demo_fleet.dirt import Dirt
from tests.fleet_frames import history_at

CUTS = ("2024-06-30", "2025-06-30")
C_PLANNED, C_FAILURE = 650.0, 2400.0
LIVES = 600


@dataclass
class Pool:
    """Forecasts of all fleets end to end."""

    p: list
    perfect: list
    last_ripple: list
    age: list
    happened: list
    inside: list
    readings: list


def perfect_forecast(
    parameters: simulator.FleetParameters,
    lives: pd.DataFrame,
    now: np.ndarray,
    d: np.ndarray,
    wear,
    slope,
    draws,
) -> np.ndarray:
    """P(fails within d) for one who sees both damages and their rates, and knows the fleet's constants."""
    code = lives["type_code"].to_numpy(int)
    p = parameters

    def beyond(level, sd, before, after):  # lognormal level above `before`: chance that it lies below `after`
        with np.errstate(divide="ignore"):
            f = [
                ndtr((np.log(np.maximum(v, 1e-12)) - np.log(level)) / sd)
                for v in (before, np.maximum(after, before))
            ]
        return 1 - (1 - f[1]) / np.maximum(1 - f[0], 1e-12)

    level = p.wear_level[code] * (0.75 if p.variant == "concave" else 1.0)
    p_wear = beyond(level, p.wear_level_sd, wear, wear + slope * d)
    start, rate = lives["true_drag_start_km"].to_numpy(), lives["true_drag_rate"].to_numpy()
    drag = rate * np.maximum(now - start, 0) / 1e4
    p_started = beyond(p.drag_level, p.drag_level_sd, drag, drag + rate * d / 1e4)
    delay = draws  # (m,) km from start to failure
    scale = p.drag_scale_km[code]
    u = np.linspace(0, 1, 13)[1:] - 1 / 24
    hazard = np.zeros(len(now))
    for part in u:
        at = now + part * d
        density = p.drag_shape / scale * (at / scale) ** (p.drag_shape - 1)
        reach = np.searchsorted(delay, (1 - part) * d) / len(delay)
        hazard += density * reach * d / len(u)
    p_drag = np.where(start <= now, p_started, -np.expm1(-hazard))
    return 1 - (1 - p_wear) * (1 - p_drag) * np.exp(-p.sudden_per_km[code] * d)


def forecasts(fleet: simulator.SimulatedFleet, pool: Pool) -> None:
    """Add one fleet's forecasts at both cut-offs."""
    lives = fleet.true_lives.assign(serial=[f"S{i:06d}" for i in fleet.true_lives["life"]]).set_index(
        "serial"
    )
    p = fleet.parameters
    delay = drag_delays(p, fleet.spec.seed)
    for cut in CUTS:
        history = history_at(fleet, cut)
        state = score(history, fit_history(history))
        pumps = history.pumps.iloc[state.rows]
        true = lives.loc[pumps["serial"]]
        # The truth runs on true distance: the unit's true odometer at the cut less the life's start.
        now = true_now(fleet, true, cut)
        left = true["true_fails_at_km"].to_numpy() - now
        d = pumps["pm_interval_km"].to_numpy(float)
        model = risk_model(state.fit.parameters)
        risk, _ = model.risk(state.known, state.d_0, d)
        band = distance_left(model, state.known, state.d_0)
        keep = left > 0
        wear, slope = true_wear(fleet, true, now)
        pool.p.append(risk[keep])
        pool.perfect.append(perfect_forecast(p, true, now, d, wear, slope, delay)[keep])
        pool.happened.append((left <= d)[keep])
        pool.inside.append(((left >= band[:, 0]) & (left <= band[:, 2]))[keep])
        counts = np.zeros(len(history.pumps), int)
        counts[state.filtered.tracks.order] = state.filtered.tracks.counts
        pool.readings.append(counts[state.rows][keep])
        ripple = history.visits.groupby("pump")["ripple_pct"].last().reindex(state.rows).fillna(0).to_numpy()
        pool.last_ripple.append(ripple[keep])
        pool.age.append(now[keep])


def drag_delays(p: simulator.FleetParameters, seed: int) -> np.ndarray:
    """Return sorted draws of the distance from the start of drag to failure, km."""
    rng = np.random.default_rng(seed)
    rate = p.drag_rate * np.exp(rng.normal(0, p.drag_rate_sd, 4000))
    return np.sort(p.drag_level * np.exp(rng.normal(0, p.drag_level_sd, 4000)) / rate * 1e4)


def true_now(fleet: simulator.SimulatedFleet, true: pd.DataFrame, cut: str) -> np.ndarray:
    """Return the true distance on each pump on the cut-off day."""
    return np.array([fleet.odometer_on(int(v), cut) for v in true["vehicle"]]) - true["fitted_km"].to_numpy()


def true_wear(
    fleet: simulator.SimulatedFleet, true: pd.DataFrame, now: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return true wear and its slope per km now."""
    return fleet.wear_of(true["life"].to_numpy(int), now)


def fresh_lives(fleet: simulator.SimulatedFleet, n: int, seed: int) -> tuple[History, simulator.Lives]:
    """Return complete lives of new pumps of the same fleet with all their readings, and the truth."""
    rng = np.random.default_rng(seed)
    p = fleet.parameters
    code = rng.choice(len(simulator.TYPES), n, p=[0.4, 0.3, 0.2, 0.1])
    lives = simulator.draw_lives(p, code, rng)
    gap = 8000 * np.exp(rng.normal(0, 0.2, (n, 90))) * np.where(rng.random((n, 90)) < 0.06, 2, 1)
    x = np.cumsum(gap, 1) * rng.uniform(0.8, 1.2, n)[:, None]
    row, col = np.nonzero(x < np.minimum(lives.fails_at_km, 600e3)[:, None])
    at = x[row, col]
    filter_km = at % 50e3
    frame = simulator.take_readings(p, lives, row, at, filter_km, rng.uniform(0, 365, len(row)), rng)
    visits = frame.assign(
        pump=row, x_km=at, filter_km=filter_km, usable=True, by_meter=False, day=np.arange(len(row))
    )
    pumps = pd.DataFrame(
        {
            "pump_id": np.arange(n),
            "pump_type": np.array(simulator.TYPES)[code],
            "system_v": 12.0,
            "rated_pressure_kpa": 400.0,
            "now_km": lives.fails_at_km,
            "entry_km": 0.0,
            "failed": True,
            "removed": True,
        }
    )
    return History(0, pumps, visits), lives


def policies(fleet: simulator.SimulatedFleet, fit: Fit, seed: int) -> dict[str, float]:
    """Return cost per km of running to failure, the all-knowing owner, the model's rule and plain rules."""
    history, lives = fresh_lives(fleet, LIVES, seed)
    fails = lives.fails_at_km
    p = fit.parameters
    model = risk_model(p)
    gaps = make_gaps(history, run_filters(history, p, keep=True), p)
    rated = gaps.order_number > 0
    gaps = gaps.take(np.flatnonzero(rated))
    code = gaps.known.type_code
    d = np.full(len(code), 8000.0)  # nobody knows how long the next gap will be
    risk, _ = model.risk(gaps.known, np.zeros(len(code)), d)
    new = Known(np.zeros(len(code)), code, *_new(p, code))
    risk_new, _ = model.risk(new, np.zeros(len(code)), d)
    grid = np.linspace(0, 600e3, 61)
    one = np.arange(len(p.types))
    life = np.trapezoid(
        model.survival(Known(np.zeros(len(one)), one, *_new(p, one)), np.zeros(len(one)), grid), grid, axis=1
    )
    g = 0.45 * C_FAILURE / life[code]
    ours = ((C_FAILURE - C_PLANNED) * risk >= g * d * (1 - risk / 2)) & (risk > risk_new)
    x, row = gaps.known.x_km, gaps.pump
    wear, _ = simulator.damage_at(lives, row, x)
    later, _ = simulator.damage_at(lives, row, x + 500.0)
    true = pd.DataFrame(
        {
            "type_code": lives.type_code[row],
            "true_drag_start_km": lives.drag_start_km[row],
            "true_drag_rate": lives.drag_rate[row],
        }
    )
    delays = drag_delays(fleet.parameters, seed)
    seen = perfect_forecast(fleet.parameters, true, x, d, wear, (later - wear) / 500.0, delays)
    g_true = 0.45 * C_FAILURE * len(fails) / fails.sum()
    perfect = (C_FAILURE - C_PLANNED) * seen >= g_true * d * (1 - seen / 2)
    visits = history.visits.groupby(["pump", history.visits.groupby("pump").cumcount()])["ripple_pct"].first()
    ripple = visits.reindex(pd.MultiIndex.from_arrays([gaps.pump, gaps.order_number - 1])).to_numpy()
    oracle = gaps.failed
    return {
        "to_failure": C_FAILURE * len(fails) / fails.sum(),
        "oracle": _cost(oracle, gaps.pump, x, fails),
        "perfect": _cost(perfect, gaps.pump, x, fails),
        "ours": _cost(ours, gaps.pump, x, fails),
        "ripple_rule": _cost(ripple > 15, gaps.pump, x, fails),
        "age_rule": min(_cost(x > a, gaps.pump, x, fails) for a in np.arange(40e3, 300e3, 10e3)),
    }


def _new(p, code):
    from analytics.drag import prior as drag_prior
    from analytics.wear import prior as wear_prior

    return wear_prior(p.wear, code), drag_prior(p.drag, code)


def _cost(replace: np.ndarray, pump: np.ndarray, x: np.ndarray, fails: np.ndarray) -> float:
    """Cost per km over all lives when each pump is changed at its first visit flagged in `replace`."""
    end, cost = fails.copy(), np.full(len(fails), C_FAILURE)
    first = pd.Series(x[replace]).groupby(pump[replace]).min()
    end[first.index], cost[first.index] = first.to_numpy(), C_PLANNED
    return float(cost.sum() / end.sum())


def study(vehicles: int, fleets: int, seed: int, variant: str, dirt: bool, spread: float = 1.0) -> dict:
    """Run all fleets and pool."""
    pool = Pool([], [], [], [], [], [], [])
    saved = []
    for k in range(fleets):
        spec = simulator.FleetSpec(
            vehicles=vehicles,
            seed=seed + 17 * k,
            variant=variant,
            spread=spread,
            dirt=Dirt.usual() if dirt else Dirt.none(),
        )
        fleet = simulator.simulate_fleet(spec)
        forecasts(fleet, pool)
        history = history_at(fleet, "2025-06-30")
        costs = policies(fleet, fit_history(history), seed + 17 * k + 5)
        span = costs["to_failure"] - costs["oracle"]
        rules = ("ours", "perfect", "ripple_rule", "age_rule")
        shares = {name: (costs["to_failure"] - costs[name]) / span for name in rules}
        saved.append(shares | {"ours_of_perfect": shares["ours"] / shares["perfect"]})
    p, perfect, o, inside, readings, ripple, age = (
        np.concatenate(a)
        for a in (pool.p, pool.perfect, pool.happened, pool.inside, pool.readings, pool.last_ripple, pool.age)
    )
    base = brier(np.full(len(o), o.mean()), o)
    ours, best = auc_interval(p, o), auc_interval(perfect, o)
    slope = calibration_slope(p, o)
    out = {
        "vehicles": vehicles,
        "fleets": fleets,
        "variant": variant,
        "dirt": dirt,
        "n": len(o),
        "events": int(o.sum()),
        "auc": ours.value,
        "auc_se": ours.se,
        "auc_perfect": best.value,
        "auc_ratio": ours.value / best.value,
        "auc_last_ripple": auc_interval(ripple, o).value,
        "auc_age": auc_interval(age, o).value,
        "skill": 1 - brier(p, o) / base,
        "skill_perfect": 1 - brier(perfect, o) / base,
        "slope": slope.value,
        "slope_se": slope.se,
        "expected_over_observed": p.sum() / max(o.sum(), 1),
        "cover": inside.mean(),
        "cover_by_readings": {
            k: [round(float(inside[m].mean()), 3), int(m.sum())]
            for k, m in {
                "0": readings == 0,
                "1": readings == 1,
                "2": readings == 2,
                "3+": readings >= 3,
            }.items()
            if m.any()
        },
        "saved": {
            k: [
                round(float(np.mean([s[k] for s in saved])), 3),
                round(float(np.std([s[k] for s in saved]) / np.sqrt(fleets)), 3),
            ]
            for k in saved[0]
        },
    }
    out["skill_ratio"] = out["skill"] / out["skill_perfect"]
    return out


def main() -> None:
    """Run one study and print it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--vehicles", type=int, default=200)
    parser.add_argument("--fleets", type=int, default=10)
    parser.add_argument("--seed", type=int, default=5000)
    parser.add_argument("--variant", default="standard")
    parser.add_argument("--dirt", action="store_true")
    args = parser.parse_args()
    start = time.process_time()
    found = study(args.vehicles, args.fleets, args.seed, args.variant, args.dirt)
    found["cpu_s"] = time.process_time() - start
    print(json.dumps({k: round(v, 4) if isinstance(v, float) else v for k, v in found.items()}))


if __name__ == "__main__":
    main()
