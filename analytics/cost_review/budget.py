"""What pumps will cost by month and depot: planned changes and failures to come, with their range.

Within the plan's horizon the planned changes are the plan's own lines, each with its chance of ending in a
change. Later months have them at the rate of the condition rule (policies.RISK) over each pump's distance.
Failures come from each pump's own forecast until its planned change, from a new pump's after it, and from a
new pump's again after a failure; in the months after the horizon they are fewer by what the rule leaves of
them. A vehicle retired costs nothing more. Ranges are 80 % ones, of rows and of every sum of them, from draws
of the same chances (budget_draws.py): each pump's own, and the fleet's life, which all share.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cost_review.budget_draws import Places, draw, sees_its_change
from analytics.cost_review.costs import PER, CostReview
from analytics.cost_review.type_lives import fit_types
from analytics.money.cost_book import cost_book
from analytics.money.decision import curve_at
from analytics.money.policies import RISK, RUN
from analytics.past.history import EPOCH
from analytics.risk.forecast import GRID_KM, State, state_on, survival_on_grid
from ingest.ledger.connection import open_ledger
from ingest.units import to_kept

MONTHS = 12
COLUMNS = (
    "month", "depot", "changes", "changes_cost", "failures", "failures_cost", "cost", "cost_low", "cost_high",
)  # fmt: skip


ALL_MONTHS, ALL_DEPOTS = "all months", "all depots"
SUMMED = ("changes", "changes_cost", "failures", "failures_cost", "cost")


@dataclass(frozen=True)
class Budget:
    """What months will cost at depots. table: COLUMNS, a row per month and depot; draws (number, rows of
    table): money of each row in each draw of the year."""

    table: pd.DataFrame
    draws: np.ndarray

    def of(self, depots: Collection[str]) -> Budget:
        """Return that of some depots alone."""
        mine = self.table["depot"].isin(list(depots)).to_numpy()
        return Budget(self.table[mine].reset_index(drop=True), self.draws[:, mine])

    @property
    def by_month(self) -> pd.DataFrame:
        """COLUMNS, a row per month, depot ALL_DEPOTS."""
        return self._sums(self.table["month"], "month").assign(depot=ALL_DEPOTS)[list(COLUMNS)]

    @property
    def by_depot(self) -> pd.DataFrame:
        """COLUMNS, a row per depot, month ALL_MONTHS."""
        return self._sums(self.table["depot"], "depot").assign(month=ALL_MONTHS)[list(COLUMNS)]

    @property
    def total(self) -> pd.DataFrame:
        """COLUMNS, one row."""
        whole = self._sums(pd.Series(ALL_MONTHS, self.table.index), "month")
        return whole.assign(depot=ALL_DEPOTS)[list(COLUMNS)]

    @property
    def with_sums(self) -> pd.DataFrame:
        """COLUMNS: the total, depots and months (where there is more than one depot), then table; each row
        has its own range."""
        several = self.table["depot"].nunique() > 1
        sums = [self.total, self.by_depot, self.by_month] if several else [self.total]
        return pd.concat([*sums, self.table], ignore_index=True) if len(self.table) else self.table

    def _sums(self, key: pd.Series, name: str) -> pd.DataFrame:
        sums = self.table[list(SUMMED)].groupby(key.rename(name).to_numpy(), sort=True).sum()
        drawn = [self.draws[:, (key == value).to_numpy()].sum(axis=1) for value in sums.index]
        return with_range(sums.rename_axis(name).reset_index(), drawn)


def with_range(rows: pd.DataFrame, drawn: list[np.ndarray]) -> pd.DataFrame:
    """Return rows with cost_low and cost_high: the middle 80 % of each one's draws, widened to its cost where
    so rare a thing is expected that most years see none."""
    ends = np.array([np.quantile(x, [0.1, 0.9]) for x in drawn]).reshape(len(rows), 2)
    cost = rows["cost"].to_numpy(float)
    return rows.assign(cost_low=np.minimum(ends[:, 0], cost), cost_high=np.maximum(ends[:, 1], cost))


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
) -> Budget:
    """Return what each of `months` months from that of `start` will cost at each depot ("": none), start's
    month from that day on; money in the fleet's currency.

    prices: planned, failure of the pumps in service in order of state.rows. lines: the plan's changes:
    pump_id, planned_on, p_change. life_sd: standard error of the fleet's ln life.
    """
    pumps = state.history.pumps.iloc[state.rows].reset_index(drop=True)
    edges = _edges(start, months)
    if not len(pumps):
        return Budget(pd.DataFrame(columns=list(COLUMNS)), np.zeros((1, 0)))
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
    homes, home = np.unique(pumps["depot"].fillna("").to_numpy(str), return_inverse=True)
    sums = [
        np.array([x[home == j].sum(axis=0) for j in range(len(homes))]).T.ravel()
        for x in (changes, cp * changes, fails, cf * fails)
    ]
    table = pd.DataFrame(dict(zip(SUMMED, sums, strict=False)))
    table.insert(0, "month", np.repeat(names, len(homes)))
    table.insert(1, "depot", np.tile(homes.astype(object), months))
    table["cost"] = table["changes_cost"] + table["failures_cost"]
    places = Places(
        GRID_KM, made.survival, made.new_pump_survival, rate, until, changed_on, p_change, cp[:, 0], cf[:, 0],
        home,
    )  # fmt: skip
    drawn = draw(places, edges, horizon_days, rule.changes_per_km, rule.failures_left, life_sd)
    drawn = drawn.reshape(len(drawn), -1)
    return Budget(with_range(table, list(drawn.T))[list(COLUMNS)], drawn.astype(np.float32))


def budget_of(
    ledger: Path, review: CostReview, lines: pd.DataFrame, start: date, horizon_days: int
) -> Budget:
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
        return 1 - curve_at(curves, GRID_KM, days * rate[:, None])

    end = np.minimum(edges[None, :], until[:, None])
    planned = np.isfinite(changed_on)
    on = np.minimum(changed_on, edges[-1])[:, None]
    before = np.diff(dead_by(survival, np.minimum(end, on)), axis=1)
    stays = np.diff(dead_by(survival, np.maximum(end, on)), axis=1)
    since = np.where(planned[:, None], end - np.where(planned, changed_on, 0.0)[:, None], 0.0)
    after = np.diff(dead_by(new, np.maximum(since, 0.0)), axis=1)
    # p_change is a chance from today: the pump must live to see its change.
    sees = sees_its_change(GRID_KM, survival, rate, changed_on)
    goes = np.clip(p_change / sees, 0.0, 1.0)[:, None]
    first = before + (1 - goes) * stays + goes * sees[:, None] * after
    # A pump that failed is followed by a new one, which may fail in a later month.
    steps = np.diff(end, axis=1)
    again = np.zeros_like(first)
    for k in range(first.shape[1] - 1):
        ran = np.concatenate([np.zeros((len(rate), 1)), np.cumsum(steps[:, k + 1 :], axis=1)], axis=1)
        again[:, k + 1 :] += first[:, k : k + 1] * np.diff(dead_by(new, ran), axis=1)
    return np.asarray(first + again)
