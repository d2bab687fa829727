"""What replacements have cost, kept apart from what they are estimated to have avoided."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np
import pandas as pd

from analytics.cost_review.type_lives import TypeLives
from analytics.money.cost_book import CostBook
from analytics.statements import statement

ON_FAILURE, ON_CONDITION, EARLY, OTHER = "on failure", "planned on condition", "early", "other reasons"
KINDS = {"failed": ON_FAILURE, "on_condition": ON_CONDITION, "opportunity": EARLY}
BAD = ("worn", "seized", "electrical")


def spend_history(
    connection: duckdb.DuckDBPyConnection, as_of: date, pumps: pd.DataFrame, lives: TypeLives, book: CostBook
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return (replacements, breakdowns).

    replacements: year, depot, pump_type, kind, replacements, cost_recorded, cost_estimated
    (by today's prices where none is recorded), cost_each, life_thrown_away_km (estimated: the mean life
    still to come at removal), tested_good. breakdowns: year, depot, breakdowns, pump_confirmed, cost.
    pumps: History.pumps.
    """
    rows = connection.execute(statement("cost_removals"), [as_of]).df()
    breakdowns = connection.execute(statement("cost_breakdowns"), [as_of]).df()
    rows = rows.merge(pumps[["pump_id", "now_km"]], on="pump_id", how="left")
    rows["kind"] = rows["removal"].map(KINDS).fillna(OTHER)
    rows["year"] = pd.to_datetime(rows["removed_on"]).dt.year
    rows["depot"] = rows["depot"].fillna("")
    priced = book.price_frame(rows)
    by_price = np.where(rows["kind"] == ON_FAILURE, priced["failure"], priced["planned"])
    rows["cost_recorded"] = rows["cost"].fillna(0.0)
    rows["cost_estimated"] = np.where(rows["cost"].isna(), by_price, 0.0)
    rows["life_thrown_away_km"] = np.where(rows["kind"] == ON_FAILURE, 0.0, _left(rows, lives))
    rows["tested_good"] = rows["found"] == "tested_good"
    grouped = rows.groupby(["year", "depot", "pump_type", "kind"], as_index=False)
    out = grouped.agg(
        replacements=("pump_id", "size"),
        cost_recorded=("cost_recorded", "sum"),
        cost_estimated=("cost_estimated", "sum"),
        life_thrown_away_km=("life_thrown_away_km", "sum"),
        tested_good=("tested_good", "sum"),
    )
    out["cost_each"] = (out["cost_recorded"] + out["cost_estimated"]) / out["replacements"]
    return out, breakdowns


def _left(rows: pd.DataFrame, lives: TypeLives) -> np.ndarray:
    left = np.zeros(len(rows))
    age = rows["now_km"].fillna(0.0).to_numpy(float)
    for name in rows["pump_type"].unique():
        mine = (rows["pump_type"] == name).to_numpy()
        left[mine] = lives.of(name).life.mean_left(age[mine])
    return left


def avoided(
    connection: duckdb.DuckDBPyConnection, as_of: date, book: CostBook
) -> tuple[float, float, int, int]:
    """Return (low, high, found bad, not examined): what changes on condition are estimated to have avoided.

    Low counts only pumps found bad when taken off, high all but those that tested good; each would have cost
    the difference between an on-failure and a planned replacement, and one that tested good cost its planned
    replacement for nothing. An estimate: nobody saw what would have happened.
    """
    rows = connection.execute(statement("cost_removals"), [as_of]).df()
    rows = rows[rows["removal"] == "on_condition"].reset_index(drop=True)
    if rows.empty:
        return 0.0, 0.0, 0, 0
    price = book.price_frame(rows)
    gap = (price["failure"] - price["planned"]).to_numpy(float)
    bad, good = rows["found"].isin(BAD).to_numpy(), (rows["found"] == "tested_good").to_numpy()
    wasted = float((price["planned"] + price["false_alarm"])[good].sum())
    low = float(gap[bad].sum()) - wasted
    unknown = ~bad & ~good
    return low, low + float(gap[unknown].sum()), int(bad.sum()), int(unknown.sum())


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
    bad, good = changed & rows["found"].isin(BAD), changed & (rows["found"] == "tested_good")
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
