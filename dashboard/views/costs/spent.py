"""What was spent, event by event, and what changes before failure came to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analytics.cost_review.facts import ON_FAILURE, PUMP_KINDS
from dashboard.charts import money
from dashboard.shell import frame, lists, say
from dashboard.words import formats
from dashboard.words.money import changes_words

if TYPE_CHECKING:
    from analytics.cost_review.costs import CostReview

EVENTS = {
    "day": "Day", "unit": "Unit", "position": "Pump", "depot": "Depot", "pump_type": "Type", "kind": "Kind",
    "cost": "Cost, {currency}", "cost_recorded": "Recorded, {currency}",
    "cost_estimated": "By the prices of the day, {currency}", "cost_from": "Amount from",
    "breakdown_cost": "On the breakdown, {currency}", "pump_cost": "On the pump, {currency}",
    "found": "Found",
    "told_risk": "Risk before its next stop, %", "life_thrown_away": "Life given up, {unit} (estimated)",
}  # fmt: skip


def show(review: CostReview) -> None:
    """Draw money spent by year and kind, the events it is the sum of, and changes before failure by month."""
    facts = of_pumps(review.facts)
    if not len(facts):
        say.line("No replacement or breakdown is recorded yet.")
        return
    facts = lists.narrowed(facts, lists.narrowing(("depot", "pump_type"), key="cost"))
    if not len(facts):
        say.line("Nothing was spent there.")
        return
    frame.chart(
        money.spent(by_period(facts), review.currency, palette=frame.palette()),
        "Money spent by year, on planned changes and after failures.",
    )
    estimated, total = facts["cost_estimated"].sum(), facts["cost"].sum()
    say.note(
        f"{formats.money(total, review.currency)} in {formats.count(len(facts), 'event')}, each counted "
        "once. "
        + (
            f"{formats.percent(estimated / total)} of it is by the prices of the day: no cost was recorded."
            if estimated
            else "All of it was recorded."
        )
    )
    lists.show(by_year(facts, review.currency), "Replacements by year and kind, with money.", "spent")
    st.subheader("The events that make it up", anchor=False)
    say.note(
        "A breakdown and the pump it ended are one event. Of two amounts written down for it the larger "
        "counts; "
        "the smaller is taken for a part of it."
    )
    newest = facts.iloc[::-1]
    lists.show(newest, "Every event that cost money.", "cost_events", shown=lambda rows: events(rows, review))
    beside = review.facts[~review.facts["kind"].isin(PUMP_KINDS)]
    if len(beside):
        say.note(
            f"Beside this, and in no sum above: {formats.count(len(beside), 'breakdown')} not known to be a "
            f"pump's, {formats.money(beside['cost'].sum(), review.currency)} recorded."
        )
    show_changes(review)


def of_pumps(facts: pd.DataFrame) -> pd.DataFrame:
    """Return the events that pumps cost."""
    return facts[facts["kind"].isin(PUMP_KINDS)]


def by_period(facts: pd.DataFrame) -> pd.DataFrame:
    """Return period, kind ("planned", "on the road") and amount, as the chart takes them."""
    kind = facts["kind"].map(lambda k: "on the road" if k == ON_FAILURE else "planned")
    rows = pd.DataFrame({"period": facts["year"].astype(str), "kind": kind, "amount": facts["cost"]})
    return rows.groupby(["period", "kind"])[["amount"]].sum().reset_index()


def by_year(facts: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Return the sums by year and kind under the headings shown."""
    grouped = facts.assign(good=facts["found"] == "tested_good").groupby(["year", "kind"], as_index=False)
    table = grouped.agg(
        replacements=("kind", "size"), recorded=("cost_recorded", "sum"), estimated=("cost_estimated", "sum"),
        cost=("cost", "sum"), good=("good", "sum"),
    )  # fmt: skip
    table.columns = [
        "Year", "Kind", "Replacements", f"Recorded, {currency}", f"By the prices of the day, {currency}",
        f"In all, {currency}", "Tested good",
    ]  # fmt: skip
    return table.round(0)


def events(facts: pd.DataFrame, review: CostReview) -> pd.DataFrame:
    """Return events as read: days, names, the fleet's own units."""
    out = facts.assign(
        day=facts["day"].map(formats.day), told_risk=(100 * facts["told_risk"]).round(1),
        life_thrown_away=facts["life_thrown_away"].round(-2),
        found=facts["found"].map(lambda f: "" if formats.is_unknown(f) else str(f).replace("_", " ")),
    )  # fmt: skip
    out[["cost", "cost_recorded", "cost_estimated", "breakdown_cost", "pump_cost"]] = out[
        ["cost", "cost_recorded", "cost_estimated", "breakdown_cost", "pump_cost"]
    ].round(2)
    names = {
        column: name.format(currency=review.currency, unit=review.distance_unit)
        for column, name in EVENTS.items()
    }
    if (facts["position"] == "main").all():
        del names["position"]
    return out[list(names)].rename(columns=names)


def show_changes(review: CostReview) -> None:
    """Draw, month by month, what changes before failure showed and what they may have avoided."""
    if not len(review.months):
        return
    st.subheader("Changed before failure", anchor=False)
    say.line(changes_words(review.changes, review.currency, review.distance_unit))
    lists.show(
        review.months.iloc[::-1],
        "Changes before failure by month.",
        "changes_by_month",
        shown=lambda rows: changes_table(rows, review),
    )
    say.note(
        "Avoided: the sum of each pump's chance of failing before its next stop had it stayed, by its own "
        "readings and by how much more people here have known when they took pumps off. Life given up: what "
        "its own forecast gave it from there. Both are estimates, with 80 % ranges."
    )


def changes_table(months: pd.DataFrame, review: CostReview) -> pd.DataFrame:
    """Return the months under the headings shown."""
    money_in, unit = review.currency, review.distance_unit
    return pd.DataFrame(
        {
            "Month": months["month"],
            "Changed": months["changed"],
            f"Cost, {money_in}": months["cost"].round(0),
            "Looked into": months["examined"],
            "Found bad": months["found_bad"],
            "Strip-down called good": months["tested_good"],
            f"Those cost, {money_in}": months["cost_of_good"].round(0),
            "Failures avoided": [
                f"{a:.1f} ({low:.1f} to {high:.1f})"
                for a, low, high in months[["failures_avoided", "avoided_low", "avoided_high"]].to_numpy()
            ],
            f"Life given up, {unit}": [
                formats.about_between(*row)
                for row in months[["life_thrown_away", "life_low", "life_high"]].to_numpy()
            ],
        }
    )


def show_lists(review: CostReview) -> None:
    """Draw what became of the replacement lists kept."""
    if not len(review.lists):
        say.line("No replacement list was kept yet; booking all proposed work on the plan board keeps one.")
        frame.link("plan_board", "→ Plan board")
        return
    lists.show(lists_table(review), "Lists kept and what became of their pumps.", "lists")


def lists_table(review: CostReview) -> pd.DataFrame:
    """Return the lists under the headings shown: named by their day."""
    rows = review.lists
    return pd.DataFrame(
        {
            "List of": rows["as_of"].map(formats.day),
            "Pumps": rows["pumps"],
            "Changed": rows["changed"],
            "Failed first": rows["failed_first"],
            "Still running": rows["still_running"],
            "Failures expected": rows["expected_failures"].round(1),
            "Found bad": rows["found_bad"],
            "Tested good": rows["tested_good"],
            f"Expected to save, {review.currency}": rows["expected_saving"].round(0),
            f"Realised, {review.currency} (estimated)": [
                f"{low:,.0f} to {high:,.0f}"
                for low, high in rows[["realised_low", "realised_high"]].to_numpy(float)
            ],
        }
    )
