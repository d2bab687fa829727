"""Everything a plan rests on, read from the ledger in one go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd

from analytics.money.cost_book import CostBook
from analytics.past.common_steps import Step
from analytics.past.history import failed_on_record
from analytics.risk.forecast import Forecast
from analytics.risk.ranking import Decided, Facts, decide_facts, read_facts
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
        beside = _beside(connection, facts, as_of)
    return _inputs(decide_facts(ledger, facts), beside)


def inputs_of(ledger: Path, decided: Decided) -> Inputs:
    """As `read_inputs` on the last dated fact, of a fleet decided about on the ledger as it is."""
    with open_ledger(ledger) as connection:
        beside = _beside(connection, decided.facts, None)
    return _inputs(decided, beside)


def _beside(connection: duckdb.DuckDBPyConnection, facts: Facts, as_of: date | None) -> dict[str, Any]:
    """Return what a plan rests on beside the decisions about its pumps, as fields of Inputs."""
    listed, revision = listed_before(connection, facts.today)
    return {
        "types": connection.execute(statement("plan_types")).df(),
        "stock": connection.execute(statement("plan_stock")).df(),
        "bays": connection.execute(statement("plan_bays")).df(),
        "due_work": connection.execute(statement("plan_due")).df(),
        "decisions": decisions_on(connection, as_of),
        "previous": last_list(connection, facts.today),
        "last_readings": connection.execute(statement("plan_last_readings"), [facts.history.as_of]).df(),
        "listed": listed,
        "revision": revision,
    }


def _inputs(decided: Decided, beside: dict[str, Any]) -> Inputs:
    facts = decided.facts
    return Inputs(
        as_of=facts.history.as_of,
        today=facts.today,
        settings=facts.settings,
        book=facts.book,
        pumps=decided.pumps,
        forecast=decided.forecast,
        vehicles=facts.vehicles,
        steps=facts.history.common_steps,
        failures=int(failed_on_record(facts.history.pumps).sum()),
        **beside,
    )
