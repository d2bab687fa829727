"""Replacement at a fixed age: what it costs per distance, and at which age it costs least.

A pump is changed at age T, or when it fails before. Over many lives, cost per distance is

    C(T) = [Cp·R(T) + Cf·(1 − R(T))] / ∫₀^T R(t) dt,

with Cp the cost of a planned and Cf of an on-failure replacement. Where the hazard h rises, C has one
minimum, at h(T)·∫₀^T R − F(T) = Cp/(Cf − Cp), and there C(T) = (Cf − Cp)·h(T).
Source: Barlow & Hunter, Operations Research 8 (1960) 90–100.

Discounted at a rate ρ per distance, money spent at t weighs e^(−ρt); the cost per distance that would be
worth as much is ρ·A/(1 − B), with A = Cp·e^(−ρT)·R(T) + Cf·∫₀^T e^(−ρt) f(t) dt and
B = e^(−ρT)·R(T) + ∫₀^T e^(−ρt) f(t) dt. It tends to C(T) as ρ tends to 0.
Source: Fox, Operations Research 14 (1966) 533–537, from memory, derived again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import integrate, optimize

from analytics.cost_review.weibull import Weibull
from ingest.errors import EntryRefused


@dataclass(frozen=True)
class BestAge:
    """The age that costs least; `age` is infinite where no planned change pays.

    cost: per unit of distance at that age; cost_to_failure: the same when every pump runs to failure.
    why_none: the sentence that says why there is no best age, else "".
    """

    age: float
    cost: float
    cost_to_failure: float
    why_none: str = ""

    @property
    def saving_share(self) -> float:
        """Return what share of the cost of running to failure the best age saves."""
        return 1 - self.cost / self.cost_to_failure


def check_prices(planned: float, failure: float) -> None:
    """Raise EntryRefused unless both prices are numbers above zero."""
    for name, price in (("a planned", planned), ("an on-failure", failure)):
        if not (np.isfinite(price) and price > 0):
            raise EntryRefused(
                "bad-price", f"The cost of {name} replacement is {price:g}; it must be a number above 0."
            )


def cost_per_distance(age: np.ndarray | float, life: Weibull, planned: float, failure: float) -> np.ndarray:
    """Return C(T) at each age (same shape as `age`), in money per unit of distance."""
    survive = life.survival(age)
    return (planned * survive + failure * (1 - survive)) / life.life_within(age)


def best_age(life: Weibull, planned: float, failure: float) -> BestAge:
    """Return the age of least cost under Weibull lives, with its cost and that of running to failure.

    Raises EntryRefused for prices that are no numbers above zero.
    """
    check_prices(planned, failure)
    to_failure = failure / life.mean
    if failure <= planned:
        return BestAge(
            np.inf,
            to_failure,
            to_failure,
            no_dearer(planned, failure),
        )
    if life.shape <= 1:
        return BestAge(
            np.inf,
            to_failure,
            to_failure,
            f"The hazard does not rise with distance (shape {life.shape:.2f}), so an old pump is no "
            "worse than a new one and no age pays.",
        )
    wanted = planned / (failure - planned)

    # With x = T/α: h(T)·∫R − F rises from 0 without bound for β > 1, so it passes `wanted` once.
    unit = Weibull(life.shape, 1.0)

    def lacking(log_x: float) -> float:
        x = float(np.exp(log_x))
        return float(unit.hazard(x) * unit.life_within(x) - (1 - unit.survival(x))) - wanted

    high = 1.0
    while lacking(high) < 0 and high < 300:
        high *= 2
    low = -1.0
    while lacking(low) > 0 and low > -300:
        low *= 2
    if lacking(high) < 0 or lacking(low) > 0:
        return BestAge(np.inf, to_failure, to_failure, "The best age is past any life this type reaches.")
    age = life.scale * float(np.exp(optimize.brentq(lacking, low, high, xtol=1e-15, rtol=1e-14)))
    cost = (failure - planned) * float(life.hazard(age))
    if not cost < to_failure * (1 - 1e-12):
        return BestAge(np.inf, to_failure, to_failure, "The best age is past any life this type reaches.")
    return BestAge(age, cost, to_failure)


def no_dearer(planned: float, failure: float) -> str:
    """Return the sentence that says why no age pays where a failure costs no more than a change."""
    return (
        f"An on-failure replacement ({failure:,.0f}) costs no more than a planned one ({planned:,.0f}), "
        "so no planned change pays."
    )


def cost_per_distance_of(
    survival: Callable[[float], float], age: float, planned: float, failure: float
) -> float:
    """Return C(T) for any survival function, the integral taken numerically."""
    lived, _ = integrate.quad(survival, 0, age, epsabs=1e-12, epsrel=1e-12, limit=200)
    survive = survival(age)
    return (planned * survive + failure * (1 - survive)) / lived


def best_age_of(
    survival: Callable[[float], float], longest: float, planned: float, failure: float
) -> BestAge:
    """Return the best age for any survival function with lives up to `longest` (scan, then refine).

    Raises EntryRefused for prices that are no numbers above zero.
    """
    check_prices(planned, failure)
    grid = np.linspace(longest / 400, longest, 400)
    cost = np.array([cost_per_distance_of(survival, t, planned, failure) for t in grid])
    i = int(cost.argmin())
    to_failure = float(cost[-1])
    if i == len(grid) - 1:
        return BestAge(
            np.inf, to_failure, to_failure, "Cost falls with age all the way: no planned change pays."
        )
    found = optimize.minimize_scalar(
        lambda t: cost_per_distance_of(survival, t, planned, failure),
        bracket=(grid[max(i - 1, 0)], grid[i], grid[i + 1]),
        method="brent",
        options={"xtol": 1e-11},
    )
    return BestAge(float(found.x), float(found.fun), to_failure)


def discounted_cost_per_distance(
    age: float, life: Weibull, planned: float, failure: float, rate: float
) -> float:
    """Return the level cost per distance worth as much as the discounted spending; `rate` per distance.

    Raises EntryRefused for a rate below 0.
    """
    if rate < 0:
        raise EntryRefused("bad-discount", f"The discount rate is {rate:g}; it must be 0 or more.")
    if rate == 0:
        return (
            float(cost_per_distance(age, life, planned, failure)) if np.isfinite(age) else failure / life.mean
        )
    end = min(age, life.quantile(1 - 1e-15))
    # ∫e^(−ρt) f = 1 − e^(−ρT)·R(T) − ρ·∫e^(−ρt) R, whose integrand stays finite at 0 for β < 1.
    weighted, _ = integrate.quad(
        lambda t: np.exp(-rate * t) * life.survival(t), 0, end, epsabs=0, epsrel=1e-11, limit=200
    )
    kept = float(np.exp(-rate * end) * life.survival(end)) if np.isfinite(age) else 0.0
    failing = 1 - kept - rate * weighted
    return float((planned * kept + failure * failing) / weighted)  # 1 − B = ρ·∫e^(−ρt) R
