"""What the next twelve months will cost, by month and depot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from dashboard.charts import money
from dashboard.data import loaders
from dashboard.shell import frame, lists, say
from dashboard.words import formats

if TYPE_CHECKING:
    from analytics.cost_review.budget import Budget
    from analytics.cost_review.costs import CostReview


def show(review: CostReview) -> None:
    """Draw planned spending by month with its range, and the table by month and depot."""
    made = loaders.budget()
    if not len(made.table):
        say.line("No pump is in service, so nothing is to be budgeted.")
        return
    made = made.of(lists.narrowed(made.table, lists.narrowing(("depot",), key="budget"))["depot"].unique())
    if not len(made.table):
        say.line("Nothing is to be budgeted there.")
        return
    say.line(total_words(made, review.currency))
    months = made.by_month
    frame.chart(
        money.budget(months, review.currency, palette=frame.palette()),
        "Money expected by month, with its 80 % range.",
    )
    say.note(
        "Within the plan's days: its own jobs. Later: changes at the rate of the condition rule, and the "
        "failures it leaves. Vehicles cost nothing more from their retirement on. Ranges: 80 %, drawn from "
        "the chance of each pump and of the fleet's life. They don't add up, for not every row comes out "
        "dear at once."
    )
    lists.show(shown(made.with_sums, review.currency), "Budget by month and depot, with its sums.", "budget")


def total_words(made: Budget, currency: str) -> str:
    """Return the year's total with its range and parts, in a sentence."""
    row = made.total.iloc[0]
    return (
        f"Twelve months: about {formats.about(row['cost'])} {currency} (8 in 10: "
        f"{formats.about(row['cost_low'])} to {formats.about(row['cost_high'])}), "
        f"{formats.about(row['changes_cost'])} of it for planned changes and "
        f"{formats.about(row['failures_cost'])} after failures."
    )


def shown(table: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Return the budget under the headings shown."""
    return pd.DataFrame(
        {
            "Month": table["month"],
            "Depot": table["depot"].replace("", "no depot"),
            f"In all, {currency}": table["cost"].round(0),
            f"From, {currency}": table["cost_low"].round(0),
            f"To, {currency}": table["cost_high"].round(0),
            "Changes": table["changes"].round(1),
            f"Changes, {currency}": table["changes_cost"].round(0),
            "Failures": table["failures"].round(1),
            f"Failures, {currency}": table["failures_cost"].round(0),
        }
    )
