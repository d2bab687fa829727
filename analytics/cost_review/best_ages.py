"""At which age a change pays, by type: the age that the fixed-age policy has, with how unsure it is.

The age is that of the simulated lives (simulated_age.py). How unsure: the ages of least cost over the lives
that the fleet's own record leaves possible (Weibull, type_lives.py) about their own middle, widened by how
far that closed form and the simulation lie apart, so that the range holds both.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.cost_review.age_replacement import best_age, no_dearer
from analytics.cost_review.groups import AGE_LIVES, Group, simulated_life_km
from analytics.cost_review.simulated_age import best_simulated_age, cost_at_ages
from analytics.cost_review.type_lives import TypeLife, TypeLives, cost_curve
from analytics.money.cost_book import CostBook, Prices
from analytics.past.history import History
from analytics.wear_model.model import Parameters
from ingest.trade_numbers import KM_PER_DAY

ALL = "all types"
DRAWS = 400
PER = 10_000


def best_ages(
    history: History, p: Parameters, groups: list[Group], types: TypeLives, book: CostBook, km: float,
    discount_pct: float,
) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """Return a row for each type, after one for ALL (one age for the whole fleet), and their cost curves.

    Distances in units of `km`; the columns are those of costs.CostReview.
    """
    rng = np.random.default_rng(20)
    daily = history.pumps.groupby("pump_type")["km_per_day"].median()
    usual = float(history.pumps["km_per_day"].median()) if len(daily) else KM_PER_DAY
    known = {group.pump_type: group for group in groups}
    rows, curves = [], []
    for name, life in [(ALL, types.fleet), *sorted(types.types.items())]:
        if name == ALL:
            lives, prices = _pooled(groups, p), book.prices()
        elif name in known:
            lives, prices = known[name].life_km, known[name].prices
        else:
            lives, prices = simulated_life_km(p, name), book.prices(pump_type=name)
        per_day = max(float(daily.get(name, usual)), 1e-6)
        rate = np.log1p(discount_pct / 100) / 365.25 / per_day
        row, curve = age_row(name, life, lives, prices, km, rate, rng)
        rows.append(row)
        curves.append(curve)
    return pd.DataFrame(rows), pd.concat(curves, ignore_index=True)


def _pooled(groups: list[Group], p: Parameters) -> np.ndarray:
    """Return lives of all types together, each type as often as new pumps of it are fitted: by its share of
    the distance over its mean life."""
    if not groups:
        return simulated_life_km(p, "")
    often = np.array([g.weight / g.life_km.mean() for g in groups])
    counts = np.round(AGE_LIVES * often / often.sum()).astype(int)
    return np.concatenate([g.life_km[:n] for g, n in zip(groups, counts, strict=True)])


def age_row(
    name: str, life: TypeLife, life_km: np.ndarray, prices: Prices, km: float, rate: float,
    rng: np.random.Generator,
) -> tuple[dict, pd.DataFrame]:  # fmt: skip
    """Return the best age of one type with its interval, and its cost curve; distances divided by `km`.

    life_km: simulated lives; life: the Weibull of the lives on record; rate: per km, 0 for no discount.
    """
    planned, failure = prices.planned, prices.failure
    age = best_simulated_age(life_km, planned, failure)
    to_failure = failure / float(life_km.mean())
    draws = life.draws(DRAWS, rng)
    drawn = [best_age(d, planned, failure).age for d in draws] if planned > 0 else []
    low, high, without = age_range(age, life, planned, failure, np.array(drawn))
    grid = np.linspace(0.05, 2.5, 50) * float(life_km.mean())
    cost = cost_at_ages(life_km, grid, planned, failure)
    middle = cost_curve(life.life, planned, failure, grid)
    spread = np.quantile([cost_curve(d, planned, failure, grid) / middle for d in draws], [0.1, 0.9], axis=0)
    at_best = (
        float(cost_at_ages(life_km, np.array([age]), planned, failure)[0]) if age < np.inf else to_failure
    )
    (scale_low, scale_high), (shape_low, shape_high) = life.interval()
    later = best_simulated_age(life_km, planned, failure, rate) if rate > 0 else np.inf
    row = {
        "pump_type": name,
        "lives": life.lives,
        "failures": life.failures,
        "shape": life.life.shape,
        "shape_low": shape_low,
        "shape_high": shape_high,
        "typical_life": life.life.scale / km,
        "typical_life_low": scale_low / km,
        "typical_life_high": scale_high / km,
        "best_age": age / km if age < np.inf else np.nan,
        "age_low": low / km,
        "age_high": high / km,
        "share_without_age": without,
        "cost_at_best": at_best * PER * km,
        "cost_to_failure": to_failure * PER * km,
        "saving_share": 1 - at_best / to_failure,
        "prior_share": life.prior_share,
        "why_none": "" if age < np.inf else why_none(prices),
        "text": life.text,
        "best_age_discounted": later / km if later < np.inf else np.nan,
    }
    curve = pd.DataFrame(
        {"pump_type": name, "distance": grid / km, "cost": cost * PER * km,
         "cost_low": cost * spread[0] * PER * km, "cost_high": cost * spread[1] * PER * km}
    )  # fmt: skip
    return row, curve


def age_range(
    age: float, life: TypeLife, planned: float, failure: float, drawn: np.ndarray
) -> tuple[float, float, float]:
    """Return the 80 % range of the best age (km; nan where there is none) and the share of possible lives
    under which no age pays.

    drawn: the best ages (infinite: none) of lives that the record leaves possible.
    """
    finite = drawn[np.isfinite(drawn)]
    without = 1 - len(finite) / len(drawn) if len(drawn) else 1.0
    if not np.isfinite(age) or not len(finite):
        return np.nan, np.nan, without
    closed = best_age(life.life, planned, failure).age
    middle = closed if np.isfinite(closed) else float(np.median(finite))
    apart = abs(np.log(age / middle))
    below, above = np.log(middle / np.quantile(finite, 0.1)), np.log(np.quantile(finite, 0.9) / middle)
    return (
        age * float(np.exp(-np.hypot(max(below, 0.0), apart))),
        age * float(np.exp(np.hypot(max(above, 0.0), apart))),
        without,
    )


def why_none(prices: Prices) -> str:
    """Return the sentence that says why there is no best age."""
    if prices.planned <= 0:
        return "A planned replacement costs nothing by these prices."
    if prices.failure <= prices.planned:
        return no_dearer(prices.planned, prices.failure)
    return "By the fitted model no age costs noticeably less than running to failure."
