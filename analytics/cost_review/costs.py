"""The cost review: what was spent, what policies would cost here, the best age, and how far to trust it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.cost_review.answer import Question, age_words, answer, interval_sentences, per_year
from analytics.cost_review.best_ages import PER, best_ages
from analytics.cost_review.facts import by_kind, cost_facts
from analytics.cost_review.given_up import given_up
from analytics.cost_review.groups import fleet_km_per_year, make_groups, total
from analytics.cost_review.intervals import by_interval
from analytics.cost_review.notes import notes
from analytics.cost_review.policy_review import (
    Record,
    pays_from_ratio,
    policy_table,
    ratio_curve,
    saving_range,
    whole_spread,
)
from analytics.cost_review.sensitivity import tornado
from analytics.cost_review.spend import Changes, changes, realised, with_estimates
from analytics.cost_review.type_lives import TypeLives, completed, fit_types
from analytics.money import policies
from analytics.money.cost_book import (
    cost_book,
    price_change,
    read_costs,
    set_cost,
)
from analytics.past.history import failed_on_record, read_history
from analytics.risk.forecast import fit_for
from analytics.statements import statement
from analytics.wording import Remark
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.units import to_kept

__all__ = ["CostReview", "cost_book", "cost_review", "read_costs", "set_cost"]

HIGHEST_DISCOUNT_PCT = 1000.0


@dataclass(frozen=True)
class CostReview:
    """Everything the cost page and `pumpledger cost` show. Money in `currency`, distances in `distance_unit`.

    answer: the sentences to begin with; on_intervals: those on how often to capture. elements:
    cost_book.CostBook.table. facts: every event that cost money (facts.cost_facts), with told_risk and
    life_thrown_away where a pump was changed before it failed; all sums of money spent are over its rows.
    spent: facts.by_kind, its rows by year, depot, type and kind. months: changes before failure by month
    (spend.CHANGE_COLUMNS); changes: the same over all of them.
    policies: policy_review.TABLE_COLUMNS per 10,000 distance_unit of one pump, the chosen age as setting,
    setting_low, setting_high; year: answer.per_year, the same for the whole fleet in a year. record: running
    to failure by simulation and by the fleet's own lives, per 10,000. intervals, warnings:
    intervals.by_interval, money a year. best_ages: one row per type, those of the fixed-age policy, after one
    for "all types" (if the whole fleet had one age), ages in distance_unit. age_curves: pump_type, distance,
    cost, cost_low, cost_high. ratio_curve: ratio, policy, cost. tornado: sensitivity.COLUMNS. against_age: as
    Compared. lists: spend.realised. notes: what it rests on. what_if: prices taken in place of those in
    force, written nowhere.
    """

    as_of: date
    currency: str
    distance_unit: str
    distance_per_year: float
    planned: float
    failure: float
    capture: float
    ratio: float
    answer: tuple[str, ...]
    on_intervals: tuple[str, ...]
    elements: pd.DataFrame
    facts: pd.DataFrame
    spent: pd.DataFrame
    months: pd.DataFrame
    changes: Changes
    policies: pd.DataFrame
    year: pd.DataFrame
    record: Record
    intervals: pd.DataFrame
    warnings: pd.DataFrame
    best_ages: pd.DataFrame
    age_curves: pd.DataFrame
    ratio_curve: pd.DataFrame
    tornado: pd.DataFrame
    against_age: tuple[float, float, float]
    lists: pd.DataFrame
    notes: tuple[Remark, ...]
    what_if: Mapping[str, float | None]


def cost_review(
    ledger: Path,
    as_of: date | None = None,
    *,
    discount_pct: float = 0.0,
    lives: int = 1500,
    what_if: Mapping[str, float | None] | None = None,
) -> CostReview:
    """Review costs as of a day (default: the last dated fact).

    discount_pct: yearly rate, for the discounted best age. lives: simulated per pump type. what_if: prices by
    element (None: a whole amount given up for its elements) in place of those in force, for this review
    alone. Raises EntryRefused for a rate below 0 or what is no price, LedgerError without a ledger.
    """
    if not 0 <= discount_pct <= HIGHEST_DISCOUNT_PCT:  # nan lies nowhere
        raise EntryRefused(
            "bad-discount",
            f"The discount rate is {discount_pct:g} %; it must be 0 or more, up to {HIGHEST_DISCOUNT_PCT:g}.",
        )
    with open_ledger(ledger) as connection:
        history = read_history(connection, as_of)
        day = history.as_of
        settings = settings_at(connection, day)
        book = cost_book(connection, max(day, date.today()) if as_of is None else day)
        recorded = cost_facts(connection, day, book)
        lists = realised(connection, day)
        limits = connection.execute(statement("type_limits")).df()
    for element, amount in (what_if or {}).items():
        kept = price_change(book, element, amount)
        book = book.with_prices({element: None if amount is None else kept})
    fit = fit_for(ledger, history)
    left = given_up(history, fit)
    types = fit_types(completed(history.pumps, left))
    facts = with_estimates(recorded, left, book)
    done = changes(facts, types)
    unit = str(settings["distance_unit"])
    km = to_kept(1.0, unit)
    prices = book.prices()
    pairs = make_groups(history, fit.parameters, book, limits, settings, lives)
    made = _compared(pairs, types, km, fleet_km_per_year(history))
    facts = facts.assign(life_thrown_away=facts["life_thrown_away_km"] / km).drop(
        columns=["life_thrown_away_km", "left_sd_km", "at_stake", "false_alarm"]
    )
    before_records = int((history.pumps["failed"] & ~failed_on_record(history.pumps)).sum())
    months = done.months.rename(columns=lambda name: name.removesuffix("_km"))
    months[["life_thrown_away", "life_low", "life_high"]] /= km
    ages, curves = best_ages(history, fit.parameters, [g for g, _ in pairs], types, book, km, discount_pct)
    asked = Question(
        made.year, made.distance_per_year, unit, book.currency, made.against_age, made.intervals,
        made.warnings, prices.capture, made.planned or prices.planned, made.failure or prices.failure,
        pays_from_ratio(made.ratio_curve), age_words(made.policies, unit),
    )  # fmt: skip
    return CostReview(
        day, book.currency, unit, made.distance_per_year, prices.planned, prices.failure, prices.capture,
        prices.ratio, answer(asked), tuple(interval_sentences(asked)), book.table(), facts, by_kind(facts),
        months, done, made.policies, made.year, made.record, made.intervals, made.warnings, ages, curves,
        made.ratio_curve, made.tornado, made.against_age, lists,
        tuple(
            notes(prices, types, made.record if len(made.policies) else None,
                  f"{book.currency} per {PER:,} {unit}", before_records)
        ),
        dict(what_if or {}),
    )  # fmt: skip


@dataclass(frozen=True)
class Compared:
    """Frames of CostReview that come from simulated policies, distances in the fleet's unit; against_age:
    what the condition rule saves a year against the fixed age, with its 80 % range; planned, failure: mean
    prices."""

    policies: pd.DataFrame
    year: pd.DataFrame
    distance_per_year: float
    record: Record
    intervals: pd.DataFrame
    warnings: pd.DataFrame
    ratio_curve: pd.DataFrame
    tornado: pd.DataFrame
    against_age: tuple[float, float, float]
    planned: float
    failure: float


def _compared(pairs: list, types: TypeLives, km: float, km_per_year: float) -> Compared:
    per_km, factor = PER * km, km_per_year / (PER * km)
    groups = [group for group, _ in pairs]
    events = [group.events() for group in groups]
    table, record = policy_table(groups, events, types, per_km)
    spread = whole_spread(groups, types, record) if groups else 0.0
    against = (
        total(groups, events, policies.AGE) - total(groups, events, policies.RISK),
        *saving_range(groups, events, policies.AGE, policies.RISK, spread),
    )
    intervals, warnings = by_interval(pairs, per_km)
    table, intervals, warnings = (_own_units(frame, km) for frame in (table, intervals, warnings))
    if not groups:
        table = table.iloc[:0]
    year = per_year(table, factor)
    for name in ("cost", "capture_cost", "saving", "breakdowns"):
        intervals[name] = intervals[name].astype(float) * factor
    return Compared(
        table, year, km_per_year / km, record, intervals, warnings, ratio_curve(groups, per_km),
        tornado(groups, events, spread, per_km),
        (against[0] * km_per_year, against[1] * km_per_year, against[2] * km_per_year),
        sum(g.weight * g.prices.planned for g in groups), sum(g.weight * g.prices.failure for g in groups),
    )  # fmt: skip


def _own_units(frame: pd.DataFrame, km: float) -> pd.DataFrame:
    names = [str(name) for name in frame if str(name).endswith("_km")]
    out = frame.astype(dict.fromkeys(names, float))
    out[names] /= km
    return out.rename(columns={name: name.removesuffix("_km") for name in names})
