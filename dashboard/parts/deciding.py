"""Carrying out what a person decides about a pump: book, pin, move, reject, close, take back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from analytics.risk.workdays import Workdays
from dashboard.data import loaders
from dashboard.data.changes import demand
from dashboard.shell import access
from dashboard.words import formats
from dashboard.words.warranty import warranty_line
from ingest.errors import PumpledgerError
from ingest.units import parse_quantity

OFFERED_DAYS = 7  # ahead, where nothing is planned


def day_offered(planned: date | None, depot: Any) -> date:
    """Return the day offered for a job: the one it is planned for, else the first in a week on which the
    depot works; never one that is past."""
    today = date.today()
    if planned is not None and planned >= today:
        return planned
    week = np.array([today + timedelta(days=OFFERED_DAYS)], "datetime64[D]")
    return pd.Timestamp(Workdays(loaders.settings()).forward(week, np.array([depot]))[0]).date()


def decide(
    what: str,
    pump_id: int,
    day: date,
    by: str,
    reason: str,
    changed: Any = None,
    *,
    found: str | None = None,
    odometer: str = "",
    risk: float | None = None,
) -> str:
    """Carry one decision out and return the sentence to show.

    When done: changed, Yes, No or None; found, what state the old pump was in, and odometer, as typed. risk:
    as the page shows it, kept with a booking (default: the ranking's).
    """
    from analytics.scheduling import bookings

    ledger, author, reason = loaders.ledger_path(), access.author(by), reason.strip()
    if what == "book":
        if risk is None:
            ranking = loaders.ranking()
            row = ranking[ranking["pump_id"] == pump_id]
            risk = float(row.iloc[0]["risk"]) if len(row) else None
        return bookings.book(ledger, pump_id, day, author=author, reason=reason, risk=risk)
    if what in ("pin", "move"):
        return getattr(bookings, what)(ledger, pump_id, day, author=author, reason=reason)
    if what == "done":
        said = {"Yes": True, "No": False}.get(changed)
        when = min(day, date.today())  # the day offered may be the one planned
        own = loaders.settings()["distance_unit"]
        km = parse_quantity(odometer, "distance", default_unit=own, field="Odometer") if odometer else None
        told = bookings.done(
            ledger, pump_id, author=author, reason=reason, done_on=when, changed=said, found=found,
            odometer_km=km,
        )  # fmt: skip
        return f"{told} {_warranty(pump_id)}".strip() if said else told
    if what in ("reject", "withdraw"):
        return getattr(bookings, what)(ledger, pump_id, author=author, reason=reason)
    demand("", "a decision")
    return ""


def _warranty(pump_id: int) -> str:
    return warranty_line(loaders.warranty(pump_id), loaders.settings()["distance_unit"], date.today())


def decide_all(
    what: str, pumps: Sequence[tuple[int, str]], day: date, by: str, reason: str
) -> tuple[str, list[str]]:
    """Carry one decision out for several pumps (id, unit); return what was done, and each refusal.

    One that is refused keeps none of the others from being carried out.
    """
    done, refused = [], []
    for pump_id, unit in pumps:
        try:
            decide(what, pump_id, day, by, reason)
            done.append(unit)
        except PumpledgerError as error:
            refused.append(f"Unit {unit}: {error.text}")
    named = f"{formats.count(len(done), 'pump')} decided: {', '.join(done)}." if done else ""
    return named, refused
