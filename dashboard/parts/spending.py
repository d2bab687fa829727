"""What was spent lately, in one sentence, from the one ledger of money."""

from __future__ import annotations

from dashboard.data import loaders
from dashboard.words import money


def line() -> str:
    """Return what the last twelve months with records cost."""
    from analytics.cost_review.facts import by_month

    return money.spending_line(by_month(loaders.cost_facts()), loaders.settings()["currency"])
