"""The plan as an RFC 5545 calendar: one event per job, at a time within working hours; cancellations too.

An event's UID is its job's number and stays; SEQUENCE grows with every list kept and every decision, so that
a calendar that has taken in an older file follows the newer one, and what is no longer planned goes.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pandas as pd
from icalendar import Calendar, Event

from analytics.past.frames import each
from analytics.scheduling.lines import outcome
from analytics.scheduling.planning import Plan
from ingest.errors import EntryRefused

JOB_WORDS = {
    "check": "check",
    "check and change": "check and change",
    "capture first": "capture first, then perhaps change",
    "change": "change",
}


def calendar(plan: Plan, made_at: datetime | None = None) -> bytes:
    """Return the calendar file's bytes. Raises EntryRefused where there is no job and none to cancel."""
    stamp = made_at or datetime.now(UTC)
    jobs = plan.jobs
    if not len(jobs) and not len(plan.cancelled):
        raise EntryRefused("empty-calendar", "No job is planned, so there is nothing to put into a calendar.")
    book = Calendar()
    book.add("prodid", "-//pumpledger//work plan//EN")
    book.add("version", "2.0")
    book.add("method", "PUBLISH")
    for row, start, end in _times(jobs, plan.work_hours):
        event = _event(row.pump_id, stamp, plan.revision, start, end)
        event.add("summary", f"Unit {row.unit}: {JOB_WORDS[row.job]} {row.position} pump ({row.pump_type})")
        event.add("location", str(row.depot))
        event.add("description", "\n".join(_lines(row)))
        event.add("status", "CONFIRMED" if row.status != "proposed" else "TENTATIVE")
        book.add_component(event)
    opens = _at(plan.work_hours[0])
    for row in each(plan.cancelled):
        start = datetime.combine(row.planned_on, opens)
        event = _event(row.pump_id, stamp, plan.revision, start, start + timedelta(hours=1))
        event.add("summary", f"Unit {row.unit}: no longer planned")
        event.add("status", "CANCELLED")
        book.add_component(event)
    return book.to_ical()


def _event(pump_id: int, stamp: datetime, revision: int, start: datetime, end: datetime) -> Event:
    event = Event()
    event.add("uid", f"job-P{pump_id}@pumpledger")
    event.add("dtstamp", stamp)
    event.add("sequence", revision)
    event.add("dtstart", start)
    event.add("dtend", end)
    return event


def _times(jobs: pd.DataFrame, hours: tuple[float, float]) -> list[tuple[Any, datetime, datetime]]:
    """Give each job a time: one after another from opening on, from opening again (another bay) at
    closing.
    """
    opens, closes = hours
    out = []
    clock: dict[tuple[str, date], float] = {}
    for row in each(jobs):
        key = (row.depot, row.planned_on)
        at = clock.get(key, opens)
        length = min(max(float(row.hours), 0.25), closes - opens)
        if at + length > closes + 1e-9:
            at = opens
        clock[key] = at + length
        start = datetime.combine(row.planned_on, _at(at))
        out.append((row, start, start + timedelta(minutes=round(60 * length))))
    return out


def _at(hour: float) -> time:
    minutes = round(60 * hour)
    return time(minutes // 60, minutes % 60)


def _lines(row: Any) -> list[str]:
    ends = f" {outcome(row)}." if outcome(row) else ""
    out = [f"Job {row.job_number}. {row.reason}", *(f"- {step}" for step in row.steps)]
    out.append(f"Bring: {row.bring}. Part: {row.part}. {row.hours:.1f} h.{ends}")
    return [*out, *([f"Also due: {row.due_work}."] if row.due_work else []), str(row.cautions)]
