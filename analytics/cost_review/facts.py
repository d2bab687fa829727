"""The one ledger of money: every event that cost something, once, whoever wrote down what it cost.

A breakdown and the replacement of the pump that caused it are one event. Of two amounts written down for it
(the breakdown's and the pump's) the larger counts, the smaller being taken for a part of it. Where nothing
was written down, the prices in force on that day stand in, in a column of their own. Every sum of money spent
is a sum over these rows.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from analytics.money.cost_book import CostBook, cost_book
from analytics.past.frames import fetch
from ingest.ledger.connection import open_ledger

ON_FAILURE, ON_CONDITION, EARLY, OTHER = "on failure", "planned on condition", "early", "other reasons"
BESIDE, OPEN = "breakdown, not the pump", "breakdown, cause not known"
KINDS = {"failed": ON_FAILURE, "on_condition": ON_CONDITION, "opportunity": EARLY}
PUMP_KINDS = (ON_FAILURE, ON_CONDITION, EARLY, OTHER)  # what pumps cost; the others stand beside
PLANNED_KINDS = (ON_CONDITION, EARLY, OTHER)
COLUMNS = (
    "day", "year", "month", "unit", "position", "depot", "class", "pump_type", "kind", "found", "cost",
    "cost_recorded", "cost_estimated", "cost_from", "breakdown_cost", "pump_cost", "pump_id", "breakdown_id",
)  # fmt: skip


def cost_facts(connection: duckdb.DuckDBPyConnection, as_of: date, book: CostBook) -> pd.DataFrame:
    """Return every event up to `as_of`, one row each, with COLUMNS; money in the fleet's currency.

    day (datetime64), year, month ("2026-10"); kind: one of PUMP_KINDS, BESIDE, OPEN; cost = cost_recorded +
    cost_estimated, of which one is 0; cost_from says where it is from; breakdown_cost, pump_cost: what was
    written down for each (NaN: nothing); pump_id, breakdown_id: the rows it comes from. Nothing is estimated
    for a breakdown that is not known to be the pump's.
    """
    rows = fetch(connection, "cost_facts", [as_of])
    rows["day"] = pd.to_datetime(rows["day"])
    rows["kind"] = _kind(rows)
    rows["year"] = rows["day"].dt.year.astype("int64")
    rows["month"] = rows["day"].dt.strftime("%Y-%m")
    rows["depot"] = rows["depot"].fillna("")
    both = rows[["breakdown_cost", "pump_cost"]].astype(float)
    recorded = both.max(axis=1)
    estimated = np.where(rows["kind"].isin(PUMP_KINDS), prices_of_the_day(rows, book), 0.0)
    unknown = recorded.isna().to_numpy()
    rows["cost_recorded"] = recorded.fillna(0.0)
    rows["cost_estimated"] = np.where(unknown, estimated, 0.0)
    rows["cost"] = rows["cost_recorded"] + rows["cost_estimated"]
    twice = both.notna().all(axis=1).to_numpy()
    rows["cost_from"] = np.select(
        [twice, both["breakdown_cost"].notna(), both["pump_cost"].notna(), rows["kind"].isin(PUMP_KINDS)],
        ["breakdown and pump, the larger", "breakdown", "pump", "prices of the day"],
        "not recorded",
    )
    return rows[list(COLUMNS)].reset_index(drop=True)


def read_facts(ledger: Path, as_of: date | None = None) -> pd.DataFrame:
    """Return `cost_facts` of a ledger up to a day (default: all). Raises LedgerError without a ledger."""
    with open_ledger(ledger) as connection:
        day = as_of or date(9999, 12, 31)
        return cost_facts(connection, day, cost_book(connection, day))


def _kind(rows: pd.DataFrame) -> np.ndarray:
    gone = rows["pump_id"].notna()
    changed = rows["removal"].map(KINDS).fillna(OTHER)
    alone = rows["pump_confirmed"].map({"yes": ON_FAILURE, "no": BESIDE}).fillna(OPEN)
    return np.where(gone, changed, alone)


def prices_of_the_day(rows: pd.DataFrame, book: CostBook) -> np.ndarray:
    """Return what each event (day, kind, class, depot, pump_type) costs by the prices in force on its day.

    A price given from a later day on leaves earlier events as they were.
    """
    out = np.zeros(len(rows))
    starts = np.array(sorted({np.datetime64(entry.valid_from) for entry in book.entries}), "datetime64[D]")
    period = np.searchsorted(starts, rows["day"].to_numpy("datetime64[D]"), side="right")
    for k in np.unique(period):
        mine = period == k
        then = book.on_day(starts[k - 1].item() if k else date(1899, 12, 31))
        priced = then.price_frame(rows[mine])
        failed = (rows.loc[mine, "kind"] == ON_FAILURE).to_numpy()
        out[mine] = np.where(failed, priced["failure"], priced["planned"])
    return out


def by_kind(facts: pd.DataFrame) -> pd.DataFrame:
    """Return year, depot, pump_type, kind, replacements, cost_recorded, cost_estimated, cost_each,
    tested_good and, where `facts` has it, life_thrown_away: the same rows added up, pumps alone."""
    rows = facts[facts["kind"].isin(PUMP_KINDS)]
    rows = rows.assign(tested_good=rows["found"] == "tested_good", pump_type=rows["pump_type"].fillna(""))
    sums = {name: (name, "sum") for name in ("cost_recorded", "cost_estimated", "tested_good")}
    sums |= {name: (name, "sum") for name in ("life_thrown_away",) if name in rows}
    grouped = rows.groupby(["year", "depot", "pump_type", "kind"], as_index=False)
    out = grouped.agg(replacements=("kind", "size"), **sums)
    out["cost_each"] = (out["cost_recorded"] + out["cost_estimated"]) / out["replacements"]
    return out


def by_month(facts: pd.DataFrame) -> pd.DataFrame:
    """Return month, kind ("on the road", "planned"), jobs, amount, estimated: pumps alone."""
    rows = facts[facts["kind"].isin(PUMP_KINDS)]
    kind = np.where(rows["kind"] == ON_FAILURE, "on the road", "planned")
    return (
        rows.assign(kind=kind)
        .groupby(["month", "kind"], as_index=False)
        .agg(jobs=("kind", "size"), amount=("cost", "sum"), estimated=("cost_estimated", "sum"))
    )
