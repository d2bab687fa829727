"""What a person changes from the pages, each with its line in the change log, in one transaction."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.units import parse_quantity
from ingest.visit import corrections
from ingest.visit.instrument_cluster import driven_km
from ingest.visit.settling import settle_by_value, settle_questions

COMMAND = "dashboard"  # how the change log names what was done on a page


def settle(ledger: Path, question_ids: Sequence[int], key: str, reason: str, author: Author) -> int:
    """Settle open questions by one of the answers they offer; returns how many. See `settle_questions`."""
    return settle_questions(ledger, question_ids, key, reason, author, command=COMMAND)


def settle_typed(ledger: Path, question_id: int, text: str, reason: str, author: Author) -> None:
    """Settle a question by the right odometer or day, as typed. See `settle_by_value`."""
    demand(text, "the right value")
    settle_by_value(ledger, question_id, text, reason, author, command=COMMAND)


def withdraw_visit(ledger: Path, visit_id: int, reason: str, author: Author) -> None:
    """Take a visit out of all figures and close what is open about it; it stays in the record.

    Raises EntryRefused without a reason, and when it was withdrawn before.
    """
    demand(reason, "a reason")
    corrections.withdraw_visit(ledger, visit_id, author=author, reason=reason.strip(), command=COMMAND)


def correct_odometer(ledger: Path, visit_id: int, odometer: str, reason: str, author: Author) -> None:
    """Write the right odometer into a visit. See `corrections.correct_odometer`."""
    demand(odometer, "the right odometer")
    demand(reason, "a reason")
    corrections.correct_odometer(ledger, visit_id, odometer, author=author, reason=reason, command=COMMAND)


def driven(ledger: Path, unit: str, on: date | None, odometer: str, own: str, field: str) -> float | None:
    """Return what a unit has driven in all, km, from its odometer as typed; None where nothing was.

    What was driven before a replaced instrument cluster is added, as at a visit. Raises EntryRefused naming
    `field` for what is no distance.
    """
    if not odometer.strip():
        return None
    shown_km = parse_quantity(odometer, "distance", default_unit=own, field=field)
    return driven_km(ledger, unit.strip(), on, shown_km)


def demand(text: str, what: str) -> None:
    """Raise EntryRefused when a text is blank."""
    if not text or not text.strip():
        raise EntryRefused("missing", f"Give {what} first.")
