"""What was spent lately, in one sentence, from the one ledger of money."""

from __future__ import annotations

from datetime import date

from dashboard.data import loaders
from dashboard.words import money


def line() -> str:
    """Return what the twelve months to the newest fact on record cost."""
    from analytics.cost_review.facts import by_month

    until = f"{loaders.last_fact() or date.today():%Y-%m}"
    return money.spending_line(by_month(loaders.cost_facts()), loaders.settings()["currency"], until)
