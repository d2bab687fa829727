"""The cost review: what was spent, what policies would cost here, the best age, and how far to trust it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cost_review.age_replacement import BestAge, best_age, discounted_cost_per_distance
from analytics.cost_review.policy_review import PolicyReview, review_policies
from analytics.cost_review.spend import avoided, realised, spend_history
from analytics.cost_review.type_lives import FEW_FAILURES, TypeLife, TypeLives, cost_curve, fit_types
from analytics.money import policies
from analytics.money.cost_book import (
    CostBook,
    Prices,
    cost_book,
    ratio_sentence,
    read_costs,
    set_cost,
)
from analytics.past.history import History, read_history
from analytics.risk.forecast import fit_for
from analytics.statements import statement
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.trade_numbers import KM_PER_DAY
from ingest.units import KM_PER_MILE

__all__ = ["CostReview", "cost_book", "cost_review", "read_costs", "set_cost"]
DRAWS = 400
PER = 10_000


@dataclass(frozen=True)
class CostReview:
    """Everything the cost page and `pumpledger cost` show. Money in `currency`, distances in `distance_unit`.

    elements: cost_book.CostBook.table. spent: spend.spend_history by year, depot, type and kind (with
    life_thrown_away in distance_unit). breakdowns: by year and depot. policies: policy, cost (per 10,000
    distance_unit), cost_low, cost_high (80 %), renewal_cost (closed form, NaN where there is none),
    replacements, breakdowns, planned (each per 10,000 distance_unit), needless, saving_share, saving_low,
    saving_high, break_even_ratio, setting_km. best_ages: one row per type and one for "all types", ages in
    distance_unit. age_curves: pump_type, distance, cost, cost_low, cost_high. ratio_curve: ratio, policy,
    cost. tornado: driver, low, high (what the risk policy's saving per 10,000 becomes), base.
    avoided_low/high: estimated, never part of `spent`.
    lists: spend.realised. notes: sentences to show; placeholder_note is "" once prices in use are confirmed.
    """

    as_of: date
    currency: str
    distance_unit: str
    planned: float
    failure: float
    ratio: float
    elements: pd.DataFrame
    spent: pd.DataFrame
    breakdowns: pd.DataFrame
    policies: pd.DataFrame
    best_ages: pd.DataFrame
    age_curves: pd.DataFrame
    ratio_curve: pd.DataFrame
    tornado: pd.DataFrame
    avoided_low: float
    avoided_high: float
    lists: pd.DataFrame
    placeholder_note: str
    notes: tuple[str, ...]


def cost_review(
    ledger: Path, as_of: date | None = None, *, discount_pct: float = 0.0, lives: int = 1500
) -> CostReview:
    """Review costs as of a day (default: the last dated fact).

    discount_pct: yearly rate, for the discounted best age. lives: simulated per pump type.
    Raises EntryRefused for a rate below 0, LedgerError without a ledger.
    """
    if not discount_pct >= 0:
        raise EntryRefused("bad-discount", f"The discount rate is {discount_pct:g} %; it must be 0 or more.")
    with open_ledger(ledger) as connection:
        history = read_history(connection, as_of)
        day = history.as_of
        settings = settings_at(connection, day)
        book = cost_book(connection, max(day, date.today()) if as_of is None else day)
        types = fit_types(history.pumps)
        spent, breakdowns = spend_history(connection, day, history.pumps, types, book)
        low, high, bad, unknown = avoided(connection, day, book)
        lists = realised(connection, day)
        limits = connection.execute(statement("type_limits")).df()
    fit = fit_for(ledger, history)
    unit = str(settings["distance_unit"])
    km = KM_PER_MILE if unit == "mi" else 1.0
    prices = book.prices()
    made = review_policies(history, fit.parameters, types, book, limits, settings, lives, PER * km)
    spent = spent.assign(life_thrown_away=spent.pop("life_thrown_away_km") / km)
    ages, curves = _ages(history, types, book, km, discount_pct)
    return CostReview(
        day, book.currency, unit, prices.planned, prices.failure, prices.ratio, book.table(), spent,
        breakdowns, made.table, ages, curves, made.ratio_curve, made.tornado, low, high, lists,
        placeholder_note(prices), tuple(_notes(prices, types, made, bad, unknown)),
    )  # fmt: skip


def placeholder_note(prices: Prices) -> str:
    """Return the sentence that figures rest on placeholders, or ""."""
    if not prices.placeholders:
        return ""
    names = ", ".join(name.replace("_", " ") for name in prices.placeholders)
    return f"These figures rest on placeholder prices that no one has confirmed: {names}."


def _ages(
    history: History, types: TypeLives, book: CostBook, km: float, discount_pct: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    rng = np.random.default_rng(20)
    rows, curves = [], []
    daily = history.pumps.groupby("pump_type")["km_per_day"].median()
    for name, life in [("all types", types.fleet), *sorted(types.types.items())]:
        prices = book.prices(pump_type=None if name == "all types" else name)
        row, curve = age_row(name, life, prices, km, rng)
        row["best_age_discounted"] = np.nan
        if discount_pct > 0:
            per_day = float(
                daily.get(name, history.pumps["km_per_day"].median() if len(daily) else KM_PER_DAY)
            )
            rate = np.log1p(discount_pct / 100) / 365.25 / max(per_day, 1e-6)
            row["best_age_discounted"] = discounted_best(life, prices, rate) / km
        rows.append(row)
        curves.append(curve)
    return pd.DataFrame(rows), pd.concat(curves, ignore_index=True)


def age_row(
    name: str, life: TypeLife, prices: Prices, km: float, rng: np.random.Generator
) -> tuple[dict, pd.DataFrame]:
    """Return the best age of one type with its interval, and its cost curve; distances divided by `km`."""
    best = _best(life, prices)
    draws = life.draws(DRAWS, rng)
    bests = [best_age(d, prices.planned, prices.failure) for d in draws] if prices.planned > 0 else []
    ages = np.array([b.age for b in bests])
    finite = ages[np.isfinite(ages)]
    grid = np.linspace(0.05, 2.5, 50) * life.life.mean
    cost = np.array([cost_curve(d, prices.planned, prices.failure, grid) for d in draws])
    low, high = np.quantile(cost, [0.1, 0.9], axis=0)
    (scale_low, scale_high), (shape_low, shape_high) = life.interval()
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
        "best_age": best.age / km if np.isfinite(best.age) else np.nan,
        "age_low": float(np.quantile(finite, 0.1)) / km if len(finite) else np.nan,
        "age_high": float(np.quantile(finite, 0.9)) / km if len(finite) else np.nan,
        "share_without_age": 1 - len(finite) / len(ages) if len(ages) else 1.0,
        "cost_at_best": best.cost * PER * km,
        "cost_to_failure": best.cost_to_failure * PER * km,
        "saving_share": best.saving_share,
        "prior_share": life.prior_share,
        "why_none": best.why_none,
        "text": life.text,
    }
    curve = pd.DataFrame(
        {
            "pump_type": name,
            "distance": grid / km,
            "cost": cost_curve(life.life, prices.planned, prices.failure, grid) * PER * km,
            "cost_low": low * PER * km,
            "cost_high": high * PER * km,
        }
    )
    return row, curve


def _best(life: TypeLife, prices: Prices) -> BestAge:
    if prices.planned <= 0:
        cost = prices.failure / life.life.mean
        return BestAge(np.inf, cost, cost, "A planned replacement costs nothing by these prices.")
    return best_age(life.life, prices.planned, prices.failure)


def discounted_best(life: TypeLife, prices: Prices, rate_per_km: float) -> float:
    """Return the best age (km) with money discounted; infinite where no age beats running to failure."""
    ages = np.geomspace(0.05, 3.0, 60) * life.life.mean
    cost = [
        discounted_cost_per_distance(a, life.life, prices.planned, prices.failure, rate_per_km) for a in ages
    ]
    without = discounted_cost_per_distance(np.inf, life.life, prices.planned, prices.failure, rate_per_km)
    i = int(np.argmin(cost))
    return float(ages[i]) if cost[i] < without * (1 - 1e-6) else np.inf


def _notes(prices: Prices, types: TypeLives, made: PolicyReview, bad: int, unknown: int) -> list[str]:
    notes = [text for text in (placeholder_note(prices), ratio_sentence(prices)) if text]
    count = types.fleet.failures
    if count == 0:
        notes.append(
            "No failure is on record yet: lives are taken from practice alone, and the figures say what "
            "would follow, not what this fleet has shown."
        )
    elif count < FEW_FAILURES:
        notes.append(
            f"Only {count} failure{'s are' if count > 1 else ' is'} on record: "
            f"{100 * types.fleet.prior_share:.0f} % of what is said about ageing is practice, not this fleet."
        )
    base = made.table[made.table["policy"] == policies.RUN]
    apart = (base["cost"] / base["renewal_cost"] - 1).abs()
    if (apart > 0.15).any():
        notes.append(
            f"By simulation, running to failure costs {100 * float(apart.max()):.0f} % more or less than "
            "by the Weibull fits: the two descriptions of life disagree, so trust the ranges less."
        )
    ours = made.table[made.table["policy"] == policies.RISK]
    if (ours["saving_low"] <= 0).any():
        notes.append("The range of the risk policy's saving includes nothing saved.")
    notes.append(
        "Policies are simulated from the fitted model, taken as true, which flatters the risk policy; "
        "the back-test shows how forecasts did on this fleet."
    )
    notes.append(
        "Money avoided is an estimate, kept apart from money spent: "
        f"{bad} pump{'s' if bad != 1 else ''} taken off on condition found bad, {unknown} not examined."
    )
    return notes
