"""Says first on which day an answer stands, where the newest fact on record is old."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from dashboard.words.terminal import tell


def say_age(ledger: Path, asked: date | None, *, to_text: bool) -> None:
    """Print the day of the newest fact where it is older than two weeks and no day was `asked` for.

    to_text: on stdout, before the answer; else on stderr, for what is on stdout is read by programs.
    """
    from analytics.risk.workdays import as_of_sentence, stale
    from dashboard.data.queries import last_fact

    if asked is not None or not ledger.exists():
        return
    newest = last_fact(ledger)
    if newest is not None and stale(newest, date.today()):
        tell(as_of_sentence(newest), aside=not to_text)
