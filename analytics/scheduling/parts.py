"""Parts: when to order, and how many of each type to keep for a service level."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from analytics.money.decision import curve_at
from analytics.risk.parts_ahead import lead_of
from analytics.scheduling.inputs import Inputs
from ingest.errors import EntryRefused


def order_by(needed_on: date, lead_time_days: float) -> date:
    """Return the last day to order a part needed on a day."""
    return needed_on - timedelta(days=int(np.ceil(lead_time_days)))


def stock_for_service_level(expected: float, level: float, certain: int = 0) -> int:
    """Return the smallest stock that meets all demand of one lead time with probability `level`.

    Demand is `certain` booked replacements plus a Poisson number of failures with mean `expected`.
    Raises EntryRefused unless 0 < level < 1 and expected ≥ 0.
    """
    if not 0 < level < 1:
        raise EntryRefused(
            "bad-service-level", f"The service level is {level:g}; it must lie between 0 and 1."
        )
    if not expected >= 0:
        raise EntryRefused("bad-demand", f"Expected failures are {expected:g}; they must be 0 or more.")
    if expected == 0:
        return certain
    # pdtrik inverts P(demand ≤ k) = level for k as a real number.
    most = float(special.pdtrik(level, expected))
    return certain + max(int(np.ceil(most - 1e-9)), 0)


def parts_table(
    needs: pd.DataFrame, failures: pd.DataFrame, stock: pd.DataFrame, as_of: date, level: float
) -> pd.DataFrame:
    """Return one row per depot and type: on_hand, booked, to_order, order_by, keep, lead_time_days.

    needs: depot, pump_type, planned_on, lead_time_days of each booked pump. failures: depot, pump_type,
    lead_time_days, expected_failures (in one lead time). stock: depot, pump_type, on_hand. `keep` is what
    to start a lead time with so that none is missing with probability `level`; `order_by` the earliest day
    by which one must be ordered that stock does not cover.
    """
    keys = ["depot", "pump_type"]
    out = failures.set_index(keys)[["lead_time_days", "expected_failures"]].copy()
    on_hand = stock.set_index(keys)["on_hand"] if len(stock) else pd.Series(dtype=float)
    out["on_hand"] = on_hand.reindex(out.index).fillna(0).astype(int)
    rows = []
    wanted = pd.to_datetime(needs["planned_on"]).sort_values()
    days = dict(list(wanted.groupby([needs[key] for key in keys])))
    pairs: Any = out.iterrows()
    for key, row in pairs:
        depot, pump_type = key
        mine = days.get(key, wanted.iloc[:0])
        uncovered = mine.iloc[int(row["on_hand"]) :]
        soon = pd.Timestamp(as_of) + pd.Timedelta(days=float(row["lead_time_days"]))
        certain = int((mine <= soon).sum())
        rows.append(
            {
                "depot": depot,
                "pump_type": pump_type,
                "on_hand": int(row["on_hand"]),
                "booked": len(mine),
                "to_order": len(uncovered),
                "order_by": order_by(uncovered.iloc[0].date(), row["lead_time_days"])
                if len(uncovered)
                else None,
                "lead_time_days": float(row["lead_time_days"]),
                "expected_failures": float(row["expected_failures"]),
                "keep": stock_for_service_level(float(row["expected_failures"]), level, certain),
            }
        )
    columns = ["depot", "pump_type", "on_hand", "booked", "to_order", "order_by", "lead_time_days",
               "expected_failures", "keep"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def pick_list(lines: pd.DataFrame) -> pd.DataFrame:
    """Return what to lay out, one row per depot, day and pump type: parts, p_used (share expected to be
    used) and returns (number expected back). lines: depot, planned_on, pump_type, p_change."""
    columns = ["depot", "planned_on", "pump_type", "parts", "p_used", "returns"]
    if not len(lines):
        return pd.DataFrame(columns=columns)
    out = lines.groupby(["depot", "planned_on", "pump_type"], as_index=False).agg(
        parts=("pump_id", "size"), p_used=("p_change", "mean")
    )
    return out.assign(returns=out["parts"] * (1 - out["p_used"]))[columns]


def expected_failures(inputs: Inputs, lead: pd.Series, planned: np.ndarray) -> pd.DataFrame:
    """Return expected failures in one lead time by depot and type, of pumps that no change is planned for."""
    pumps = inputs.pumps
    wait = lead_of(pumps["pump_type"], lead)  # no pump, no number
    distance = wait.to_numpy(float) * pumps["pump_km_per_day"].to_numpy(float)
    failing = curve_at(1 - inputs.forecast.survival, inputs.forecast.grid_km, distance)
    failed = (pumps["status"] == "failed").to_numpy()
    frame = pd.DataFrame(
        {
            "depot": pumps["depot"].fillna(""),
            "pump_type": pumps["pump_type"],
            "lead_time_days": wait,
            "f": np.where(planned | failed, 0.0, failing),
        }
    )
    grouped = frame.groupby(["depot", "pump_type"], as_index=False)
    return grouped.agg(lead_time_days=("lead_time_days", "max"), expected_failures=("f", "sum"))
