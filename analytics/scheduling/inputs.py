"""Everything a plan rests on, read from the ledger in one go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.money.cost_book import CostBook
from analytics.past.common_steps import Step
from analytics.past.history import failed_on_record
from analytics.risk.forecast import Forecast, fit_for, score
from analytics.risk.ranking import decided_facts, read_facts
from analytics.scheduling.bookings import decisions_on, last_list, listed_before
from analytics.statements import statement
from ingest.ledger.connection import open_ledger
from ingest.settings_in_force import Settings


@dataclass(frozen=True)
class Inputs:
    """`pumps`: rank's rows with prices, decision and vehicle facts, indexed 0…n−1 like `forecast`'s rows.

    as_of: the day that the risks stand on; today: the day before which nothing is planned. previous: the last
    list kept; listed: the newest line of each pump on any list kept; revision: grows with every list and
    decision; last_readings: rows of plan_last_readings.sql; steps: that many pumps' readings took together;
    failures: of pumps on record, None where not counted.
    """

    as_of: date
    today: date
    settings: Settings
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
    last_readings: pd.DataFrame
    listed: pd.DataFrame
    revision: int = 0
    steps: tuple[Step, ...] = ()
    failures: int | None = None


def read_inputs(ledger: Path, as_of: date | None) -> Inputs:
    """Read and score the ledger on a day (default: the last dated fact, planned from today on)."""
    with open_ledger(ledger) as connection:
        facts = read_facts(connection, as_of)
        day = facts.history.as_of
        types = connection.execute(statement("plan_types")).df()
        stock = connection.execute(statement("plan_stock")).df()
        bays = connection.execute(statement("plan_bays")).df()
        due = connection.execute(statement("plan_due")).df()
        decisions = decisions_on(connection, as_of)
        previous = last_list(connection, facts.today)
        listed, revision = listed_before(connection, facts.today)
        seen = connection.execute(statement("plan_last_readings"), [day]).df()
    state = score(facts.history, fit_for(ledger, facts.history))
    pumps, made = decided_facts(facts, state)
    return Inputs(
        day, facts.today, facts.settings, facts.book, pumps, made, facts.vehicles, types, stock, bays, due,
        decisions, previous, seen, listed, revision, facts.history.common_steps,
        int(failed_on_record(facts.history.pumps).sum()),
    )  # fmt: skip
