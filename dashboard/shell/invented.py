"""Says of an invented fleet that it is, wherever its figures are shown."""

from __future__ import annotations

from pathlib import Path

from ingest.settings_in_force import Settings
from ingest.wording.language import phrase

NOTE = "Invented fleet: none of its figures is evidence for a real one."


def note(settings: Settings) -> str:
    """Return the sentence for a fleet whose records are invented, else nothing."""
    return phrase(NOTE) if settings.get("records_are") == "invented" else ""


def note_of(ledger: Path) -> str:
    """As `note`, for a ledger."""
    from dashboard.data.queries import settings

    return note(settings(ledger))
