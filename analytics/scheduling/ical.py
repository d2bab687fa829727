"""The plan as an RFC 5545 calendar: one all-day event per unit and stop."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pandas as pd
from icalendar import Calendar, Event

from analytics.past.frames import each
from analytics.scheduling.planning import Plan


def calendar(plan: Plan, made_at: datetime | None = None) -> bytes:
    """Return the calendar file's bytes; an event keeps its UID while unit and day stay the same."""
    stamp = made_at or datetime.now(UTC)
    book = Calendar()
    book.add("prodid", "-//pumpledger//replacement plan//EN")
    book.add("version", "2.0")
    book.add("method", "PUBLISH")
    stops: Any = plan.lines.groupby(["unit", "planned_on"], sort=True)
    for (unit, day), rows in stops:
        event = Event()
        event.add("uid", f"{unit}-{day}-pump@pumpledger".replace(" ", "_"))
        event.add("dtstamp", stamp)
        event.add("dtstart", day)
        event.add("dtend", day + timedelta(days=1))
        pumps = ", ".join(f"{r.position} pump ({r.pump_type})" for r in each(rows))
        event.add("summary", f"Unit {unit}: replace {pumps}")
        event.add("location", str(rows["depot"].iloc[0]))
        event.add("description", "\n".join(_lines(rows)))
        event.add("status", "CONFIRMED" if (rows["status"] != "proposed").all() else "TENTATIVE")
        book.add_component(event)
    return book.to_ical()


def _lines(rows: pd.DataFrame) -> list[str]:
    out = []
    for row in each(rows):
        out.append(f"{row.position}: {row.reason} Part: {row.part}. {row.hours:.1f} h.")
    due = "; ".join(sorted({text for text in rows["due_work"] if text}))
    return [*out, *([f"Also due: {due}."] if due else []), str(rows["cautions"].iloc[0])]
