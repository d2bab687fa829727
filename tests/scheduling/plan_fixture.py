"""Plan inputs made by hand: pumps with a constant hazard, so that every figure can be worked out on paper."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from analytics.money.cost_book import CostBook
from analytics.money.cost_rule import with_prices
from analytics.money.long_run import RATIOS, LongRun
from analytics.risk.deciding import decide_pumps
from analytics.risk.forecast import GRID_KM, Forecast
from analytics.risk.parts_ahead import with_parts
from analytics.scheduling.inputs import Inputs
from ingest.trade_numbers import DEFAULTS

AS_OF = date(2026, 3, 2)  # a Monday
KM_PER_DAY = 100.0
# A life of 230,000 km, half of all changes planned.
LONG_RUN = LongRun(("",), (1 + 0.5 * (RATIOS - 1))[None, :] / 230e3)


def make_inputs(pumps: list[dict], **changes) -> Inputs:
    """Return inputs with one row per dict; keys given override the usual pump.

    A pump's `hazard` (per km) sets its survival exp(−hazard·d) and its risk over the PM interval of 9,000 km.
    """
    rows = []
    for i, given in enumerate(pumps):
        hazard = given.pop("hazard", 5e-5)
        usual = {
            "pump_id": i + 1, "unit": f"U{i + 1}", "position": "main", "pump_type": "T", "depot": "North",
            "class": "van", "finding": "ripple-jumped", "finding_action": "book replacement",
            "step_text": "Book it.", "checked": False, "not_working": False, "circuit_proven": False,
            "cause_found": False, "made": 0,
            "status": "running", "last_visited_on": date(2026, 2, 16), "reason": "Reason.",
            "risk": 1 - np.exp(-hazard * 9000), "risk_if_new": 0.001,
            "horizon_km": 9000.0,
            "km_per_day": KM_PER_DAY, "pump_km_per_day": KM_PER_DAY, "hazard": hazard, "job_hours": 3.0,
            "retires_on": None, "last_pm_on": date(2026, 2, 16),
        }  # fmt: skip
        rows.append(usual | given)
    table = pd.DataFrame(rows)
    vehicles = table.drop_duplicates("unit")[
        ["unit", "class", "depot", "retires_on", "job_hours", "last_pm_on"]
    ]
    vehicles = vehicles.assign(
        vin=None, make="Alder", model="Runner", year=2021, pm_interval_km=9000.0, pm_interval_days=28,
        pm_interval_hours=np.nan, hours_per_day=np.nan,
    )  # fmt: skip
    book = changes.pop("book", None) or CostBook(AS_OF, "USD", (), {})
    settings = DEFAULTS | changes.pop("settings", {})
    today = changes.pop("today", AS_OF)
    ranked = table.drop(columns=["hazard", "job_hours", "retires_on", "last_pm_on"])
    priced = with_prices(ranked, book, LONG_RUN, vehicles)
    survival = np.exp(-table["hazard"].to_numpy(float)[:, None] * GRID_KM[None, :])
    usual = np.exp(-((GRID_KM / 2e5) ** 3))[None, :].repeat(len(table), axis=0)
    forecast = Forecast(
        table["pump_id"].to_numpy(), GRID_KM, survival, table["pump_km_per_day"].to_numpy(float), usual, usual
    )
    nothing = {
        "types": pd.DataFrame(
            {"pump_type": ["T"], "lead_time_days": [4.0], "price": [210.0], "filter": ["none"]}
        ),
        "stock": pd.DataFrame({"depot": ["North"], "pump_type": ["T"], "on_hand": [9]}),
        "bays": pd.DataFrame({"depot": ["North"], "week_of": [pd.NaT], "hours": [40.0]}),
        "due_work": pd.DataFrame({"unit": [], "due_on": [], "work": [], "hours": []}),
        "decisions": decision(0, "none").iloc[:0],
        "previous": None,
        "last_readings": pd.DataFrame(
            columns=["pump_id", "visited_on", "odometer_km", "clamp_point", "mean_a", "ripple_pct", "rpm"]
        ),
        "listed": pd.DataFrame(columns=["pump_id", "unit", "position", "planned_on"]),
    }  # fmt: skip
    facts = nothing | changes
    priced = with_parts(priced, facts["types"], facts["stock"])
    return Inputs(
        as_of=AS_OF, today=today, settings=settings, book=book,
        pumps=decide_pumps(
            priced, forecast.part, vehicles, settings, AS_OF, facts["decisions"], today
        ),
        forecast=forecast, vehicles=vehicles, **facts,
    )  # fmt: skip


def decision(
    pump_id: int, status: str, planned_on: date | None = None, reason: str = "because"
) -> pd.DataFrame:
    """Return one person's decision as the ledger gives it."""
    return pd.DataFrame(
        {
            "pump_id": [pump_id],
            "status": [status],
            "planned_on": [planned_on],
            "reason": [reason],
            "decided_by": ["AB"],
        }
    )
