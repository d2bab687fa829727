"""Claims for pumps that were taken off in warranty: opened, sent, paid or refused, with who and when."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from ingest.author import Author
from ingest.dates import read_day
from ingest.errors import EntryRefused
from ingest.ledger.changes import add_row, row_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import as_dicts
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.vocabulary import CLAIM_STATES

# What may come before each state; None: nothing yet.
_AFTER = {
    "open": (None, "refused"), "sent": (None, "open", "refused"), "paid": ("open", "sent", "refused"),
    "refused": ("open", "sent", "paid"),
}  # fmt: skip


def state_claim(
    ledger: Path | str,
    pump_id: int,
    state: str,
    *,
    on: date,
    author: Author,
    amount: float | None = None,
    note: str | None = None,
    today: date | None = None,
) -> int:
    """Add a step to the claim for a pump that was taken off; returns its number.

    Raises EntryRefused for a pump in service, a state that can't follow, a day before the removal or the
    last step or after today, a refusal without why.
    """
    if state not in CLAIM_STATES:
        raise EntryRefused("unknown-state", f"'{state}' is not one of {', '.join(CLAIM_STATES)}.")
    if amount is not None and not 0 <= amount < 1e9:
        raise EntryRefused("bad-amount", f"{amount:g} is no amount of money; give 0 or more.")
    if state == "refused" and not (note or "").strip():
        raise EntryRefused("why-missing", "Say why it was refused.")
    with open_ledger(ledger, read_only=False) as connection:
        pump = row_of(connection, "pump", pump_id)
        if pump is None:
            raise EntryRefused("no-pump", f"There is no pump {pump_id} in this ledger.")
        if pump["removed_on"] is None:
            raise EntryRefused(
                "in-service",
                f"The pump of unit {pump['unit']} is in service; record that it came off, then claim for it.",
            )
        steps = as_dicts(connection.execute(statement("visit/claim_of_pump"), [pump_id]))
        before = steps[-1]["state"] if steps else None
        if before not in _AFTER[state]:
            stands = f"is {before}" if before else "has not been opened"
            raise EntryRefused("out-of-order", f"The claim {stands}; it can't be {state} now.")
        since = steps[-1]["stated_on"] if steps else pump["removed_on"]
        if not since <= on <= (today or date.today()):
            raise EntryRefused("bad-day", f"{on} can't be the day: it lies before {since}, or after today.")
        row = {"pump_id": pump_id, "state": state, "stated_on": on, "stated_by": author.name}
        row |= {"amount": amount, "note": (note or "").strip() or None}
        with transaction(connection, author, "work", command="claim") as stamp:
            return int(add_row(connection, "claim_step", row, stamp))


def pump_claimed_for(
    ledger: Path | str, unit: str, position: str | None = None, serial: str | None = None
) -> int:
    """Return the pump last taken off a unit, in one position or of one serial number if named."""
    with open_ledger(ledger) as connection:
        told = {"unit": unit, "position": position, "serial": serial}
        rows = as_dicts(connection.execute(statement("visit/pump_to_claim"), told))
    if not rows:
        which = f" with serial number {serial}" if serial else f" in position {position}" if position else ""
        raise EntryRefused("no-pump", f"No pump{which} has come off unit {unit}.")
    if len(rows) > 1 and rows[0]["removed_on"] == rows[1]["removed_on"] and not serial:
        serials = ", ".join(str(row["serial"]) for row in rows if row["removed_on"] == rows[0]["removed_on"])
        raise EntryRefused(
            "which-pump", f"Several pumps came off unit {unit} that day ({serials}); give --serial."
        )
    return int(rows[0]["pump_id"])


def claim_day(text: str | None) -> date:
    """Return the day typed, else today's."""
    return read_day(text, field="--on") if text else date.today()
