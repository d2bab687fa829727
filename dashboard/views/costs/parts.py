"""The parts of the cost page."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard.charts import money
from dashboard.parts import risk_list
from dashboard.shell import frame, lists, say
from dashboard.words import formats

AS_GOOD = 1.02  # policies whose costs lie within this are not told apart in words


def show_answer(review: Any, ranking: pd.DataFrame) -> None:
    """Draw the three figures a manager starts with: spent, avoided, expected; then what they rest on."""
    spent, avoided, expected = st.columns(3)
    last = review.spent["year"].max() if len(review.spent) else None
    total = review.spent.loc[review.spent["year"] == last, ["cost_recorded", "cost_estimated"]].sum().sum()
    spent.metric(f"Spent in {last}" if last is not None else "Spent", formats.money(total, review.currency))
    low, high = review.avoided_low, review.avoided_high
    avoided.metric(
        "Avoided so far, an estimate",
        formats.UNKNOWN if formats.is_unknown(low) else f"{low:,.0f} to {high:,.0f} {review.currency}",
    )
    ahead = float(ranking["risk"].sum()) * review.failure
    expected.metric("Expected before the next visits", formats.money(ahead, review.currency))
    say.note(
        f"Expected: {risk_list.expected_words(ranking['risk'])} failures at "
        f"{formats.money(review.failure, review.currency)} each, "
        "if nothing is changed. Avoided is never taken off what was spent."
    )
    say.points(review.notes)


def show_spent(review: Any) -> None:
    """Draw money spent by year and kind, with what of it is estimated, and breakdowns beside it."""
    rows = review.spent
    if not len(rows):
        say.line("No replacement or breakdown is recorded yet.")
        return
    rows = lists.narrowed(rows, lists.narrowing(("depot", "pump_type"), key="cost"))
    if not len(rows):
        say.line("Nothing was spent there.")
        return
    frame.chart(
        money.spent(spent_rows(rows), review.currency, palette=frame.palette()),
        "Money spent by year, on planned changes and after failures.",
    )
    estimated = rows["cost_estimated"].sum()
    total = rows["cost_recorded"].sum() + estimated
    if estimated:
        say.note(
            f"{formats.percent(estimated / total)} of this is estimated from prices: no cost was recorded."
        )
    table = rows.groupby(["year", "kind"], as_index=False)[
        ["replacements", "cost_recorded", "cost_estimated", "tested_good", "life_thrown_away"]
    ].sum()
    table.columns = [
        "Year", "Kind", "Replacements", f"Recorded, {review.currency}", f"Estimated, {review.currency}",
        "Tested good", f"Unused life, {review.distance_unit}",
    ]  # fmt: skip
    lists.show(table.round(0), "Replacements by year and kind, with money.", "spent")


def spent_rows(spent: pd.DataFrame) -> pd.DataFrame:
    """Return period, kind ("planned", "on the road") and amount, as the chart takes them."""
    kind = spent["kind"].map(lambda k: "on the road" if k == "on failure" else "planned")
    amount = spent["cost_recorded"] + spent["cost_estimated"]
    rows = pd.DataFrame({"period": spent["year"].astype(str), "kind": kind, "amount": amount})
    return rows.groupby(["period", "kind"])[["amount"]].sum().reset_index()


def show_policies(review: Any) -> None:
    """Draw the policies side by side, then again at prices the reader chooses."""
    per = f"per 10,000 {review.distance_unit}"
    frame.chart(
        money.policies(review.policies, review.currency, per, palette=frame.palette()),
        f"Cost of each policy {per}, with 80 % intervals.",
    )
    say.note(
        "Bars: 80 % intervals. Each policy is simulated on this fleet's fitted model, prices and intervals."
    )
    lists.show(policy_table(review), "Policies with cost, events and saving.", "policies")
    say.note(
        f"Money and events {per}; in brackets the 80 % range. Pays from: the ratio of on-failure to planned "
        "cost from which the policy beats running to failure."
    )
    st.subheader("At other prices", anchor=False)
    left, right = st.columns(2)
    planned = left.slider(
        f"Planned replacement, {review.currency}", *_around(review.planned), key="what_if_planned"
    )
    failure = right.slider(
        f"On-failure replacement, {review.currency}", *_around(review.failure), key="what_if_failure"
    )
    moved = at_prices(review, float(planned), float(failure))
    say.line(f"{cheapest_words(moved)}, {review.currency} {per}.")
    frame.chart(
        money.policies(moved, review.currency, per, palette=frame.palette()),
        f"Cost of each policy {per} at the prices chosen.",
    )
    say.note("Stops stay as above; only prices move. Intervals are moved in proportion.")
    st.subheader("When failures cost more", anchor=False)
    frame.chart(
        money.cost_by_ratio(
            review.ratio_curve, review.currency, per, now=review.ratio, palette=frame.palette()
        ),
        "Cost of each policy over the ratio of on-failure to planned cost.",
    )
    st.subheader("What the saving of the risk policy hangs on", anchor=False)
    frame.chart(
        money.tornado(review.tornado, review.currency, per, palette=frame.palette()),
        "Saving of the risk policy as each price or life moves through its range.",
    )


def _around(price: float) -> tuple[int, int, int, int]:
    step = 10 if price < 2000 else 50
    now = round(price / step) * step
    return 0, max(round(price * 3 / step) * step, step), now, step


def at_prices(review: Any, planned: float, failure: float) -> pd.DataFrame:
    """Return policies at other prices: planned·Cp + breakdowns·Cf + captures and tests as now."""
    rows = review.policies
    other = rows["cost"] - rows["planned"] * review.planned - rows["breakdowns"] * review.failure
    cost = rows["planned"] * planned + rows["breakdowns"] * failure + other
    scale = (cost / rows["cost"]).where(rows["cost"] > 0, 1.0)
    return pd.DataFrame(
        {
            "policy": rows["policy"],
            "cost": cost,
            "cost_low": rows["cost_low"] * scale,
            "cost_high": rows["cost_high"] * scale,
        }
    )


def cheapest_words(moved: pd.DataFrame) -> str:
    """Return which policy costs least and what running to failure, the first row, costs beside it.

    A policy so near that the figures as shown hardly differ is named too: the best of both is then chance.
    """
    best, to_failure = moved.iloc[int(moved["cost"].to_numpy().argmin())], moved.iloc[0]
    if best["cost"] >= to_failure["cost"]:
        return f"At these prices nothing beats running to failure, {to_failure['cost']:,.0f}"
    near = moved[(moved["cost"] <= AS_GOOD * best["cost"]) & (moved["policy"] != best["policy"])]
    beside = "".join(
        f" (as good as '{row['policy']}', {row['cost']:,.0f})" for row in near.to_dict("records")
    )
    return (
        f"At these prices the policy '{best['policy']}' costs least, {best['cost']:,.0f}{beside} "
        f"against {to_failure['cost']:,.0f} when running to failure"
    )


def policy_table(review: Any) -> pd.DataFrame:
    """Return the policies as shown, every figure per 10,000 of the fleet's distance."""
    rows = review.policies
    return pd.DataFrame(
        {
            "Policy": rows["policy"],
            f"Cost, {review.currency}": rows["cost"].round(0),
            "Replacements": rows["replacements"].round(3),
            "Failures on the road": rows["breakdowns"].round(3),
            "Needless changes": rows["needless"].round(3),
            f"Saving, {review.currency}": [
                f"{s:,.0f} ({low:,.0f} to {high:,.0f})"
                for s, low, high in rows[["saving", "saving_low", "saving_high"]].to_numpy()
            ],
            "Pays from a ratio of": [
                "never" if formats.is_unknown(v) or v == float("inf") else f"{v:,.1f}"
                for v in rows["break_even_ratio"]
            ],
        }
    )


def show_ages(review: Any) -> None:
    """Draw cost against replacement age for one type, with the best age and how unsure it is."""
    types = review.best_ages["pump_type"].tolist()
    if not types:
        say.line("Too few lives are known for an age.")
        return
    chosen = st.selectbox("Pump type", types, key="age_type", bind="query-params")
    row = review.best_ages[review.best_ages["pump_type"] == chosen].iloc[0]
    own = review.distance_unit
    if formats.is_unknown(row["best_age"]) or row["best_age"] == float("inf"):
        say.line(f"No age beats running to failure. {row.get('why_none') or ''}")
        best = None
    else:
        best = float(row["best_age"])
        say.line(
            f"Least cost at about {best:,.0f} {own}, likely between {row['age_low']:,.0f} and "
            f"{row['age_high']:,.0f}; from {formats.count(int(row['lives']), 'life', 'lives')} with "
            f"{formats.count(int(row['failures']), 'failure')}."
        )
    if isinstance(row.get("text"), str) and row["text"]:
        say.line(row["text"])
    curve = review.age_curves[review.age_curves["pump_type"] == chosen]
    # Very early ages cost many times more and would flatten the part that matters.
    shown = curve[curve["cost"] <= 3 * curve["cost"].min()]
    frame.chart(
        money.cost_by_age(
            shown, f"{review.currency} per 10,000 {own}", distance_title=f"replacement age, {own}", best=best,
            palette=frame.palette(),
        ),
        "Cost over replacement age with its interval and the age of least cost.",
    )  # fmt: skip
    say.note("Shaded: 80 % interval. Ages that cost over three times the least are left out.")


def show_lists(review: Any) -> None:
    """Draw what became of the replacement lists kept."""
    if not len(review.lists):
        say.line("No replacement list was kept yet; booking all proposed work on the plan board keeps one.")
        frame.link("plan_board", "→ Plan board")
        return
    table = review.lists.rename(columns=lambda c: c.replace("_", " ").capitalize())
    lists.show(table.round(0), "Lists kept and what became of their pumps.", "lists")
