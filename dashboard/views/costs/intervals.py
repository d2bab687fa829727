"""How often to capture: what each interval costs and saves, and how far ahead a failure shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from dashboard.charts import money
from dashboard.shell import frame, lists, say

if TYPE_CHECKING:
    from analytics.cost_review.costs import CostReview


def show(review: CostReview) -> None:
    """Draw cost by interval and the warning distance of each type."""
    rows = review.intervals
    if not len(rows):
        say.line("No pump is in service, so there is no interval to weigh.")
        return
    for sentence in review.on_intervals:
        say.line(sentence)
    frame.chart(
        money.by_interval(rows, review.currency, review.distance_unit, palette=frame.palette()),
        "Saving a year over the distance between captures, by type, with the fleet's own interval.",
    )
    say.note(
        "Saving a year against running to failure, captures paid; each type as if the whole fleet were of "
        "it. Dots: the interval of today."
    )
    lists.show(table(review), "Cost and saving by interval and type.", "capture_intervals")
    lists.show(warning_table(review), "How far ahead failures show, by type.", "warning_distance")
    say.note(
        "A failure shows when the rule first calls for a change; unannounced are those that come before it "
        "does. Half of the distance, so that there is time for a second look: common practice, no source."
    )


def table(review: CostReview) -> pd.DataFrame:
    """Return the intervals under the headings shown."""
    rows, money_in = review.intervals, review.currency
    return pd.DataFrame(
        {
            "Type": rows["pump_type"],
            f"Every, {review.distance_unit}": rows["interval"].round(0),
            "As now": ["yes" if own else "" for own in rows["is_own"]],
            f"Cost a year, {money_in}": rows["cost"].round(-2),
            f"Captures of it, {money_in}": rows["capture_cost"].round(-2),
            f"Saves a year, {money_in}": rows["saving"].round(-2),
            "Failures on the road": rows["breakdowns"].round(1),
            "Saves most": ["yes" if best else "" for best in rows["is_best"]],
        }
    )


def warning_table(review: CostReview) -> pd.DataFrame:
    """Return the warning distances under the headings shown."""
    rows, unit = review.warnings, review.distance_unit
    return pd.DataFrame(
        {
            "Type": rows["pump_type"],
            f"Shows ahead, {unit}": rows["warning_p50"].round(-2),
            f"1 in 10 under, {unit}": rows["warning_p10"].round(-2),
            f"1 in 10 over, {unit}": rows["warning_p90"].round(-2),
            "Unannounced, %": (100 * rows["without_warning"]).round(0),
            f"Half of it, {unit}": rows["at_most"].round(-2),
            f"Captured every, {unit}": rows["interval"].round(0),
            "Within half": ["yes" if within else "no" for within in rows["within_rule"]],
        }
    )
