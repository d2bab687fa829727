"""The parts of the cost page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analytics.cost_review.answer import age_words
from analytics.money.policies import RUN
from dashboard.charts import money
from dashboard.shell import address, frame, lists, say
from dashboard.views.costs.spent import of_pumps
from dashboard.words import formats
from dashboard.words.money import NAMES
from dashboard.words.plain import plain

if TYPE_CHECKING:
    from analytics.cost_review.costs import CostReview

AS_GOOD = 1.02  # policies whose costs lie within this are not told apart in words


def show_answer(review: CostReview) -> None:
    """Draw the answer, three figures beside it, and what they rest on."""
    first, *more = review.answer
    say.line(first, lead="The answer:")
    for sentence in more:
        say.line(sentence)
    spent, avoided, saves = st.columns(3)
    facts = of_pumps(review.facts)
    this_year = review.as_of.year
    total = facts.loc[facts["year"].astype(int) == this_year, "cost"].sum() if len(facts) else 0.0
    money = plain(formats.money(total, review.currency))
    spent.metric(f"Spent in {this_year}", money)
    done = review.changes
    avoided.metric(
        "Failures avoided so far, an estimate",
        f"{done.failures_avoided:,.1f} ({done.failures_low:,.1f} to {done.failures_high:,.1f})"
        if done.changed
        else "none yet",
    )
    year = review.year.set_index("policy") if len(review.year) else None
    saves.metric(
        "Condition saves a year against running to failure, an estimate",
        formats.UNKNOWN
        if year is None
        else plain(f"{formats.about(year.loc['risk', 'saving'])} {review.currency}"),
    )
    say.note("Avoided and saved are estimates and never taken off what was spent.")
    say.points(note.text for note in review.notes)


def show_policies(review: CostReview) -> None:
    """Draw the policies at prices the reader chooses (at first those in force), and what turns the choice."""
    if not len(review.policies):
        say.line("No pump is in service, so there is no policy to compare.")
        return
    per = f"per 10,000 {review.distance_unit}"
    say.line("What if prices were others? Nothing is changed here; prices are given under Fleet data.")
    left, middle, right = st.columns(3)
    planned = left.slider(
        plain(f"Planned replacement, {review.currency}"), *_around(review.planned), key="what_if_planned"
    )
    failure = middle.slider(
        plain(f"On-failure replacement, {review.currency}"), *_around(review.failure), key="what_if_failure"
    )
    capture = right.slider(
        plain(f"A capture, {review.currency}"), *_around(review.capture, 1), key="what_if_capture"
    )
    moved = at_prices(review, float(planned), float(failure), float(capture))
    say.line(f"{cheapest_words(moved)}, {review.currency} {per}.")
    frame.chart(
        money.policies(moved.assign(policy=moved["policy"].map(NAMES)), review.currency, per,
                       palette=frame.palette()),
        f"Cost of each policy {per} at the prices chosen, with 80 % intervals.",
    )  # fmt: skip
    say.note(
        "Bars: 80 % intervals; how sure it is that one policy costs less than another, The answer says. Each "
        "is simulated on this fleet's fitted model, prices and intervals; as the sliders move, stops stay "
        "and prices move, with the intervals in proportion."
    )
    lists.show(policy_table(review), "Policies a year with cost, events and saving.", "policies")
    say.note(
        f"A year of the whole fleet, {formats.about(review.distance_per_year)} {review.distance_unit}; in "
        "brackets "
        "the 80 % range. Pays from: the ratio of on-failure to planned cost from which the policy beats "
        "running "
        "to failure. Captures are part of the cost."
    )
    st.subheader("When failures cost more", anchor=False)
    curve = review.ratio_curve.assign(policy=review.ratio_curve["policy"].map(NAMES))
    frame.chart(
        money.cost_by_ratio(curve, review.currency, per, now=review.ratio, palette=frame.palette()),
        "Cost of each policy over the ratio of on-failure to planned cost.",
    )
    st.subheader("What the choice hangs on", anchor=False)
    frame.chart(
        money.tornado(review.tornado, review.currency, per, names=NAMES, palette=frame.palette()),
        "Saving of the condition rule, and the policy that costs least, as each price or life moves.",
    )
    say.note(
        "What condition saves against running to failure as a price is a quarter lower or higher, or life at "
        "the ends of its 80 % range; at each end the policy that then costs least, "
        f"{money.TURNED} where it is another than now."
    )
    say.line(turning_words(review.tornado, review.policies))


def turning_words(tornado: pd.DataFrame, costs: pd.DataFrame) -> str:
    """Return which inputs turn the choice within their range, and to what; costs: policy, cost, as now."""
    if tornado.empty:
        return ""
    best = tornado["best_base"].iloc[0]
    turned = []
    for row in tornado.to_dict("records"):
        others = list(dict.fromkeys(p for p in (row["best_low"], row["best_high"]) if p != best))
        if others:
            turned.append(f"{row['driver']} (to {' or '.join(NAMES[p] for p in others)})")
    if not turned:
        return f"No single one of these turns the choice: {NAMES[best]} costs least throughout."
    near = costs[(costs["policy"] != best) & (costs["cost"] <= AS_GOOD * costs["cost"].min())]
    hardly = f", hardly less than {' or '.join(NAMES[p] for p in near['policy'])}" if len(near) else ""
    return f"Now {NAMES[best]} costs least{hardly}. Enough to turn that, each alone: {'; '.join(turned)}."


def _around(price: float, step: int = 0) -> tuple[int, int, int, int]:
    step = step or (10 if price < 2000 else 50)
    now = round(price / step) * step
    return 0, max(round(price * 3 / step) * step, step), now, step


def at_prices(
    review: CostReview, planned: float, failure: float, capture: float | None = None
) -> pd.DataFrame:
    """Return policies at other prices: planned·Cp + breakdowns·Cf + captures·c, the rest as now."""
    rows = review.policies
    price = review.capture if capture is None else capture
    now = (
        rows["planned"] * review.planned
        + rows["breakdowns"] * review.failure
        + rows["captures"] * review.capture
    )
    cost = rows["planned"] * planned + rows["breakdowns"] * failure + rows["captures"] * price
    cost = cost + (rows["cost"] - now)
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
    best_name = NAMES.get(best["policy"], best["policy"])
    near = moved[(moved["cost"] <= AS_GOOD * best["cost"]) & (moved["policy"] != best["policy"])]
    beside = "".join(
        f" (as good as '{NAMES.get(row['policy'], row['policy'])}', {row['cost']:,.0f})"
        for row in near.to_dict("records")
    )
    return (
        f"At these prices the policy '{best_name}' costs least, {best['cost']:,.0f}{beside} "
        f"against {to_failure['cost']:,.0f} when running to failure"
    )


def policy_table(review: CostReview) -> pd.DataFrame:
    """Return the policies as shown, a year of the whole fleet."""
    rows, each = review.year, review.policies
    return pd.DataFrame(
        {
            "Policy": rows["policy"].map(NAMES),
            f"Cost, {review.currency}": [
                formats.about_between(*row) for row in rows[["cost", "cost_low", "cost_high"]].to_numpy(float)
            ],
            f"Saving, {review.currency}": [
                "" if name == RUN else formats.about_between(*row)
                for name, row in zip(
                    rows["policy"], rows[["saving", "saving_low", "saving_high"]].to_numpy(float), strict=True
                )
            ],
            f"Captures, {review.currency}": rows["capture_cost"].map(formats.about),
            "Replacements": rows["replacements"].round(1),
            "Failures": rows["breakdowns"].round(1),
            f"At, {review.distance_unit}": [
                "" if formats.is_unknown(v) else age_words(each) for v in each["setting"]
            ],
            "Pays from a ratio of": [
                "never" if formats.is_unknown(v) or v == float("inf") else f"{v:,.1f}"
                for v in each["break_even_ratio"]
            ],
        }
    )


def show_ages(review: CostReview) -> None:
    """Draw cost against replacement age for one type, with the best age and how unsure it is."""
    types = review.best_ages["pump_type"].tolist()
    if not types:
        say.line("Too few lives are known for an age.")
        return
    chosen = st.selectbox("Pump type", types, **address.bound("age_type", "Pump type", types))
    row = review.best_ages[review.best_ages["pump_type"] == chosen].iloc[0]
    own = review.distance_unit
    if formats.is_unknown(row["best_age"]) or row["best_age"] == float("inf"):
        say.line(f"No age beats running to failure. {row.get('why_none') or ''}")
        best = None
    else:
        best = float(row["best_age"])
        say.line(
            f"Least cost at about {formats.about(best)} {own}, likely between "
            f"{formats.about(row['age_low'])} and {formats.about(row['age_high'])}; from "
            f"{formats.count(int(row['lives']), 'life', 'lives')} with "
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
    say.note(
        "Shaded: 80 % interval. Ages that cost over three times the least are left out. The ages are those "
        "of the fixed-age policy, from lives simulated off the fitted model; the range takes in how far the "
        "lives on record lie from them. All types: if the whole fleet had one age."
    )
