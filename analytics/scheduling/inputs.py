"""Everything a plan rests on, read from the ledger in one go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.money.cost_book import CostBook
from analytics.risk.forecast import Forecast, fit_for, score, survival_on_grid
from analytics.risk.ranking import rank_facts, read_facts
from analytics.scheduling.bookings import decisions_on, last_list
from analytics.statements import statement
from ingest.ledger.connection import open_ledger

# Fine near the as-of date, where bookings lie; the far end is where hardly any pump still runs.
GRID_KM = np.concatenate([[0.0], np.geomspace(100.0, 600_000.0, 120)])


@dataclass(frozen=True)
class Inputs:
    """`pumps`: rank's rows with prices, cost rule and vehicle facts, indexed 0…n−1 like `forecast`'s rows."""

    as_of: date
    settings: dict[str, Any]
    book: CostBook
    pumps: pd.DataFrame
    forecast: Forecast
    vehicles: pd.DataFrame
    types: pd.DataFrame
    stock: pd.DataFrame
    bays: pd.DataFrame
    due_work: pd.DataFrame
    decisions: pd.DataFrame
    previous: pd.DataFrame | None


def read_inputs(ledger: Path, as_of: date | None) -> Inputs:
    """Read and score the ledger on a day (default: the last dated fact)."""
    with open_ledger(ledger) as connection:
        facts = read_facts(connection, as_of)
        day = facts.history.as_of
        types = connection.execute(statement("plan_types")).df()
        stock = connection.execute("SELECT depot, pump_type, on_hand FROM stock").df()
        bays = connection.execute("SELECT depot, week_of, hours FROM bay_hours").df()
        due = connection.execute("SELECT unit, due_on, work, hours FROM due_work").df()
        decisions = decisions_on(connection, as_of)
        previous = last_list(connection, day)
    state = score(facts.history, fit_for(ledger, facts.history))
    made = survival_on_grid(state, GRID_KM)
    pumps = rank_facts(facts, state).set_index("pump_id").reindex(made.pump_id).reset_index()
    return Inputs(
        day, facts.settings, facts.book, pumps, made, facts.vehicles, types, stock, bays, due,
        decisions, previous,
    )  # fmt: skip
