"""How long each job waits for its part: none where the depot has one left, else the lead time of its type."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ingest.trade_numbers import LEAD_DAYS

STANDING = ("booked", "pinned")  # a person's decision that keeps its day


def lead_of(pump_types: pd.Series, lead_days: pd.Series) -> pd.Series:
    """Return the lead time of each pump's part, days (n,): its type's in `lead_days`, else LEAD_DAYS."""
    return pump_types.map(lead_days).fillna(LEAD_DAYS).astype(float)


def with_parts(pumps: pd.DataFrame, types: pd.DataFrame, stock: pd.DataFrame) -> pd.DataFrame:
    """Return `pumps` with lead_days, until a part ordered today is there, and on_hand, the parts of its type
    at its depot; both (n,)."""
    lead = lead_of(pumps["pump_type"], types.set_index("pump_type")["lead_time_days"])
    where = pd.MultiIndex.from_arrays([pumps["depot"].fillna(""), pumps["pump_type"]])
    there = stock.assign(depot=stock["depot"].fillna("")).groupby(["depot", "pump_type"])["on_hand"].sum()
    return pumps.assign(
        lead_days=np.ceil(lead.to_numpy()),
        on_hand=there.reindex(where).fillna(0).to_numpy(),
    )


def part_waits(
    pumps: pd.DataFrame, ahead: np.ndarray, booked_ahead: np.ndarray, wanted: np.ndarray
) -> np.ndarray:
    """Return the days until the part of each pump's job can be there, (n,): 0 where none is wanted, where an
    order comes in time, or where one is left on hand.

    pumps: depot, pump_type, status, lead_days, on_hand. ahead: days until its job (n,); booked_ahead: until
    the day that a person booked, NaN where none (n,); wanted: bool (n,). What is booked before an order can
    come has its part already; the next ones go to the pumps that have failed. Which of the others gets a part
    that is left is the plan's to say: here each is taken alone, so that no plan is earlier.
    """
    lead = pumps["lead_days"].to_numpy(float)
    booked = ~np.isnan(booked_ahead)
    taken = booked & (booked_ahead < lead)
    early = ~booked & wanted & (ahead < lead)
    down = early & (pumps["status"] == "failed").to_numpy()
    key = [pumps["depot"].fillna("").to_numpy(object), pumps["pump_type"].to_numpy(object)]
    left = pumps["on_hand"].to_numpy(float) - pd.Series(taken).groupby(key).transform("sum").to_numpy()
    before = pd.Series(down).groupby(key).cumsum().to_numpy() - 1
    left = left - np.where(down, before, pd.Series(down).groupby(key).transform("sum").to_numpy())
    return np.where(early & (left < 1), lead, 0.0)
