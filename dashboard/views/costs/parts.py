"""The parts of the cost page."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analytics.cost_review.answer import age_words
from analytics.money.policies import AGE, RISK, RUN
from dashboard.charts import money
from dashboard.shell import address, frame, lists, say
from dashboard.views.costs.spent import of_pumps
from dashboard.words import formats
from dashboard.words.money import NAMES
from dashboard.words.plain import plain

if TYPE_CHECKING:
    from analytics.cost_review.costs import CostReview

AS_GOOD = 1.02  # policies whose costs lie within this are not told apart, whatever their ranges


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
    near = not_told_apart(review, moved)
    say.line(f"{cheapest_words(moved, near)} ({review.currency} {per}).")
    frame.chart(
        money.policies(moved.assign(policy=moved["policy"].map(NAMES)), review.currency, per,
                       palette=frame.palette()),
        f"Cost of each policy {per} at the prices chosen, with 80 % intervals.",
    )  # fmt: skip
    say.note(
        "Bars: 80 % intervals. What moves all policies alike widens each bar and leaves their order: whether "
        "two can be told apart goes by the 80 % range of their difference. Each is simulated on this fleet's "
        "fitted model, prices and intervals; as the sliders move, stops stay and prices move, with the "
        "intervals in proportion."
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
    say.line(turning_words(review.tornado, not_told_apart(review, review.policies)))


def not_told_apart(review: CostReview, moved: pd.DataFrame) -> set[str]:
    """Return the policies that can't be told apart from the cheapest at the prices of `moved` (policy, cost).

    That is where the 80 % range of what the cheapest saves against it reaches down to nothing. The range is
    the review's own, at other prices in proportion to what the other policy costs.
    """
    cost = moved.set_index("policy")["cost"]
    best = str(cost.idxmin())
    near = set()
    for name in map(str, cost.index.drop(best)):
        saved, a_year = _saved(review, best, name), float(review.year.set_index("policy")["cost"][name])
        reach = (saved[0] - saved[1]) / a_year if saved is not None and a_year > 0 else 0.0
        if cost[name] - cost[best] <= max(1 - 1 / AS_GOOD, reach) * cost[name]:
            near.add(name)
    return near


def _saved(review: CostReview, one: str, other: str) -> tuple[float, ...] | None:
    """Return what one policy saves a year against another with its 80 % range, None where it wasn't asked."""
    year = review.year.set_index("policy")[["saving", "saving_low", "saving_high"]]
    known = {(name, RUN): tuple(map(float, year.loc[name])) for name in year.index if name != RUN}
    known[RISK, AGE] = review.against_age
    if (other, one) in known:
        saving, low, high = known[other, one]
        return -saving, -high, -low
    return known.get((one, other))


def turning_words(tornado: pd.DataFrame, near: set[str]) -> str:
    """Return which inputs turn the choice within their range, and to what; near: the policies that can't be
    told apart from the cheapest as prices are now."""
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
    hardly = (
        f", but can't be told apart from {' or '.join(NAMES[p] for p in NAMES if p in near)}" if near else ""
    )
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


def cheapest_words(moved: pd.DataFrame, near: Collection[str]) -> str:
    """Return which policy costs least and what running to failure, the first row, costs beside it.

    near: the policies that can't be told apart from it, named too: the best of both may be chance.
    """
    best, to_failure = moved.iloc[int(moved["cost"].to_numpy().argmin())], moved.iloc[0]
    others = moved[moved["policy"].isin(near)]
    named = " and ".join(f"'{NAMES[r['policy']]}', {r['cost']:,.0f}" for r in others.to_dict("records"))
    beside = f", but can't be told apart from {named}" if named else ""
    if best["policy"] == to_failure["policy"]:
        return f"At these prices nothing beats running to failure, {to_failure['cost']:,.0f}{beside}"
    against = "" if RUN in near else f"; running to failure costs {to_failure['cost']:,.0f}"
    cheapest = f"At these prices the policy '{NAMES[best['policy']]}' costs least, {best['cost']:,.0f}"
    return f"{cheapest}{beside}{against}"


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
