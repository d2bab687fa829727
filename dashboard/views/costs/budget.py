"""What the next twelve months will cost, by month and depot."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.charts import money
from dashboard.data import loaders
from dashboard.shell import frame, lists, say
from dashboard.words import formats


def show(review: Any) -> None:
    """Draw planned spending by month with its range, and the table by month and depot."""
    table = loaders.budget()
    if not len(table):
        say.line("No pump is in service, so nothing is to be budgeted.")
        return
    table = lists.narrowed(table, lists.narrowing(("depot",), key="budget"))
    if not len(table):
        say.line("Nothing is to be budgeted there.")
        return
    from analytics.cost_review.budget import by_month

    months = by_month(table)
    total = months["cost"].sum()
    say.line(
        f"Twelve months: about {formats.about(total)} {review.currency}, "
        f"{formats.about(months['changes_cost'].sum())} of it for planned changes and "
        f"{formats.about(months['failures_cost'].sum())} after failures."
    )
    frame.chart(
        money.budget(months, review.currency, palette=frame.palette()),
        "Money expected by month, with its 80 % range.",
    )
    say.note(
        "Within the plan's days: its own jobs. Later: changes at the rate of the condition rule, and the "
        "failures it "
        "leaves. Vehicles cost nothing more from their retirement on. Bars of range: 80 %."
    )
    lists.show(shown(table, review.currency), "Budget by month and depot.", "budget")


def shown(table: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Return the budget under the headings shown."""
    return pd.DataFrame(
        {
            "Month": table["month"],
            "Depot": table["depot"].replace("", "no depot"),
            "Changes": table["changes"].round(1),
            f"Changes, {currency}": table["changes_cost"].round(0),
            "Failures": table["failures"].round(1),
            f"Failures, {currency}": table["failures_cost"].round(0),
            f"In all, {currency}": table["cost"].round(0),
            f"From, {currency}": table["cost_low"].round(0),
            f"To, {currency}": table["cost_high"].round(0),
        }
    )
