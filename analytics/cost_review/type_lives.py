"""Weibull lives of each pump type, drawn toward the whole fleet's where a type has few failures.

For type j, with own log-likelihood ℓ_j in a = ln α and b = ln β, the estimate is the maximum of

    ℓ_j(a, b) − (a − a₀)²/2s_a² − (b − b₀)²/2s_b²,

(a₀, b₀) being the fleet's own estimate, made in the same way against a wide belief about fuel pumps.
Uncertainty is normal with the inverse of minus the second derivatives there.

A pump taken off before it failed is no plain suspension: those taken off are the ones about to fail, and
leaving their ends out makes lives too long. `completed` gives each the end that its own forecast told on its
last day. Such an end moves the estimate and adds nothing to its certainty: the covariance is that of the
lives seen alone, at their own estimate, and the step d between both estimates is an error of its own, for the
forecasts that told those ends learned from the same few lives: covariance = seen + d·dᵀ.
Source: empirical Bayes / penalised likelihood, Meeker & Escobar (1998) chapter 14. The widths and the belief
(shape about 2, typical life 250,000 km within a factor of 2.7) are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import optimize

from analytics.cost_review.age_replacement import cost_per_distance
from analytics.cost_review.weibull import Weibull
from analytics.past.normal import Z_80, Z_95

BELIEF = np.array([np.log(250_000.0), np.log(2.0)])
BELIEF_SD = np.array([1.0, 0.4])
BETWEEN_TYPES_SD = np.array([0.35, 0.2])
FEW_FAILURES = 10
SEEN, TOLD = ("now_km", "failed"), ("end_km", "ended")  # where a life ends, and whether it does


@dataclass(frozen=True)
class TypeLife:
    """The life of one pump type; distances in km on the pump's own clock.

    covariance is of (ln scale, ln shape). prior_share: what part of the knowledge of the shape is not this
    type's own lives.
    """

    pump_type: str
    lives: int
    failures: int
    life: Weibull
    covariance: np.ndarray
    prior_share: float

    def draws(self, count: int, rng: np.random.Generator) -> list[Weibull]:
        """Return `count` lives that the data leave possible."""
        middle = [np.log(self.life.scale), np.log(self.life.shape)]
        drawn = rng.multivariate_normal(middle, self.covariance, count)
        return [Weibull(float(np.exp(b)), float(np.exp(a))) for a, b in drawn]

    def interval(self, level: float = 0.8) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return the interval of the scale and of the shape."""
        z = {0.8: Z_80, 0.95: Z_95}[level]
        out = []
        for value, variance in zip((self.life.scale, self.life.shape), np.diag(self.covariance), strict=True):
            half = np.exp(z * np.sqrt(variance))
            out.append((value / half, value * half))
        return out[0], out[1]

    @property
    def text(self) -> str:
        """Say on how much the figures rest."""
        if not self.failures:
            return "No failure since its records begin: life is taken from other types and from practice."
        if self.failures < FEW_FAILURES:
            return (
                f"{self.failures} failure{'s' if self.failures > 1 else ''} in {self.lives} lives: "
                f"{100 * self.prior_share:.0f} % of what is said about ageing is not its own record."
            )
        return ""


@dataclass(frozen=True)
class TypeLives:
    """The fleet's own life and one per type; a type never seen has the fleet's."""

    fleet: TypeLife
    types: dict[str, TypeLife]

    def of(self, pump_type: str | None) -> TypeLife:
        """Return the life of a type."""
        return self.types.get(pump_type or "", self.fleet)


def completed(pumps: pd.DataFrame, given: pd.DataFrame) -> pd.DataFrame:
    """Return History.pumps with end_km and ended: where and whether each life ends, by forecast for those
    taken off unfailed (given: given_up.given_up)."""
    left = pumps["pump_id"].map(given.set_index("pump_id")["life_thrown_away_km"]).astype(float)
    told = left.notna().to_numpy() & ~pumps["failed"].to_numpy(bool)
    return pumps.assign(
        end_km=pumps["now_km"] + np.where(told, left.fillna(0.0), 0.0),
        ended=pumps["failed"].to_numpy(bool) | told,
    )


def fit_types(pumps: pd.DataFrame) -> TypeLives:
    """Fit every type in `pumps`: pump_type, entry_km, now_km, failed (History.pumps), with end_km and ended
    where `completed` gave them."""
    pumps = pumps[pumps["now_km"] > pumps["entry_km"]]
    seen = _fitted(pumps, SEEN)
    if "end_km" not in pumps:
        return seen
    told = _fitted(pumps, TOLD)
    types = {name: _widened(life, seen.types[name]) for name, life in told.types.items()}
    return TypeLives(_widened(told.fleet, seen.fleet), types)


def _fitted(pumps: pd.DataFrame, ends: tuple[str, str]) -> TypeLives:
    fleet = _estimate("all types", pumps, BELIEF, BELIEF_SD, ends)
    types = {
        str(name): _estimate(str(name), rows, _middle(fleet), BETWEEN_TYPES_SD, ends)
        for name, rows in pumps.groupby("pump_type")
    }
    return TypeLives(fleet, types)


def _middle(life: TypeLife) -> np.ndarray:
    return np.array([np.log(life.life.scale), np.log(life.life.shape)])


def _widened(told: TypeLife, seen: TypeLife) -> TypeLife:
    """Return an estimate from ends that forecasts told, as uncertain as the lives seen and the step from
    theirs."""
    step = _middle(told) - _middle(seen)
    return replace(told, covariance=seen.covariance + np.outer(step, step), prior_share=seen.prior_share)


def _estimate(
    name: str, rows: pd.DataFrame, middle: np.ndarray, sd: np.ndarray, ends: tuple[str, str]
) -> TypeLife:
    entry = rows["entry_km"].to_numpy(float)
    late = entry > 0
    log_entry = np.log(entry[late])
    failed = rows["failed"].to_numpy(float)
    log_exit, end = np.log(rows[ends[0]].to_numpy(float)), rows[ends[1]].to_numpy(float)

    def loss(x: np.ndarray) -> tuple[float, np.ndarray]:
        failures, sum_log = end.sum(), (end * log_exit).sum()
        a, b = float(x[0]), float(np.exp(x[1]))
        z, ze = b * (log_exit - a), b * (log_entry - a)
        h, he = np.exp(np.minimum(z, 500)), np.exp(np.minimum(ze, 500))
        value = failures * (x[1] - b * a) + (b - 1) * sum_log - h.sum() + he.sum()
        to_a = -failures * b + b * (h.sum() - he.sum())
        to_b = failures * (1 - b * a) + b * sum_log - (h * z).sum() + (he * ze).sum()
        pull = (x - middle) / sd
        return -value + 0.5 * float(pull @ pull), np.array([-to_a, -to_b]) + pull / sd

    found = optimize.minimize(loss, middle, jac=True, method="BFGS", options={"gtol": 1e-6})
    step = 1e-4
    second = np.array(
        [(loss(found.x + step * e)[1] - loss(found.x - step * e)[1]) / (2 * step) for e in np.eye(2)]
    )
    second = (second + second.T) / 2
    return TypeLife(
        name,
        len(rows),
        int(failed.sum()),
        Weibull(float(np.exp(found.x[1])), float(np.exp(found.x[0]))),
        np.linalg.inv(second),
        float(np.clip(1 / sd[1] ** 2 / second[1, 1], 0, 1)),
    )


def cost_curve(life: Weibull, planned: float, failure: float, ages_km: np.ndarray) -> np.ndarray:
    """Return cost per km at each fixed age."""
    return cost_per_distance(ages_km, life, planned, failure)
