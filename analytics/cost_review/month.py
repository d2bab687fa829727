"""One month of a fleet, or of one depot: the figures of the monthly report.

Money comes from the one ledger of money (facts.py), so a month of the report is a sum of the same events as
the cost page. Forecasts are those of the last day before the month, from facts dated by then.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.cost_review.facts import ON_FAILURE, PUMP_KINDS, cost_facts
from analytics.cost_review.given_up import given_up
from analytics.cost_review.groups import in_service
from analytics.cost_review.spend import Changes, changes, with_estimates
from analytics.cost_review.type_lives import fit_types
from analytics.money.cost_book import cost_book
from analytics.past.distance import distances_between
from analytics.past.frames import fetch
from analytics.past.history import EPOCH, read_history
from analytics.past.normal import Z_80
from analytics.risk.forecast import fit_for, state_on
from analytics.statements import statement
from analytics.wear_model.model import risk_model
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.newest_fact import newest_fact
from ingest.ledger.settings import settings_at
from ingest.units import to_kept

LATE_DAYS = 7  # work done up to so long after its day counts as kept
MONTHS_BACK = 24


@dataclass(frozen=True)
class Month:
    """The figures of one month; money in `currency`, distances in `distance_unit`.

    first, last: its days (last: no later than the last dated fact, `whole` says whether that is the month's
    end). facts: events of the month (facts.COLUMNS with told_risk and life_thrown_away); spent: planned, on
    the road and in all of these. history: month, failures, distance, per_100k, planned, on_the_road over
    MONTHS_BACK months and this one. year, year_before: failures per 100,000 over the twelve months to the
    month's end and the twelve before. changes: of the month's changes before failure. examined, tested_good:
    of twelve months' changes. booked, kept, late, failed_first, open: work booked for a day of the month.
    readings, in_doubt: of the month. told, told_low, told_high, seen: failures forecast on the day before the
    month of the pumps then in service, with the 80 % range that chance leaves, and those that came (NaN where
    the records begin later).
    """

    name: str
    depot: str
    first: date
    last: date
    whole: bool
    currency: str
    distance_unit: str
    pumps: int
    facts: pd.DataFrame
    planned: float
    on_the_road: float
    estimated: float
    history: pd.DataFrame
    year: float
    year_before: float
    changes: Changes
    examined: int
    tested_good: int
    booked: int
    kept: int
    late: int
    failed_first: int
    open: int
    readings: int
    in_doubt: int
    told: float
    told_low: float
    told_high: float
    seen: int


def days_of(month: str) -> tuple[date, date]:
    """Return first and last day of "2026-10". Raises EntryRefused for anything else."""
    try:
        year, number = (int(part) for part in month.split("-"))
        first = date(year, number, 1)
    except ValueError as error:
        raise EntryRefused("bad-month", f"'{month}' is no month; write it like 2026-10.") from error
    return first, date(year, number, calendar.monthrange(year, number)[1])


def month_of(ledger: Path, month: str | None = None, depot: str | None = None) -> Month:
    """Return the figures of a month (default: that of the last dated fact), of one depot or of all.

    Raises EntryRefused for what is no month, one after the last dated fact, or a depot that there is not.
    """
    with open_ledger(ledger) as connection:
        newest = newest_fact(connection) or date.today()
        pumps = fetch(connection, "history_pumps")
        pumps = pumps[pumps["fitted_day"].fillna(0) <= (newest - EPOCH).days]
        if not len(pumps):
            raise EntryRefused("nothing-yet", "No pump is recorded yet, so there is no month to report.")
        first, end = days_of(month or f"{newest:%Y-%m}")
        if first > newest:
            raise EntryRefused(
                "bad-month", f"The last dated fact is of {newest}; {first:%Y-%m} has not begun by then."
            )
        last = min(end, newest)
        history = read_history(connection, last)
        depots = set(pumps["depot"].dropna())
        if depot is not None and depot not in depots:
            named = ", ".join(sorted(depots)) or "none"
            raise EntryRefused("unknown-depot", f"There is no depot '{depot}'; there are: {named}.")
        settings = settings_at(connection, last)
        book = cost_book(connection, max(last, date.today()))
        recorded = cost_facts(connection, last, book)
        months = _months_back(first, last)
        run = distances_between(connection, months)
        home = dict(connection.execute(statement("month_depots")).fetchall())
        readings = connection.execute(statement("month_readings"), [first, last]).df()
        booked = connection.execute(statement("month_bookings"), [first, last]).df()
    fit = fit_for(ledger, history)
    lives = fit_types(history.pumps)
    facts = with_estimates(recorded, given_up(history, fit), book)
    if depot is not None:
        facts = facts[facts["depot"] == depot]
        readings, booked = (rows[rows["depot"] == depot] for rows in (readings, booked))
    km = to_kept(1.0, settings["distance_unit"])
    facts = facts.assign(life_thrown_away=facts["life_thrown_away_km"] / km)
    mine = facts[facts["month"] == f"{first:%Y-%m}"].reset_index(drop=True)
    pumps = mine[mine["kind"].isin(PUMP_KINDS)]
    failed = pumps["kind"] == ON_FAILURE
    back = _history(facts, run, home, depot, km)
    twelve = facts[facts["month"] > f"{first.year - 1}-{first.month:02d}"]
    looked = changes(twelve, lives).months
    told, low, high, seen = _told(ledger, first, last, depot, facts)
    return Month(
        f"{first:%Y-%m}", depot or "", first, last, last == end, book.currency,
        str(settings["distance_unit"]),
        int(_of(in_service(history), depot).shape[0]), mine, float(pumps.loc[~failed, "cost"].sum()),
        float(pumps.loc[failed, "cost"].sum()), float(pumps["cost_estimated"].sum()), back,
        _rate(back.tail(12)), _rate(back.tail(24).head(12)), changes(mine, lives),
        int(looked["examined"].sum()), int(looked["tested_good"].sum()),
        *_bookings(booked), int(readings["readings"].sum()), int(readings["in_doubt"].sum()),
        told, low, high, seen,
    )  # fmt: skip


def _of(pumps: pd.DataFrame, depot: str | None) -> pd.DataFrame:
    return pumps if depot is None else pumps[pumps["depot"] == depot]


def _months_back(first: date, last: date) -> dict[str, tuple[date, date]]:
    spans = {f"{first:%Y-%m}": (first, last)}
    at = first
    for _ in range(MONTHS_BACK):
        at = (at - timedelta(days=1)).replace(day=1)
        spans[f"{at:%Y-%m}"] = days_of(f"{at:%Y-%m}")
    return dict(sorted(spans.items()))


def _history(
    facts: pd.DataFrame, run: pd.DataFrame, home: dict[str, str], depot: str | None, km: float
) -> pd.DataFrame:
    if depot is not None:
        run = run.loc[[home.get(unit) == depot for unit in run.index]]
    rows = []
    for name in run:
        mine = facts[(facts["month"] == name) & facts["kind"].isin(PUMP_KINDS)]
        failed = mine["kind"] == ON_FAILURE
        rows.append(
            {
                "month": name,
                "failures": int(failed.sum()),
                "distance": float(run[name].sum()) / km,
                "planned": float(mine.loc[~failed, "cost"].sum()),
                "on_the_road": float(mine.loc[failed, "cost"].sum()),
            }
        )
    out = pd.DataFrame(rows)
    out["per_100k"] = 1e5 * out["failures"] / out["distance"].where(out["distance"] > 0)
    return out


def _rate(months: pd.DataFrame) -> float:
    distance = float(months["distance"].sum())
    return 1e5 * float(months["failures"].sum()) / distance if distance > 0 else np.nan


def _bookings(rows: pd.DataFrame) -> tuple[int, int, int, int, int]:
    """Return booked, kept, late, failed first, open."""
    due = pd.to_datetime(rows["planned_on"])
    off = pd.to_datetime(rows["removed_on"])
    failed = off.notna() & (rows["removal"] == "failed")
    done = off.notna() & ~failed
    kept = done & (off <= due + pd.Timedelta(days=LATE_DAYS))
    counts = (kept.sum(), (done & ~kept).sum(), failed.sum(), off.isna().sum())
    return (len(rows), *(int(n) for n in counts))  # type: ignore[return-value]


def _told(
    ledger: Path, first: date, last: date, depot: str | None, facts: pd.DataFrame
) -> tuple[float, float, float, int]:
    before = first - timedelta(days=1)
    seen = int(((facts["month"] == f"{first:%Y-%m}") & (facts["kind"] == ON_FAILURE)).sum())
    state = state_on(ledger, before)
    pumps = state.history.pumps.iloc[state.rows].reset_index(drop=True)
    if not len(pumps) or not len(state.history.visits):
        return np.nan, np.nan, np.nan, seen
    distance = pumps["km_per_day"].to_numpy(float) * ((last - before).days)
    risk, _ = risk_model(state.fit.parameters).risk(state.known, state.d_0, distance)
    if depot is not None:
        risk = risk[(pumps["depot"] == depot).to_numpy()]
    mean, sd = float(risk.sum()), float(np.sqrt((risk * (1 - risk)).sum()))
    return mean, max(mean - Z_80 * sd, 0.0), mean + Z_80 * sd, seen
