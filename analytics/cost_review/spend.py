"""What pumps taken off unfailed gave up and what their change may have avoided: estimates, kept apart from
what was spent.

Avoided failures are the sum of the risks told of the pumps changed: each pump's chance, by its own readings
and by how much more those who take pumps off have known, of failing on the road before its next stop had it
stayed. Nobody saw what would have happened, so none of this is ever called observed; what a strip-down showed
is counted beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from analytics.cost_review.facts import ON_CONDITION, PLANNED_KINDS
from analytics.cost_review.given_up import MODEL_SD, sum_range
from analytics.cost_review.type_lives import TypeLives
from analytics.money.cost_book import CostBook
from analytics.past.normal import Z_80
from analytics.statements import statement
from ingest.vocabulary import FOUND_FAILED

CHANGE_COLUMNS = (
    "month", "changed", "on_condition", "examined", "found_bad", "tested_good", "cost_of_good", "cost",
    "failures_avoided", "avoided_low", "avoided_high", "money_avoided", "life_thrown_away_km", "life_low_km",
    "life_high_km",
)  # fmt: skip


@dataclass(frozen=True)
class Changes:
    """What the changes before failure come to. months: CHANGE_COLUMNS, one row per month with a change; the
    rest is the same over all of them, money in the fleet's currency. Ranges are 80 % ones."""

    months: pd.DataFrame
    changed: int
    tested_good: int
    failures_avoided: float
    failures_low: float
    failures_high: float
    money_avoided: float
    money_low: float
    money_high: float
    life_thrown_away_km: float
    life_low_km: float
    life_high_km: float


def with_estimates(facts: pd.DataFrame, given: pd.DataFrame, book: CostBook) -> pd.DataFrame:
    """Return `facts` with life_thrown_away_km, left_sd_km, told_risk (given_up.given_up; NaN beside changes
    before failure), at_stake (what a failure costs more than a change, today) and false_alarm of each row."""
    told = given.drop(columns=["interval_km"])
    rows = facts.merge(told, on="pump_id", how="left") if len(given) else facts.assign(
        life_thrown_away_km=np.nan, left_sd_km=np.nan, told_risk=np.nan
    )  # fmt: skip
    priced = (
        book.price_frame(rows) if len(rows) else pd.DataFrame(columns=["failure", "planned", "false_alarm"])
    )
    return rows.assign(
        at_stake=(priced["failure"] - priced["planned"]).clip(lower=0).to_numpy(float),
        false_alarm=priced["false_alarm"].to_numpy(float),
    )


def changes(facts: pd.DataFrame, lives: TypeLives) -> Changes:
    """Add up the changes before failure; facts: rows of `with_estimates`."""
    rows = facts[facts["kind"].isin(PLANNED_KINDS)]
    months = [_of_month(str(name), mine, lives) for name, mine in rows.groupby("month", sort=True)]
    table = pd.DataFrame(months, columns=list(CHANGE_COLUMNS))
    whole = _of_month("", rows, lives)
    money_low, money_high = (
        whole["money_avoided"] * whole[end] / whole["failures_avoided"] if whole["failures_avoided"] else 0.0
        for end in ("avoided_low", "avoided_high")
    )
    return Changes(
        table, whole["changed"], whole["tested_good"], whole["failures_avoided"], whole["avoided_low"],
        whole["avoided_high"], whole["money_avoided"], money_low, money_high, whole["life_thrown_away_km"],
        whole["life_low_km"], whole["life_high_km"],
    )  # fmt: skip


def _of_month(month: str, rows: pd.DataFrame, lives: TypeLives) -> dict:
    good, bad = (rows["found"] == "tested_good").to_numpy(), rows["found"].isin(FOUND_FAILED).to_numpy()
    risk = rows["told_risk"].fillna(0.0).to_numpy(float)
    avoided = float(risk.sum())
    reach = Z_80 * float(np.sqrt((risk * (1 - risk)).sum() + (MODEL_SD * avoided) ** 2))
    low, high = sum_range(rows, lives)
    return {
        "month": month,
        "changed": len(rows),
        "on_condition": int((rows["kind"] == ON_CONDITION).sum()),
        "examined": int((good | bad).sum()),
        "found_bad": int(bad.sum()),
        "tested_good": int(good.sum()),
        "cost_of_good": float((rows["cost"] + rows["false_alarm"])[good].sum()),
        "cost": float(rows["cost"].sum()),
        "failures_avoided": avoided,
        "avoided_low": max(avoided - reach, 0.0),
        "avoided_high": avoided + reach,
        "money_avoided": float((risk * rows["at_stake"].to_numpy(float)).sum()),
        "life_thrown_away_km": float(rows["life_thrown_away_km"].fillna(0.0).sum()),
        "life_low_km": low,
        "life_high_km": high,
    }


def realised(connection: duckdb.DuckDBPyConnection, as_of: date) -> pd.DataFrame:
    """Return one row per list kept: what was expected of it, and what became of its pumps by the as-of date.

    list_id, as_of, pumps, changed, failed_first, still_running, expected_failures (in the interval after the
    list had nothing been done), found_bad, tested_good, expected_saving, realised_low, realised_high.
    """
    rows = connection.execute(statement("cost_lists"), [as_of]).df()
    columns = ["list_id", "as_of", "pumps", "changed", "failed_first", "still_running", "expected_failures",
               "found_bad", "tested_good", "expected_saving", "realised_low", "realised_high"]  # fmt: skip
    if rows.empty:
        return pd.DataFrame(columns=columns)
    gone = pd.to_datetime(rows["removed_on"]) <= pd.Timestamp(as_of)
    failed = gone & (rows["removal"] == "failed")
    changed = gone & ~failed
    bad, good = changed & rows["found"].isin(FOUND_FAILED), changed & (rows["found"] == "tested_good")
    gap = rows["failure"] - rows["planned"]
    low = gap.where(bad, 0.0) - rows["planned"].where(good, 0.0)
    rows = rows.assign(
        changed=changed, failed_first=failed, still_running=~gone, found_bad=bad, tested_good=good,
        realised_low=low, realised_high=low + gap.where(changed & ~bad & ~good, 0.0),
    )  # fmt: skip
    sums = {
        name: (name, "sum")
        for name in columns
        if name in rows and name not in ("list_id", "as_of", "expected_saving")
    }
    out = rows.groupby("list_id", as_index=False).agg(
        as_of=("as_of", "first"), pumps=("risk", "size"), expected_failures=("risk", "sum"),
        expected_saving=("expected_saving", "first"), **sums,
    )  # fmt: skip
    return out[columns]
