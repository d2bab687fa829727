"""What money says, in words and small tables shared by pages, commands and the report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboard.words import formats
from ingest.units import to_kept

if TYPE_CHECKING:
    import pandas as pd

    from analytics.cost_review.spend import Changes

NAMES = {
    "run to failure": "run to failure",
    "fixed age": "fixed age",
    "limits on the last reading": "limits on the last reading",
    "risk": "condition",
}


def changes_words(done: Changes, currency: str, unit: str) -> str:
    """Return what the changes before failure came to: counted first, then estimated; distances in `unit`."""
    km = to_kept(1.0, unit)
    low, high = done.life_low_km / km, done.life_high_km / km
    good = int(done.tested_good)
    cost = float(done.months["cost_of_good"].sum()) if len(done.months) else 0.0
    examined = int(done.months["examined"].sum()) if len(done.months) else 0
    words = (
        f"{formats.count(done.changed, 'pump')}; of {examined:,} looked into, strip-down called {good:,} good"
    )
    words += f" ({formats.money(cost, currency)} for nothing)" if good else ""
    return (
        f"{words}. Estimated, and observed by nobody: {done.failures_avoided:,.1f} failures avoided before "
        "the "
        f"next stop (8 in 10: {done.failures_low:,.1f} to {done.failures_high:,.1f}), worth "
        f"{formats.about(done.money_avoided)} {currency} ({formats.about(done.money_low)} to "
        f"{formats.about(done.money_high)}); {formats.about(done.life_thrown_away_km / km)} {unit} of life "
        f"given up ({formats.about(low)} to {formats.about(high)})."
    )


def spending_line(months: pd.DataFrame, currency: str, until: str) -> str:
    """Return the sentence that answers "what did it cost?", for the twelve months to `until` (YYYY-MM).

    months: analytics.cost_review.facts.by_month.
    """
    if not len(months):
        return "No breakdown or planned change is recorded yet."
    first = f"{int(until[:4]) - 1}{until[4:]}"
    year = months[(months["month"] > first) & (months["month"] <= until)]
    amount = year.groupby("kind")["amount"].sum()
    jobs = year.groupby("kind")["jobs"].sum()
    estimated = float(year["estimated"].sum())
    words = (
        f"Twelve months to {until}: {formats.money(amount.get('on the road', 0), currency)} for "
        f"{formats.count(int(jobs.get('on the road', 0)), 'pump')} failed on the road, "
        f"{formats.money(amount.get('planned', 0), currency)} for "
        f"{formats.count(int(jobs.get('planned', 0)), 'planned change')}."
    )
    return words + (
        f" {formats.money(estimated, currency)} of this is by the prices of the day: no cost was recorded."
        if estimated
        else ""
    )
