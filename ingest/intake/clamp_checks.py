"""Clamps looked after: a check on a known current is one entry; one that shifted a day is asked about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from ingest.author import Author
from ingest.checking.clamp_shift import Shift, hold_new_shifts
from ingest.errors import EntryRefused
from ingest.ledger.changes import change_cells
from ingest.ledger.clamps import clamp_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import raise_question
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import settings_at
from ingest.ledger.transaction import transaction
from ingest.typed import demand_day
from ingest.wording.quantities import signed
from ingest.wording.questions import clamp_off

LIKELY_A = (0.05, 1000.0)  # known currents that a check is made on


@dataclass(frozen=True)
class CheckedClamp:
    """What a check on a known current came to. `within_a`: how far the clamp may be off there."""

    clamp: str
    known_a: float
    read_a: float
    within_a: float

    @property
    def passed(self) -> bool:
        """Whether it read what it should."""
        return abs(self.read_a - self.known_a) <= self.within_a

    @property
    def text(self) -> str:
        """The outcome in a sentence."""
        off_a = self.read_a - self.known_a
        said = (
            f"Clamp {self.clamp} read {self.read_a:.3g} A on {self.known_a:.3g} A: {signed(off_a, 2)} A,"
            f" {signed(100 * off_a / self.known_a, 1)} %; it may be off by {self.within_a:.2f} A."
        )
        return (
            said
            if self.passed
            else f"{said} Take it out of use until it is mended or its factor put right; an open question"
            " offers to scale what was read with it."
        )


def record_check(
    ledger: Path,
    clamp: str,
    known_a: float,
    read_a: float,
    *,
    on: date,
    author: Author,
    due_on: date | None = None,
) -> CheckedClamp:
    """Keep a check of a clamp on a known current, A; due_on: when the next is due, where that changes.

    A check that failed leaves a question. Raises EntryRefused for a clamp that is not on record.
    """
    low, high = LIKELY_A
    if not low <= known_a <= high or not abs(read_a) <= 10 * high:
        raise EntryRefused("impossible", f"A known current of {known_a:g} A is none to check a clamp on.")
    demand_day(on, "date")
    with open_ledger(ledger, read_only=False) as connection:
        known = clamp_of(connection, clamp)
        if known is None:
            raise EntryRefused("unknown-clamp", f"Clamp {clamp} is not on record; register it first.")
        within_a = known.within_a(known_a, settings_at(connection, on))
        outcome = CheckedClamp(clamp, known_a, read_a, within_a)
        with transaction(connection, author, "work", command="clamp") as stamp:
            row = {"clamp": clamp, "checked_on": on, "known_a": known_a, "read_a": read_a}
            insert_row(connection, "clamp_check", row | {"checked_by": author.name, "recorded_at": stamp.at})
            values = {"checked_on": on} | ({"due_on": due_on} if due_on else {})
            if known.checked_on is None or on >= known.checked_on:
                change_cells(connection, "clamp", clamp, values, stamp, reason="checked on a known current")
            if not outcome.passed:
                question = clamp_off(clamp, str(on), known_a, read_a, outcome.within_a)
                raise_question(connection, "clamp", clamp, question)
    return outcome


def hold_shifts(ledger: Path, *, author: Author, since: date | None = None) -> list[Shift]:
    """Find clamps that shifted a day's pumps, hold the readings and ask once for each; returns the new."""
    with open_ledger(ledger, read_only=False) as connection:
        return hold_new_shifts(connection, author, since)
