"""Replacement policies compared by renewal reward: cost per life over distance per life, with what happens.

    run to failure        every pump until it fails
    fixed age             changed at one age, or at failure before
    limits, last reading  changed at the first PM stop whose reading passes a book limit
    risk                  changed at the first PM stop where waiting costs more (interval_rule.py)

A policy that needs readings pays for every capture and follow-up test. Change is taken to follow at the stop.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analytics.money.cost_book import Prices
from analytics.money.interval_rule import break_even_risk
from analytics.money.policy_simulation import SimulatedLives

RUN, AGE, LIMITS, RISK = "run to failure", "fixed age", "limits on the last reading", "risk"
POLICIES = (RUN, AGE, LIMITS, RISK)


@dataclass(frozen=True)
class Events:
    """What happens per km in the long run under one policy (each number per km), from n simulated lives.

    setting: the age in km, or the cost per km that the risk rule settled on.
    """

    planned: float
    failures: float
    captures: float
    follow_ups: float
    needless: float
    mean_km: float
    lives: int
    setting: float = np.nan

    def cost_per_km(self, prices: Prices) -> float:
        """Return money per km."""
        return (
            self.planned * prices.planned
            + self.failures * prices.failure
            + self.captures * prices.capture
            + self.follow_ups * prices.follow_up
            + self.needless * prices.false_alarm
        )


def run_to_failure(lives: SimulatedLives) -> Events:
    """Return events per km when no pump is changed before it fails."""
    return _events(lives, np.full(len(lives.life_km), np.inf), captures=False)


def fixed_age(lives: SimulatedLives, age_km: float) -> Events:
    """Return events per km with a change at `age_km`; infinite: none is changed before it fails."""
    if not np.isfinite(age_km):
        return run_to_failure(lives)
    return _events(lives, np.full(len(lives.life_km), age_km), captures=False, setting=age_km)


def on_limits(lives: SimulatedLives) -> Events:
    """Return events per km with a change at the first stop whose reading passes a limit."""
    return _events(lives, _first_stop(lives, lives.over_limits), captures=True)


def on_risk(lives: SimulatedLives, prices: Prices) -> Events:
    """Return events per km under the cost rule, its g being the cost per km that it brings about itself.

    g is of replacements alone, as in rank and plan (long_run.py): captures are made either way.
    """
    prices = replace(prices, capture=0.0, follow_up=0.0, false_alarm=0.0)
    g = run_to_failure(lives).cost_per_km(prices)
    best = None
    for _ in range(8):
        found = on_rule(lives, prices, g)
        cost = found.cost_per_km(prices)
        if best is None or cost < best.cost_per_km(prices):
            best = found
        if abs(cost - g) < 1e-4 * g:
            break
        g = min(cost, g)
    assert best is not None
    return best


def on_rule(lives: SimulatedLives, prices: Prices, cost_per_km: float) -> Events:
    """Return events per km under the cost rule with a g that is given, as rank and plan have it."""
    worth = called_for(lives, prices, cost_per_km)
    return _events(lives, _first_stop(lives, worth), captures=True, setting=cost_per_km)


def called_for(lives: SimulatedLives, prices: Prices, cost_per_km: float) -> np.ndarray:
    """Return at which stops the rule calls for a change, bool (n, K)."""
    least = float(break_even_risk(lives.interval_km, prices.planned, prices.failure, cost_per_km))
    return np.asarray((lives.risk >= least) & (lives.risk > lives.risk_if_new))


def warning_km(lives: SimulatedLives, prices: Prices, cost_per_km: float) -> np.ndarray:
    """Return for each life (n,) how far before its failure the rule first calls for a change, 0 if never."""
    first = _first_stop(lives, called_for(lives, prices, cost_per_km))
    return np.maximum(np.where(np.isfinite(first), lives.life_km - first, 0.0), 0.0)


def compare(lives: SimulatedLives, prices: Prices, cost_per_km: float, age_km: float) -> dict[str, Events]:
    """Return events per km under each policy, by its name; cost_per_km: the g of rank and plan; age_km: of
    the fixed age, infinite where none pays."""
    return {
        RUN: run_to_failure(lives),
        AGE: fixed_age(lives, age_km),
        LIMITS: on_limits(lives),
        RISK: on_rule(lives, prices, cost_per_km),
    }


def break_even_ratio(events: Events, to_failure: Events, prices: Prices) -> float:
    """Return the ratio of on-failure to planned cost from which a policy beats running to failure.

    Its stops are kept as they are. Infinite where it avoids no failure.
    """
    avoided = to_failure.failures - events.failures
    if avoided <= 0 or prices.planned <= 0:
        return np.inf
    spent = events.cost_per_km(prices) - events.failures * prices.failure
    return spent / avoided / prices.planned


def _first_stop(lives: SimulatedLives, flagged: np.ndarray) -> np.ndarray:
    flagged = flagged & (lives.visit_km[None, :] < lives.life_km[:, None])
    at = lives.visit_km[flagged.argmax(axis=1)]
    return np.where(flagged.any(axis=1), at, np.inf)


def _events(
    lives: SimulatedLives, change_km: np.ndarray, *, captures: bool, setting: float = np.nan
) -> Events:
    # A pump that outlives the last stop simulated is counted up to there, as neither failed nor changed.
    ends = np.minimum(np.minimum(lives.life_km, change_km), lives.visit_km[-1] + lives.interval_km)
    distance = float(ends.sum())
    changed = (change_km < lives.life_km) & (change_km <= ends)
    failed = (lives.life_km <= ends) & ~changed
    stops = np.searchsorted(lives.visit_km, ends, side="right") if captures else np.zeros(len(ends))
    stop = np.clip(np.searchsorted(lives.visit_km, change_km), 0, len(lives.visit_km) - 1)
    needless = changed & lives.healthy[np.arange(len(ends)), stop]
    return Events(
        planned=float(changed.sum()) / distance,
        failures=float(failed.sum()) / distance,
        captures=float(stops.sum()) / distance,
        follow_ups=float(changed.sum()) / distance if captures else 0.0,
        needless=float(needless.sum()) / distance,
        mean_km=distance / len(ends),
        lives=len(ends),
        setting=setting,
    )
