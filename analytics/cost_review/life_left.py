"""How far pumps would still run from where a reading left them: lives drawn as the model has them.

Wear and drag stand as far as the readings tell, each with a rate that wanders but never heals, and failure
levels not yet passed; other damages and sudden failures come by their hazard. Where a strip-down showed a
worn pump, only draws in which wear or drag stands at FOUND_FROM of its level or beyond count; where it called
the pump good, only the others (common practice, no source).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import optimize, special

from analytics.learning.gaps import FOUND
from analytics.money.decision import curve_at, lived_km
from analytics.wear_model import drag as drag_model
from analytics.wear_model import wear as wear_model
from analytics.wear_model.failure_risk import Known, RiskModel
from analytics.wear_model.level_rate import LevelRate, Value

GRID_KM = np.concatenate([[0.0], np.geomspace(200.0, 900_000.0, 70)])  # from the last reading on
DRAWS = 300
FOUND_FROM = 0.6  # of its failure level: from there on a strip-down calls a pump worn
LEAN_SD = 1.0  # of λ before anything was looked into
FEW = 0.02  # share of draws under which a strip-down contradicts the readings, and is left out


class Ways(NamedTuple):
    """Draws of damage, (n, draws): where it passes its level, km from the last reading; how much the draw
    counts; how far of its level it stands at the removal."""

    passes_km: np.ndarray
    weight: np.ndarray
    used: np.ndarray


def drawn(model: RiskModel, known: Known, d_0: np.ndarray) -> Ways:
    """Return the draws of n pumps that run at `d_0` (n,) beyond their last reading, both damages together."""
    rng = np.random.default_rng(11)  # the same draws for every pump, so that none moves another's figure
    wear, drag = _wear(model, known, d_0, rng), _drag(model, known, d_0, rng)
    ends = model.ends_by_drag(known)
    started = rng.random(DRAWS)[None, :] < ends[:, None]
    passes = np.minimum(wear.passes_km, np.where(started, drag.passes_km, np.inf))
    # That a pump runs with its drag speaks against it in `ends`: here it tells draws apart among themselves.
    runs = drag.weight / np.maximum(drag.weight.mean(axis=1, keepdims=True), 1e-300)
    weight = wear.weight * np.where(started, runs, 1.0) * (passes > d_0[:, None])
    return Ways(passes, weight, np.maximum(wear.used, np.where(started, drag.used, 0.0)))


def left_beyond(
    model: RiskModel,
    known: Known,
    d_0: np.ndarray,
    until: np.ndarray,
    soon: np.ndarray,
    found: np.ndarray,
    lean: float = 0.0,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return mean and standard deviation (n,) of what is left from `d_0` beyond the last reading on, and the
    chance, before any strip-down, that it is less than `soon` (n,), km.

    until (n,): what is left counts to there at most. lean: of `lean_of`.
    """
    ways = drawn(model, known, d_0)
    before = _leaning(ways, lean)
    weight = _seen(before, ways.used >= FOUND_FROM, found)
    # What else may end it: ∫ exp(−hazard) up to the draw's end, and the same with distance for the spread.
    none = known._replace(drag=known.drag._replace(started=np.zeros_like(known.drag.started)))
    at = d_0[:, None] + GRID_KM
    rest = np.stack([_rest(model, none, d) for d in at.T], axis=1)
    alive = np.exp(-np.maximum.accumulate(np.maximum(rest - rest[:, :1], 0.0), axis=1))
    end = np.minimum(ways.passes_km - d_0[:, None], until[:, None])
    one, two = lived_km(GRID_KM, alive), 2 * lived_km(GRID_KM, GRID_KM * alive)  # ∫ S and 2·∫ x·S
    total = np.maximum(weight.sum(1), 1e-300)
    mean = (weight * curve_at(one, GRID_KM, end)).sum(1) / total
    square = (weight * curve_at(two, GRID_KM, end)).sum(1) / total
    within = np.minimum(soon, until)
    outlives = (ways.passes_km - d_0[:, None]) > within[:, None]
    lives = curve_at(alive, GRID_KM, within) * (before * outlives).sum(1)
    return mean, np.sqrt(np.maximum(square - mean**2, 0.0)), 1 - lives / np.maximum(before.sum(1), 1e-300)


def lean_of(ways: Ways, worn: np.ndarray) -> float:
    """Return how much more whoever takes pumps off knows than their readings: λ of a weight e^(λ·share used)
    on each draw.

    ways: of pumps taken off and looked into; worn (n,): bool, a strip-down called it worn. Were pumps taken
    off by what the readings tell and nothing else, as many would be worn as the draws say. More are, for
    people hear and see what nobody wrote down; λ is the likeliest for what was found, drawn toward 0
    (exponential tilting, normal belief of LEAN_SD).
    """
    if not len(worn):
        return 0.0
    stands = ways.used >= FOUND_FROM

    def against(lean: float) -> float:
        weight = _leaning(ways, lean)
        chance = np.clip((weight * stands).sum(1) / np.maximum(weight.sum(1), 1e-300), FEW, 1 - FEW)
        return float(-np.log(np.where(worn, chance, 1 - chance)).sum() + (lean / LEAN_SD) ** 2 / 2)

    return float(optimize.minimize_scalar(against, bounds=(-6.0, 12.0), method="bounded").x)


def _leaning(ways: Ways, lean: float) -> np.ndarray:
    return np.asarray(ways.weight * np.exp(lean * np.minimum(ways.used, 1.0)))


def _wear(model: RiskModel, known: Known, d_0: np.ndarray, rng: np.random.Generator) -> Ways:
    p, f, code = model.wear, model.failure, known.type_code
    t = wear_model.clock(known.x_km[:, None] + GRID_KM, p.power)
    least = 0.1 * p.rate[code]
    level = (f.wear_level[code], f.wear_level_sd[code], f.wear_factor[code])
    return _ways(known.wear, t, least, p.walk, level, d_0, rng)


def _drag(model: RiskModel, known: Known, d_0: np.ndarray, rng: np.random.Generator) -> Ways:
    p, f, code = model.drag, model.failure, known.type_code
    n = len(code)
    t = np.broadcast_to(GRID_KM / drag_model.UNIT_KM, (n, len(GRID_KM)))
    level = (np.full(n, f.drag_level), np.full(n, f.drag_level_sd), f.drag_factor[code])
    return _ways(known.drag.drag, t, np.full(n, 0.1 * p.growth), p.walk, level, d_0, rng)


def _ways(
    state: LevelRate,
    t: np.ndarray,
    least: np.ndarray,
    walk: Value,
    level: tuple[np.ndarray, np.ndarray, np.ndarray],
    d_0: np.ndarray,
    rng: np.random.Generator,
) -> Ways:
    """Draw paths of one damage over its clock `t` (n, grid), its rate never under `least` (n,), and levels
    (mean, spread, the type's factor) that it had not passed at the last reading."""
    z = rng.standard_normal((2, DRAWS))
    steps = rng.standard_normal((DRAWS, len(GRID_KM) - 1))
    u = rng.random(DRAWS)
    sd = np.sqrt(np.maximum(state.ww, 0.0))
    slope = np.where(sd > 0, state.ws / np.where(sd > 0, state.ww, 1.0), 0.0)
    rest = np.sqrt(np.maximum(state.ss - slope * state.ws, 0.0))
    now = state.w[:, None] + sd[:, None] * z[0]
    rate = state.s[:, None] + slope[:, None] * (now - state.w[:, None]) + rest[:, None] * z[1]
    now = np.maximum(now, 0.0)
    middle, spread, factor = (value[:, None] for value in level)
    weight = special.ndtr((middle - now) / spread) ** factor
    theta = middle - spread * special.ndtri(np.maximum(weight * u, 1e-300) ** (1 / np.maximum(factor, 1e-6)))
    passes = np.full(now.shape, np.inf)
    at_removal = now.copy()
    path, dt = now, np.diff(t, axis=1)
    for j in range(dt.shape[1]):
        grown = np.maximum(rate, least[:, None]) * dt[:, j : j + 1]
        after = path + grown
        part = np.clip((theta - path) / np.maximum(grown, 1e-300), 0.0, 1.0)
        crosses = np.isinf(passes) & (after >= theta)
        passes = np.where(crosses, GRID_KM[j] + part * (GRID_KM[j + 1] - GRID_KM[j]), passes)
        inside = ((d_0 >= GRID_KM[j]) & (d_0 < GRID_KM[j + 1]))[:, None]
        share = ((d_0 - GRID_KM[j]) / (GRID_KM[j + 1] - GRID_KM[j]))[:, None]
        at_removal = np.where(inside, path + share * grown, at_removal)
        rate = rate + np.sqrt(np.maximum(walk * dt[:, j], 0.0))[:, None] * steps[None, :, j]
        path = after
    return Ways(passes, weight, at_removal / np.maximum(theta, 1e-12))


def _seen(weight: np.ndarray, worn: np.ndarray, found: np.ndarray) -> np.ndarray:
    """Return the weights of draws that agree with the strip-down; all, where hardly any does."""
    bad, good = np.isin(found, FOUND)[:, None], (found == "tested_good")[:, None]
    agrees = np.where(bad, worn, np.where(good, ~worn, True))
    kept = weight * agrees
    enough = kept.sum(1, keepdims=True) >= FEW * weight.sum(1, keepdims=True)
    return np.where(enough, kept, weight)


def _rest(model: RiskModel, known: Known, d: np.ndarray) -> np.ndarray:
    parts = model.log_survival(known, d)
    return np.asarray(parts.total - parts.wear)
