"""What pumps will cost by month and depot: planned changes and failures to come, with their range.

Within the plan's horizon the planned changes are the plan's own lines, each with its chance of ending in a
change. Later months have them at the rate of the condition rule (policies.RISK) over each pump's distance.
Failures come from each pump's own forecast until its planned change, from a new pump's after it, and from a
new pump's again after a failure; in the months after the horizon they are fewer by what the rule leaves of
them. A vehicle retired costs nothing more. Ranges are 80 % ones: chance of each pump (independent) and the
fleet's life (shared).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cost_review.costs import PER, CostReview
from analytics.cost_review.type_lives import fit_types
from analytics.money.cost_book import cost_book
from analytics.money.policies import RISK, RUN
from analytics.past.history import EPOCH
from analytics.past.normal import Z_80
from analytics.risk.forecast import GRID_KM, State, state_on, survival_on_grid
from ingest.ledger.connection import open_ledger
from ingest.units import to_kept

MONTHS = 12
COLUMNS = (
    "month", "depot", "changes", "changes_cost", "failures", "failures_cost", "cost", "cost_low", "cost_high",
)  # fmt: skip


@dataclass(frozen=True)
class Rule:
    """What the condition rule does in the long run: changes per km, and what share of failures it leaves."""

    changes_per_km: float
    failures_left: float


def budget(
    state: State,
    prices: pd.DataFrame,
    lines: pd.DataFrame,
    start: date,
    horizon_days: int,
    rule: Rule,
    life_sd: float,
    months: int = MONTHS,
) -> pd.DataFrame:
    """Return COLUMNS for each of `months` months from that of `start` and each depot ("": none), start's
    month from that day on; money in the fleet's currency.

    prices: planned, failure of the pumps in service in order of state.rows. lines: the plan's changes:
    pump_id, planned_on, p_change. life_sd: standard error of the fleet's ln life.
    """
    pumps = state.history.pumps.iloc[state.rows].reset_index(drop=True)
    edges = _edges(start, months)
    if not len(pumps):
        return pd.DataFrame(columns=list(COLUMNS))
    made = survival_on_grid(state, GRID_KM)
    rate = np.maximum(pumps["km_per_day"].to_numpy(float), 0.0)
    retires = pumps["retires_day"].to_numpy(float) - (start - EPOCH).days
    until = np.where(np.isnan(retires), np.inf, np.maximum(retires, 0.0))
    changed_on, p_change = _planned(pumps, lines, start)
    fails = _failures(made.survival, made.new_pump_survival, rate, edges, until, changed_on, p_change)
    later = edges[:-1] >= horizon_days
    fails = np.where(later[None, :], fails * rule.failures_left, fails)
    inside = (changed_on[:, None] >= edges[:-1]) & (changed_on[:, None] < edges[1:])
    changes = np.where(inside, (p_change * (changed_on < until))[:, None], 0.0)
    days = np.clip(np.minimum(edges[1:], until[:, None]) - edges[:-1], 0.0, None)
    changes = np.where(later[None, :], days * rate[:, None] * rule.changes_per_km, changes)
    cp, cf = prices["planned"].to_numpy(float)[:, None], prices["failure"].to_numpy(float)[:, None]
    names = [f"{m:%Y-%m}" for m in pd.date_range(start.replace(day=1), periods=months, freq="MS")]
    depot = pumps["depot"].fillna("").to_numpy(object)
    rows = []
    for k, name in enumerate(names):
        for home in sorted(set(depot)):
            mine = depot == home
            c, f = changes[mine, k], fails[mine, k]
            own = cp[mine, 0] ** 2 * c * np.maximum(1 - c, 0) + cf[mine, 0] ** 2 * f * np.maximum(1 - f, 0)
            money_c, money_f = float((cp[mine, 0] * c).sum()), float((cf[mine, 0] * f).sum())
            reach = Z_80 * float(np.hypot(np.sqrt(own.sum()), money_f * life_sd))
            total = money_c + money_f
            rows.append(
                (name, home, float(c.sum()), money_c, float(f.sum()), money_f, total, max(total - reach, 0.0),
                 total + reach)
            )  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))


def budget_of(
    ledger: Path, review: CostReview, lines: pd.DataFrame, start: date, horizon_days: int
) -> pd.DataFrame:
    """Return `budget` of a ledger, from its cost review and its plan's changes (Plan.lines, today,
    horizon_days)."""
    state = state_on(ledger)
    with open_ledger(ledger) as connection:
        book = cost_book(connection, start)
    pumps = state.history.pumps.iloc[state.rows].reset_index(drop=True)
    km = to_kept(1.0, review.distance_unit)
    rule = rule_of(review.policies, PER * km)
    lives = fit_types(state.history.pumps)
    life_sd = float(np.sqrt(lives.fleet.covariance[0, 0]))
    return budget(state, book.price_frame(pumps), lines, start, horizon_days, rule, life_sd)


def rule_of(policies: pd.DataFrame, per_km: float) -> Rule:
    """Return what the condition rule does, from CostReview.policies with its events per `per_km` km."""
    if policies.empty:
        return Rule(0.0, 1.0)
    breakdowns, planned = (
        dict(zip(policies["policy"], policies[name].astype(float), strict=True))
        for name in ("breakdowns", "planned")
    )
    left = breakdowns[RISK] / breakdowns[RUN] if breakdowns[RUN] > 0 else 1.0
    return Rule(planned[RISK] / per_km, min(left, 1.0))


def by_month(table: pd.DataFrame) -> pd.DataFrame:
    """Return the depots added up by month; ranges add in squares, depots' chances being apart."""
    if not len(table):
        return table
    sums = table.groupby("month", as_index=False)[
        ["changes", "changes_cost", "failures", "failures_cost", "cost"]
    ].sum()
    square = ((table["cost_high"] - table["cost"]) ** 2).groupby(table["month"]).sum() ** 0.5
    reach = square.reindex(sums["month"]).to_numpy(float)
    return sums.assign(cost_low=np.maximum(sums["cost"] - reach, 0.0), cost_high=sums["cost"] + reach)


def _edges(start: date, months: int) -> np.ndarray:
    """Return the days from `start` at which months begin, and the end of the last, (months + 1,)."""
    firsts = pd.date_range(pd.Timestamp(start).replace(day=1), periods=months + 1, freq="MS")
    days = (firsts - pd.Timestamp(start)).days.to_numpy(float)
    return np.maximum(days, 0.0)


def _planned(pumps: pd.DataFrame, lines: pd.DataFrame, start: date) -> tuple[np.ndarray, np.ndarray]:
    """Return for each pump the days until its planned change (infinite: none) and its chance to be one."""
    if not len(lines):
        return np.full(len(pumps), np.inf), np.zeros(len(pumps))
    first = lines.drop_duplicates("pump_id").set_index("pump_id")
    on = pd.to_datetime(pumps["pump_id"].map(first["planned_on"]))
    days = (on - pd.Timestamp(start)).dt.days.to_numpy(float)
    chance = pumps["pump_id"].map(first["p_change"]).fillna(0.0).to_numpy(float)
    return np.where(np.isnan(days), np.inf, np.maximum(days, 0.0)), chance


def _failures(
    survival: np.ndarray,
    new: np.ndarray,
    rate: np.ndarray,
    edges: np.ndarray,
    until: np.ndarray,
    changed_on: np.ndarray,
    p_change: np.ndarray,
) -> np.ndarray:
    """Return expected failures of each pump's place by month, (n, months)."""

    def dead_by(curves: np.ndarray, days: np.ndarray) -> np.ndarray:
        km = np.clip(days * rate[:, None], 0.0, GRID_KM[-1])
        return np.array([1 - np.interp(x, GRID_KM, s) for x, s in zip(km, curves, strict=True)])

    end = np.minimum(edges[None, :], until[:, None])
    stays = np.diff(dead_by(survival, end), axis=1)
    before = np.diff(dead_by(survival, np.minimum(end, changed_on[:, None])), axis=1)
    with np.errstate(invalid="ignore"):
        since = np.where(
            np.isinf(changed_on)[:, None], 0.0, end - np.where(np.isinf(changed_on), 0, changed_on)[:, None]
        )
    after = np.diff(dead_by(new, np.maximum(since, 0.0)), axis=1)
    first = (1 - p_change)[:, None] * stays + p_change[:, None] * (before + after)
    # A pump that failed is followed by a new one, which may fail in a later month.
    steps = np.diff(end, axis=1)
    again = np.zeros_like(first)
    for k in range(first.shape[1] - 1):
        ran = np.concatenate([np.zeros((len(rate), 1)), np.cumsum(steps[:, k + 1 :], axis=1)], axis=1)
        again[:, k + 1 :] += first[:, k : k + 1] * np.diff(dead_by(new, ran), axis=1)
    return np.asarray(first + again)
