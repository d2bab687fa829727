"""The fixed age of least cost, from lives simulated off the fitted model: the one age that the review says.

With n lives l in order, R(t) is the share that lasts beyond t and ∫₀ᵀ R = mean(min(l, T)), so that

    C(T) = [Cp·R(T) + Cf·(1 − R(T))] / mean(min(l, T)),

and with later money weighing less, at a rate ρ per distance, ρ·A/(1 − B) with A = mean(Cp·e^(−ρT)·[l > T] +
Cf·e^(−ρl)·[l ≤ T]) and B = mean(e^(−ρ·min(l, T))): the formulas of age_replacement.py over lives instead of a
Weibull. A Weibull through lives that end by sudden failures and by wear puts its best age far too late; the
fitted model keeps the two apart.

Near the least the curve is flat and chance moves it, so a parabola in ln T through the ages that cost hardly
more gives the age.
"""

from __future__ import annotations

import numpy as np

CENTILES = np.linspace(0.01, 0.995, 150)
NEAR = 0.04  # ages within this share of the least cost make the parabola
LEAST_SAVING = 0.01  # an age that saves less than this share of running to failure is none: chance alone


def cost_at_ages(
    life_km: np.ndarray, ages_km: np.ndarray, planned: float, failure: float, rate: float = 0.0
) -> np.ndarray:
    """Return C(T) in money per km at each age (k,), from lives (n,) in any order; rate: ρ per km."""
    life = np.sort(np.asarray(life_km, float))
    n, ages = len(life), np.asarray(ages_km, float)
    ended = np.searchsorted(life, ages, side="right")
    left = n - ended
    if rate == 0:
        lived = np.concatenate([[0.0], np.cumsum(life)])[ended] + left * ages
        return np.asarray((planned * left + failure * ended) / lived)
    weight = np.exp(-rate * life)
    paid = np.concatenate([[0.0], np.cumsum(weight)])[ended]
    kept = left * np.exp(-rate * ages)
    return np.asarray(rate * (planned * kept + failure * paid) / (n - paid - kept))


def best_simulated_age(life_km: np.ndarray, planned: float, failure: float, rate: float = 0.0) -> float:
    """Return the age (km) of least cost, infinite where none beats running to failure by LEAST_SAVING."""
    life = np.asarray(life_km, float)
    if failure <= planned or not planned > 0 or len(life) < 2:
        return np.inf
    ages = np.unique(np.quantile(life, CENTILES))
    cost = cost_at_ages(life, ages, planned, failure, rate)
    without = float(cost_at_ages(life, life.max()[None], planned, failure, rate)[0])
    i = int(cost.argmin())
    if cost[i] > without * (1 - LEAST_SAVING):
        return np.inf
    return _vertex(np.log(ages), cost, i)


def _vertex(log_age: np.ndarray, cost: np.ndarray, i: int) -> float:
    """Return the age where a parabola through the ages around i that cost hardly more is least."""
    dear = np.flatnonzero(cost > cost[i] * (1 + NEAR))
    first = int(dear[dear < i].max() + 1) if (dear < i).any() else 0
    last = int(dear[dear > i].min()) if (dear > i).any() else len(cost)
    x = log_age[first:last]
    if len(x) < 5:
        return float(np.exp(log_age[i]))
    square, slope, _ = np.polyfit(x - log_age[i], cost[first:last], 2)
    if square <= 0:
        return float(np.exp(log_age[i]))
    return float(np.exp(np.clip(log_age[i] - slope / (2 * square), x[0], x[-1])))
