"""An entry as it comes from a person, tidied and checked as far as needs no ledger."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import UTC, datetime
from typing import Any

from ingest.errors import EntryRefused
from ingest.typed import LONGEST_NAME, LONGEST_TEXT, NUMBERS, demand_day, demand_possible, means_nothing, tidy
from ingest.visit.entry import VisitEntry
from ingest.vocabulary import (
    CHECK_RESULTS,
    COMMANDED,
    DELIVERY_AT,
    MOTORS,
    PART_FOUND,
    PARTS,
    REASONS,
    STATES,
    SUPPLIES,
    SUPPLY_AT,
    WORK,
    YES_NO,
)

# Entries that hold a word of a list; blank where not told.
_WORDS = {
    "state": STATES, "motor": MOTORS, "supply": SUPPLIES, "zero_checked": YES_NO, "commanded": COMMANDED,
    "supply_v_at": SUPPLY_AT, "delivery_at": DELIVERY_AT, "check_result": CHECK_RESULTS,
} | dict.fromkeys(PARTS, PART_FOUND)  # fmt: skip


def complete(entry: VisitEntry) -> VisitEntry:
    """Fill in today's date and check the entries that need no ledger.

    Raises EntryRefused for a unit that is none, a word of no list, a number or day that can't be.
    """
    entry = _possible(entry)
    unit = entry.unit.strip()
    if means_nothing(unit):
        raise EntryRefused(
            "unit-missing", f"unit: {unit or 'blank'}; give the vehicle's number, for example --unit 214."
        )
    for field, value, allowed in (
        ("reason", entry.reason, REASONS),
        *((name, getattr(entry, name), (None, *choices)) for name, choices in _WORDS.items()),
        *(("done", work, WORK) for work in entry.done),
    ):
        if value not in allowed:
            names = ", ".join(a for a in allowed if a)
            raise EntryRefused(f"unknown-{field}", f"{field}: '{value}' is not one of {names}.")
    now = datetime.now().astimezone()
    if entry.visited_on is None:
        entry = replace(entry, visited_on=now.date())
    if entry.visited_at is None and entry.visited_on == now.date():
        entry = replace(entry, visited_at=now.astimezone(UTC).replace(tzinfo=None))
    return replace(entry, unit=unit, time_zone=entry.time_zone or now.tzname())


def _possible(entry: VisitEntry) -> VisitEntry:
    """Return the entry with its texts tidied; EntryRefused for what no visit can have."""
    for name in NUMBERS:
        value = getattr(entry, name)
        if value is not None:
            demand_possible(name, value)
    if entry.visited_on is not None:
        demand_day(entry.visited_on, "date")
    tidied: dict[str, Any] = {
        name: tidy(value, name, LONGEST_TEXT if name == "note" else LONGEST_NAME)
        for name, value in asdict(entry).items()
        if isinstance(value, str)
    }
    return replace(entry, **tidied)
