"""How much the wear filter loses against all that the same readings could tell of wear.

    python -m tests.benchmarks.particle_study --fleets 10 --seed 820000 [--variant concave] [--level-spread 1]

Replays the saving study's lives with the informed filters (informed_filters.py) and, beside them, with wear
told by a particle filter (Gordon, Salmond & Smith 1993) that knows all laws of the simulator: lognormal rates
and failure levels, the walk of the slope along the distance, and that the pump still runs. Drag and sudden
failures are the informed filters' in both, and so are the readings, their noise and the spread of own levels.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import log_ndtr

from analytics.learning.fitting import fit_history
from analytics.past.normalise import channels
from analytics.wear_model.level_rate import weigh
from analytics.wear_model.model import Parameters, risk_model, run_filters
from analytics.wear_model.wear import indicator
from demo_fleet import fleet as simulator
from tests.benchmarks.informed_filters import informed
from tests.benchmarks.saving_study import (
    FAR_DAY,
    STOP_KM,
    Stops,
    cost_per_km,
    fresh_stops,
    known_at_stops,
    last_stop,
    perfect_at_stops,
    settled_cost,
    tables_of,
)  # fmt: skip
from tests.benchmarks.study_fleets import add_fleet_options, fleet_specs, print_means
from tests.fleet_frames import history_at, history_from_tables

CUT = "2025-12-31"
LIVES, PARTICLES = 600, 1500
UNIT_KM = 100e3
STIR = (0.02, 0.03)  # after drawing anew: of ln rate, and of own levels in points


@dataclass
class Particles:
    """What may be true of each life, (lives, particles) each; slope per 100,000 km."""

    rate: np.ndarray
    own: np.ndarray
    walk: np.ndarray
    slope: np.ndarray
    most: np.ndarray  # wear, the most so far
    ln_weight: np.ndarray

    def of(self, rows: np.ndarray) -> Particles:
        """Return those of some lives."""
        return Particles(*(value[rows] for value in vars(self).values()))

    def put(self, rows: np.ndarray, other: Particles) -> None:
        """Set those of some lives."""
        for name, value in vars(other).items():
            getattr(self, name)[rows] = value

    def wear(self, x_km: np.ndarray, power: float) -> np.ndarray:
        """Wear at distances `x_km` (lives,), points."""
        return np.maximum(self.rate * (x_km[:, None] / UNIT_KM) ** power + self.walk, 0.0)


def wear_survival(
    true: simulator.FleetParameters,
    told: Parameters,
    lives: simulator.Lives,
    stops: Stops,
    u: np.ndarray,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Return, for each stop, the chance that wear does not end the pump before the next, and its mean wear.

    u: the wear indicator read at each stop, NaN where nothing was.
    """
    code = lives.type_code
    size = (len(code), PARTICLES)
    place = told.type_codes(pd.Series(simulator.TYPES))
    zero = np.zeros(size)
    all_of_them = Particles(
        true.wear_rate[code][:, None] * np.exp(rng.normal(0, true.wear_rate_sd, size)),
        told.wear.level[place][code][:, None] + rng.normal(0, np.sqrt(told.wear.level_var), size),
        zero.copy(), zero.copy(), zero.copy(), zero.copy(),
    )  # fmt: skip
    before_km = np.zeros(len(code))
    ln_level = np.log(true.wear_at_failure[code])[:, None]
    chance, mean = np.ones(len(u)), np.zeros(len(u))

    def ln_runs(wear: np.ndarray, rows: np.ndarray) -> np.ndarray:
        return log_ndtr((ln_level[rows] - np.log(np.maximum(wear, 1e-9))) / true.wear_level_sd)

    for number in range(stops.order.max() + 1):
        at = np.flatnonzero(stops.order == number)
        who, x = stops.row[at], stops.x_km[at]
        now = _moved(all_of_them.of(who), (x - before_km[who]) / UNIT_KM, true.wear_walk, rng)
        wear = now.wear(x, true.wear_power)
        was, now.most = now.most, np.maximum(now.most, wear)
        running = ln_runs(now.most, who)
        now.ln_weight += running - ln_runs(was, who) + _ln_reading(u[at][:, None] - now.own - wear, told)
        weight = np.exp(now.ln_weight - now.ln_weight.max(1, keepdims=True))
        weight /= weight.sum(1, keepdims=True)
        ahead = _moved(replace(now), np.full(len(at), STOP_KM / UNIT_KM), true.wear_walk, rng)
        later = np.maximum(ahead.wear(x + STOP_KM, true.wear_power), now.most)
        chance[at] = (weight * np.exp(ln_runs(later, who) - running)).sum(1)
        mean[at] = (weight * wear).sum(1)
        _draw_anew(now, weight, rng)
        all_of_them.put(who, now)
        before_km[who] = x
    return chance, mean


def _moved(p: Particles, h: np.ndarray, walk: float, rng: np.random.Generator) -> Particles:
    """Move the walk on by `h` (lives,) of 100,000 km: slope and its integral, jointly normal."""
    span = h[:, None]
    change = walk * np.sqrt(span) * rng.normal(size=p.slope.shape)
    bow = walk * np.sqrt(span**3 / 12) * rng.normal(size=p.slope.shape)
    return replace(p, walk=p.walk + span * (p.slope + change / 2) + bow, slope=p.slope + change)


def _ln_reading(rest: np.ndarray, told: Parameters) -> np.ndarray:
    """Log-likelihood of what a reading leaves over, good or wild; 0 where nothing was read."""
    seen = ~np.isnan(rest)
    total, *_ = weigh(np.where(seen, rest, 0.0), np.zeros(1), told.wear.noise, told.wear.bad)
    return np.where(seen, total, 0.0)


def _draw_anew(p: Particles, weight: np.ndarray, rng: np.random.Generator) -> None:
    """Draw the particles of lives that hang on few of them anew, in place, by their weights."""
    p.ln_weight = np.log(weight + 1e-300)
    for i in np.flatnonzero(1 / (weight**2).sum(1) < PARTICLES / 3):
        even = (np.arange(PARTICLES) + rng.random()) / PARTICLES
        p.put(i, p.of(i).of(np.minimum(np.searchsorted(np.cumsum(weight[i]), even), PARTICLES - 1)))
        p.rate[i] *= np.exp(rng.normal(0, STIR[0], PARTICLES))
        p.own[i] += rng.normal(0, STIR[1], PARTICLES)
        p.ln_weight[i] = 0.0


def told_at_stops(
    true: simulator.FleetParameters, told: Parameters, lives: simulator.Lives, stops: Stops
) -> pd.DataFrame:
    """Return what the informed filters say at each stop: -ln S to the next by `wear` and by the `rest`, mean
    wear `points`, and `u`, the indicator read."""
    records = history_from_tables(tables_of(true, lives, stops), 1.0, FAR_DAY)
    filtered, model = run_filters(records, told, keep=True), risk_model(told)
    made = channels(records.visits, records.pumps, told.exponents)
    out = np.full((len(stops.row), 4), np.nan)
    for at, rows, known in known_at_stops(records, filtered, stops):
        ahead = model.log_survival(known, np.full(len(rows), STOP_KM))
        ripple, brush = made.ripple[rows], made.brush[rows]
        u = indicator(ripple, brush, known.type_code, told.wear)
        out[at] = np.column_stack([ahead.wear, ahead.drag + ahead.sudden, known.wear.w, u])
    return pd.DataFrame(out, columns=["wear", "rest", "points", "u"])


def compare(spec: simulator.FleetSpec) -> dict[str, float]:
    """Return one fleet's shares of the damage-knowing's saving, and root mean square errors of wear in points
    where it is above 3."""
    fleet = simulator.simulate_fleet(spec)
    true = fleet.parameters
    told = informed(fit_history(history_at(fleet, CUT)).parameters, true)
    if told is None:
        raise SystemExit("Only standard and concave fleets have constants to be told.")
    lives, stops = fresh_stops(true, LIVES, spec.seed + 5)
    said = told_at_stops(true, told, lives, stops)
    chance, points = wear_survival(
        true, told, lives, stops, said["u"].to_numpy(), np.random.default_rng(spec.seed)
    )
    wear, _ = simulator.damage_at(lives, stops.row, stops.x_km)

    def cost(change: np.ndarray) -> float:
        return cost_per_km(change, stops.row, stops.x_km, lives.fails_at_km)

    to_failure = cost(np.zeros(len(wear), bool))
    damage_known = cost(last_stop(stops.row) & (lives.mode != "sudden")[stops.row])

    def saved(risk: np.ndarray) -> float:
        return (to_failure - settled_cost(risk, cost)) / (to_failure - damage_known)

    def error(guess: np.ndarray) -> float:
        return float(np.sqrt(np.mean((guess - wear)[wear > 3] ** 2)))

    rest = said["rest"].to_numpy()
    filters, particles = saved(-np.expm1(-said["wear"].to_numpy() - rest)), saved(1 - chance * np.exp(-rest))
    return {
        "saved, informed filters": filters,
        "saved, particles": particles,
        "gained by particles": particles - filters,
        "saved, perfect sensor": saved(perfect_at_stops(true, lives, stops, spec.seed)[0]),
        "error of wear, filter": error(said["points"].to_numpy()),
        "error of wear, particles": error(points),
    }


def main() -> None:
    """Run the fleets and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    add_fleet_options(parser, vehicles=200, fleets=10, seed=820000)
    print_means(pd.DataFrame([compare(spec) for spec in fleet_specs(parser.parse_args())]), 4)


if __name__ == "__main__":
    main()
