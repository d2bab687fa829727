"""Lives, readings and forecasts of new pumps, simulated from the fitted model, for comparing policies.

Each life runs until it fails: wear with a rate of its own, drag and the other damages with an onset from a
random distance on, failure levels with their spread, and sudden failures, all with the fitted numbers. At
every PM stop the pump is read with the fitted noise, the filters take the reading in, and the risk up to the
next stop is forecast as it would be in service. So a policy is judged by what it would have known, not by the
truth; but the model is taken to be true, which flatters the policy that uses it.

A type's factor on a damage with an onset multiplies −ln S in the forecasts' formulas, before it starts and
after. A simulated pump has the factor on its failure level, which late in a damage no longer counts: lives
come out shorter than the formulas have them. With `as_forecast` damages start as much more rarely, or
oftener, as makes −ln S of new pumps that of the formulas at a typical life, where the whole of it is 1.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts load when first used: ranking from a stored fit solves nothing
from scipy import special

from analytics.wear_model import drag as drag_model
from analytics.wear_model import wear as wear_model
from analytics.wear_model.damages import Damages, take_in
from analytics.wear_model.drag import DragParameters
from analytics.wear_model.failure_risk import X_GRID, Known, delay_hazard_table, look_up
from analytics.wear_model.level_rate import BAD, Value
from analytics.wear_model.model import Parameters, risk_model
from analytics.wear_model.onsets import NAMES, OnsetParameters, Shown, take_in_onsets
from analytics.wear_model.tracks import take

# The simulated pumps' drag and hydraulic channels are drawn apart, where one reading shows both.
STEPS = 4  # path points between stops
MOST_STOPS = 80
RARER = (0.1, 3.0)
AT_ONCE = 256  # lives whose paths are gone through at once: they stay in the cache
SIDE_BY_SIDE = 12  # kinds of lives forecast at once


@dataclass(frozen=True)
class SimulatedLives:
    """n new pumps with K stops. visit_km (K,); life_km (n,); risk (n, K): forecast up to the next stop.

    risk_if_new: the same for a new pump. over_limits, healthy: bool (n, K), the last reading passes a limit;
    no drag has started and wear is under half its failure level. interval_km: between stops.
    """

    visit_km: np.ndarray
    life_km: np.ndarray
    risk: np.ndarray
    risk_if_new: float
    over_limits: np.ndarray
    healthy: np.ndarray
    interval_km: float


@dataclass(frozen=True)
class Asked:
    """`count` new pumps of one type (its code in p.types), read every `interval_km` of own clock, drawn from
    `seed`.

    limit_ripple_pct: book limit on ripple; limit_load: on the load channel, ln units above the type's level.
    """

    type_code: int
    interval_km: float
    count: int
    seed: int | tuple[int, ...]
    limit_ripple_pct: float = np.inf
    limit_load: float = np.inf
    as_forecast: bool = False


@dataclass(frozen=True)
class _Drawn:
    """Lives of one type as drawn, and what their readings show: u and load, shows by damage, (n, K)."""

    asked: Asked
    visit_km: np.ndarray
    life_km: np.ndarray
    u: np.ndarray
    load: np.ndarray
    shows: dict[str, np.ndarray]
    healthy: np.ndarray


def simulate(p: Parameters, asked: Sequence[Asked]) -> list[SimulatedLives]:
    """Simulate what is asked, in its order. The forecasts are made side by side, whatever the types and
    intervals, since few lives cost numpy more calls than sums."""
    drawn = [_draw(p, one) for one in asked]
    made = []
    for at in range(0, len(drawn), SIDE_BY_SIDE):
        made += _forecast(p, drawn[at : at + SIDE_BY_SIDE])
    return made


def _draw(p: Parameters, asked: Asked) -> _Drawn:
    type_code, interval_km, count = asked.type_code, asked.interval_km, asked.count
    rng = np.random.default_rng(asked.seed)
    typical = _typical_life(p, type_code) if asked.as_forecast else None
    x_all, wear_at, drag_at, life, start = _paths(p, type_code, interval_km, count, rng, typical)
    begun_at = {}
    for name in NAMES:
        begun_at[name], fails = _onset(getattr(p.onsets, name), type_code, x_all, count, rng, typical)
        life = np.minimum(life, fails)
    visit_km = x_all[STEPS::STEPS]
    k = len(visit_km)
    level = rng.normal(p.wear.level[type_code], np.sqrt(p.wear.level_var), count)
    own = rng.normal(p.drag.level[type_code], np.sqrt(p.drag.level_var), count)
    u = level[:, None] + wear_at + p.wear.drag_points * drag_at
    u += _noise(rng, (count, k), p.wear.noise, p.wear.bad)
    load = own[:, None] + drag_at + _noise(rng, (count, k), p.drag.noise, p.drag.bad)
    shows = {name: _shown(getattr(p.onsets, name), type_code, path, rng) for name, path in begun_at.items()}
    healthy = (
        (visit_km[None, :] < start[:, None])
        & (wear_at < 0.5 * p.failure.wear_level[type_code])
        & np.all([path == 0 for path in begun_at.values()], axis=0)
    )
    return _Drawn(asked, visit_km, life, u, load, shows, healthy)


def _forecast(p: Parameters, drawn: list[_Drawn]) -> list[SimulatedLives]:
    """Return the lives with what would have been forecast of each at every stop."""
    counts = [len(d.life_km) for d in drawn]
    code = np.repeat([d.asked.type_code for d in drawn], counts)
    interval = np.repeat([d.asked.interval_km for d in drawn], counts)
    most = max(len(d.visit_km) for d in drawn)
    # Where one has fewer stops, the rest lie beyond every life.
    stops = np.repeat([_up_to(most, d.visit_km) for d in drawn], counts, axis=0)
    life = np.concatenate([d.life_km for d in drawn])
    u, load = (np.concatenate([_up_to(most, getattr(d, of)) for d in drawn]) for of in ("u", "load"))
    shows = {name: np.concatenate([_up_to(most, d.shows[name]) for d in drawn]) for name in NAMES}
    ends = np.cumsum(counts)
    first = ends - counts
    model, new = risk_model(p), Known.of_new(p.wear, p.drag, p.onsets, code)
    state, begun = Damages(new.wear, new.drag), new.begun
    if_new, _ = model.risk(new.take(first), np.zeros(len(first)), interval[first])
    risk = np.zeros(u.shape)
    alive = np.arange(len(code))
    for j in range(u.shape[1]):
        still = life[alive] > stops[alive, j]  # a pump that failed before this stop is read no more
        if not still.any():
            break
        if not still.all():
            alive, state, begun = alive[still], take(state, still), take(begun, still)
        own, same, at = code[alive], np.ones(len(alive)), stops[alive, j]
        before = at - interval[alive]
        y_u, y_load = u[alive, j], load[alive, j]
        state, _ = take_in(p.wear, p.drag, state, before, at, own, y_u, y_load, same, p.drag_life_km)
        read = {name: Shown(y[alive, j], same) for name, y in shows.items()}
        begun, _ = take_in_onsets(p.onsets, begun, before, at, own, read)
        risk[alive, j], _ = model.risk(Known(at, own, *state, begun, same), 0 * same, interval[alive])
    return [
        SimulatedLives(
            d.visit_km,
            d.life_km,
            risk[begin:end, : len(d.visit_km)],
            float(new_risk),
            (d.u > d.asked.limit_ripple_pct)
            | (d.load - p.drag.level[d.asked.type_code] > d.asked.limit_load),
            d.healthy,
            d.asked.interval_km,
        )
        for d, begin, end, new_risk in zip(drawn, first, ends, if_new, strict=True)
    ]


def _up_to(most: int, at_stops: np.ndarray) -> np.ndarray:
    """Return values at stops (..., K) with as many more as make `most`, infinite."""
    lacking = most - at_stops.shape[-1]
    return np.pad(at_stops, [(0, 0)] * (at_stops.ndim - 1) + [(0, lacking)], constant_values=np.inf)


def simulate_life_km(
    p: Parameters, type_code: int, interval_km: float, count: int, rng: np.random.Generator
) -> np.ndarray:
    """Return how far `count` new pumps of one type run until they fail (count,), nothing being read, damages
    starting `as_forecast`.

    The paths have STEPS points to an interval, as those of `simulate`; a life that outlasts them ends
    with them.
    """
    typical = _typical_life(p, type_code)
    x, _, _, life, _ = _paths(p, type_code, interval_km, count, rng, typical)
    for name in NAMES:
        life = np.minimum(life, _onset(getattr(p.onsets, name), type_code, x, count, rng, typical)[1])
    return np.minimum(life, x[-1])


def _noise(rng: np.random.Generator, shape: tuple[int, int], variance: Value, bad: Value) -> np.ndarray:
    wild = np.where(rng.random(shape) < bad, np.sqrt(BAD), 1.0)
    return rng.normal(0.0, np.sqrt(variance), shape) * wild


def _typical_life(p: Parameters, type_code: int) -> float:
    """Return the distance at which −ln S of a new pump is 1, in km."""
    new = Known.of_new(p.wear, p.drag, p.onsets, np.array([type_code]))
    fallen = risk_model(p).log_survival(new, X_GRID[:, None]).total[:, 0]
    return float(np.interp(1.0, np.maximum.accumulate(fallen), X_GRID))


def _rarer(
    p: DragParameters,
    code: int,
    factor: float,
    level: Value,
    level_sd: Value,
    delay_km: np.ndarray,
    typical_km: float | None,
) -> float:
    """Return the factor on how often a damage starts with which new pumps fail by it as the formulas say.

    delay_km: from its start to the failure, of pumps drawn, (n,). With L(x) the starts to expect by a
    distance, S(x) of those is the mean of exp(−L(x − delay)); the formulas' is exp(−factor · H(x)).
    """
    starts = float(p.starts[code])
    if typical_km is None or not starts > 0:
        return 1.0
    table = delay_hazard_table(p, level, level_sd)
    told = factor * starts * float(look_up(table, np.zeros(1), np.array([typical_km]))[0])
    to_expect = starts * drag_model.cumulative_starts(typical_km - delay_km, p)

    def beyond(rarer: float) -> float:
        return float(-np.log(np.exp(-rarer * to_expect).mean())) - told

    low, high = RARER
    if beyond(low) >= 0 or beyond(high) <= 0:
        return low if beyond(low) >= 0 else high
    return float(scipy.optimize.brentq(beyond, low, high, xtol=1e-4))


def _paths(
    p: Parameters,
    type_code: int,
    interval_km: float,
    count: int,
    rng: np.random.Generator,
    typical_km: float | None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return x (m,), wear and drag at the stops (count, k), the life and where drag starts (count,)."""
    x = np.arange(MOST_STOPS * STEPS + 1) * interval_km / STEPS
    t = wear_model.clock(x, p.wear.power)
    rate = np.maximum(
        rng.normal(1.0, p.wear.rate_cv, count) * p.wear.rate[type_code], 0.1 * p.wear.rate[type_code]
    )
    walk, steps = rng.normal(0.0, 1.0, (count, len(x) - 1)), np.diff(t)
    by_walk = np.sqrt(p.wear.walk * steps)

    def worn(rows: slice) -> np.ndarray:
        none = np.zeros((len(rate[rows]), 1))
        walked = np.cumsum(walk[rows] * by_walk, axis=1)[:, :-1]
        rates = rate[rows, None] + np.concatenate([none, walked], axis=1)
        return np.concatenate([none, np.cumsum(rates * steps, axis=1)], axis=1)

    start = _starts(p.drag, type_code, count, rng)
    growth = np.maximum(
        rng.normal(p.drag.growth, p.drag.growth * p.drag.growth_cv, count), 0.1 * p.drag.growth
    )

    f = p.failure
    worn_at = _levels(
        rng, count, f.wear_level[type_code], f.wear_level_sd[type_code], f.wear_factor[type_code]
    )
    wear, worn_out = _passing(x, worn, worn_at)
    factor = float(f.drag_factor[type_code])
    level = _levels(rng, count, f.drag_level, f.drag_level_sd, factor)
    delay = level / growth * drag_model.UNIT_KM
    rarer = _rarer(p.drag, type_code, factor, f.drag_level, f.drag_level_sd, delay, typical_km)
    start = start * rarer ** (-1 / p.drag.shape)

    def dragging(rows: slice) -> np.ndarray:
        return growth[rows, None] * np.maximum(x - start[rows, None], 0.0) / drag_model.UNIT_KM

    drag, seized = _passing(x, dragging, level)
    sudden = rng.exponential(1.0, count) / max(float(f.sudden_per_km[type_code]), 1e-15)
    return x, wear, drag, np.minimum(np.minimum(worn_out, seized), sudden), start


def _onset(
    p: OnsetParameters,
    type_code: int,
    x: np.ndarray,
    count: int,
    rng: np.random.Generator,
    typical_km: float | None,
) -> tuple[np.ndarray, np.ndarray]:
    """Return one damage at the stops (count, k) along `x` and where it ends each pump (count,)."""
    start = _starts(p, type_code, count, rng)
    growth = np.maximum(rng.normal(p.growth, p.growth * p.growth_cv, count), 0.1 * p.growth)
    jump = np.maximum(rng.normal(p.jump, p.jump_sd, count), 0.0)
    often = max(p.at_once_per_km * float(p.starts[type_code]), 1e-15)
    at_once = rng.exponential(1.0, count) / often
    comes_so = at_once < start
    start = np.where(comes_so, at_once, start)
    jump = np.where(comes_so, rng.uniform(0, p.most_at_once, count), jump)
    factor = float(p.factor[type_code])
    level = _levels(rng, count, p.fails_at, p.fails_at_sd, factor)
    if p.counts:
        delay = np.maximum(level - jump, 0.0) / growth * drag_model.UNIT_KM
        rarer = _rarer(p, type_code, factor, p.fails_at, p.fails_at_sd, delay, typical_km)
        start = start * rarer ** np.where(comes_so, -1.0, -1 / p.shape)

    def path(rows: slice) -> np.ndarray:
        since = x - start[rows, None]
        return np.where(since > 0, jump[rows, None] + growth[rows, None] * since / drag_model.UNIT_KM, 0.0)

    return _passing(x, path, level)


def _shown(p: OnsetParameters, type_code: int, path: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return what the damage's channel shows at each stop, (count, k)."""
    own = rng.normal(p.level[type_code], np.sqrt(p.level_var), len(path))
    return own[:, None] + path + _noise(rng, path.shape, p.noise * p.type_noise[type_code], p.bad)


def _starts(p: DragParameters, type_code: int, count: int, rng: np.random.Generator) -> np.ndarray:
    """Return the distances at which a damage starts, (count,)."""
    factor = max(float(p.starts[type_code]), 1e-12)
    return np.asarray(p.scale_km * (rng.exponential(1.0, count) / factor) ** (1 / p.shape))


def _levels(rng: np.random.Generator, count: int, level: Value, sd: Value, factor: float) -> np.ndarray:
    """Return failure levels above 0; a type's factor multiplies −ln P(not yet reached)."""
    beyond = special.ndtr(level / sd)
    survive = beyond * rng.random(count) ** (1 / max(float(factor), 1e-6))
    return level - sd * special.ndtri(survive)


def _passing(
    x: np.ndarray, path: Callable[[slice], np.ndarray], level: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the paths at the stops (count, k) and where each first passes its level (count,), AT_ONCE lives
    after the other. path: those of some rows along `x` (rows, m)."""
    at_stops, passes = np.empty((len(level), len(x) // STEPS)), np.empty(len(level))
    for first in range(0, len(level), AT_ONCE):
        rows = slice(first, first + AT_ONCE)
        made = path(rows)
        at_stops[rows], passes[rows] = made[:, STEPS::STEPS], _first_above(x, made, level[rows])
    return at_stops, passes


def _first_above(x: np.ndarray, path: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Return where each path first passes its level, straight between points; infinity: never."""
    above = path > level[:, None]
    j = above.argmax(axis=1)
    passes = above[np.arange(len(level)), j]
    i = np.maximum(j - 1, 0)
    row = np.arange(len(level))
    low, high = path[row, i], path[row, j]
    part = np.where(high > low, (level - low) / np.where(high > low, high - low, 1.0), 0.0)
    return np.where(passes, x[i] + np.clip(part, 0, 1) * (x[j] - x[i]), np.inf)
