"""The monthly report as a sheet: two printed pages, three charts, every figure from the month's own
figures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from dashboard.charts import on_paper
from dashboard.shell.paper import facts_table, sheet
from dashboard.words import formats
from dashboard.words.money import changes_words

if TYPE_CHECKING:
    from analytics.cost_review.month import Month
    from analytics.scheduling.planning import Plan

MOST_JOBS = 14


def rows_of(month: Month) -> dict[str, str]:
    """Return the figures of the month by name, as said on paper, on the terminal and in mail."""
    money = month.currency
    per = f"per 100,000 {month.distance_unit}"
    now = month.history.iloc[-1]
    same = month.history.iloc[-13] if len(month.history) >= 13 else None
    rows = {
        "Failed on the road": f"{int(now['failures'])}, {_rate(now['per_100k'])} {per}"
        + ("" if same is None else f"; a year before {int(same['failures'])}, {_rate(same['per_100k'])}"),
        "Twelve months": f"{_rate(month.year)} {per}; the twelve before {_rate(month.year_before)}",
        "Spent": f"{formats.money(month.planned + month.on_the_road, money)}: "
        f"{formats.money(month.on_the_road, money)} after failures, {formats.money(month.planned, money)} "
        "on planned "
        "changes"
        + (f"; {formats.money(month.estimated, money)} by the prices of the day" if month.estimated else ""),
    }
    if month.changes.changed:
        rows["Changed before failure"] = changes_words(month.changes, money, month.distance_unit)
    else:
        rows["Changed before failure"] = "none"
    rows["No fault found"] = (
        f"{month.tested_good} of {month.examined} looked into in twelve months "
        f"({formats.percent(month.tested_good / month.examined)})"
        if month.examined
        else "no strip-down in twelve months"
    )
    rows["Plan kept"] = _kept(month)
    rows["Readings in doubt"] = (
        f"{month.in_doubt:,} of {month.readings:,} ({formats.percent(month.in_doubt / month.readings)})"
        if month.readings
        else "no reading"
    )
    rows["Forecast against outcome"] = _told(month)
    return rows


def _rate(value: float) -> str:
    return formats.UNKNOWN if formats.is_unknown(value) else f"{value:,.1f}"


def _kept(month: Month) -> str:
    if not month.booked:
        return "no work was booked for this month"
    words = f"{month.kept} of {month.booked} booked jobs done by a week after their day"
    for number, what in (
        (month.late, "done later"),
        (month.failed_first, "failed first"),
        (month.open, "still to do"),
    ):
        words += f"; {number} {what}" if number else ""
    return words


def _told(month: Month) -> str:
    if formats.is_unknown(month.told):
        return f"{month.seen} failed; nothing could be forecast before"
    inside = "in line" if month.told_low - 0.5 <= month.seen <= month.told_high + 0.5 else "out of line"
    return (
        f"told on the day before {month.told:.1f} failures (8 in 10: {month.told_low:.1f} to "
        f"{month.told_high:.1f}), "
        f"seen {month.seen}: {inside}"
    )


def title_of(month: Month) -> str:
    """Return the report's title."""
    place = f", {month.depot}" if month.depot else ""
    until = "" if month.whole else f", up to {formats.day(month.last)}"
    return f"Fuel pumps in {month.name}{place}{until}"


def next_jobs(plan: Plan, month: Month) -> tuple[pd.DataFrame, str]:
    """Return the jobs planned for the month after, as shown, and what they are in words."""
    first = (pd.Timestamp(month.first) + pd.offsets.MonthBegin(1)).normalize()
    end = first + pd.offsets.MonthEnd(1)
    rows = plan.jobs
    day = pd.to_datetime(rows["planned_on"])
    rows = rows[(day >= first) & (day <= end)]
    if month.depot:
        rows = rows[rows["depot"] == month.depot]
    if rows.empty:
        return pd.DataFrame(), f"No job is planned for {first:%Y-%m}."
    rows = rows.sort_values(["planned_on", "unit"])
    shown = pd.DataFrame(
        {
            "Day": rows["planned_on"].map(formats.day),
            "Unit": rows["unit"].where(rows["position"] == "main", rows["unit"] + ", " + rows["position"]),
            "Depot": rows["depot"],
            "Job": rows["job"],
            "Type": rows["pump_type"],
            "Hours": rows["hours"].map(lambda h: f"{h:.1f}"),
            "As": rows["status"],
        }
    )
    changing = rows["job"] != "check"
    cost = float((rows["p_change"] * rows["planned"])[changing].sum())
    words = (
        f"{formats.count(len(rows), 'job')} in {first:%Y-%m}, {rows['hours'].sum():,.1f} bay hours, about "
        f"{formats.about(cost)} {month.currency} for changes"
    )
    if len(rows) > MOST_JOBS:
        words += f"; the first {MOST_JOBS} are shown"
    return shown.head(MOST_JOBS), words + "."


def parts_words(plan: Plan, month: Month) -> str:
    """Return which parts to order, in words."""
    rows = plan.parts[plan.parts["to_order"] > 0] if len(plan.parts) else plan.parts
    if month.depot and len(rows):
        rows = rows[rows["depot"] == month.depot]
    if not len(rows):
        return "none to order"
    return "; ".join(
        f"{formats.part_for(row)} by {formats.day(row['order_by'])}" for row in rows.to_dict("records")
    )


def pictures(month: Month, plan: Plan) -> list[tuple[str, str]]:
    """Return the three charts with their titles: failures, money, work ahead."""
    back = month.history.tail(13)
    labels = back["month"].tolist()
    older = month.history.head(len(month.history) - 12).tail(13)["per_100k"].tolist()
    older = [float("nan")] * (13 - len(older)) + older
    weeks = work_ahead(plan, month)
    return [
        (
            f"Failures on the road per 100,000 {month.distance_unit}, by month",
            on_paper.bars(
                labels, {"this year": back["per_100k"].fillna(0.0).tolist()}, marks=older,
                mark_name="a year before",
                words="Failures on the road per distance by month, with the year before.",
            ),
        ),
        (
            f"Spent on pumps, {month.currency}, by month",
            on_paper.bars(
                labels,
                {"after failures": back["on_the_road"].tolist(), "planned changes": back["planned"].tolist()},
                words="Money spent by month, after failures and on planned changes.",
            ),
        ),
        (
            "Jobs planned, by week from Monday",
            on_paper.bars(
                weeks["week"].tolist(),
                {"booked": weeks["booked"].tolist(), "proposed": weeks["proposed"].tolist()},
                words="Jobs planned by week, booked and proposed.",
            ),
        ),
    ]  # fmt: skip


def work_ahead(plan: Plan, month: Month, weeks: int = 13) -> pd.DataFrame:
    """Return week (its Monday, "11-23"), booked and proposed jobs for so many weeks from the plan's day
    on."""
    rows = plan.jobs
    if month.depot:
        rows = rows[rows["depot"] == month.depot]
    monday = pd.Timestamp(plan.today) - pd.Timedelta(days=pd.Timestamp(plan.today).weekday())
    starts = [monday + pd.Timedelta(weeks=k) for k in range(weeks)]
    day = pd.to_datetime(rows["planned_on"])
    fixed = rows["status"].isin(["booked", "pinned"])
    out: list[dict[str, Any]] = []
    for start in starts:
        mine = (day >= start) & (day < start + pd.Timedelta(weeks=1))
        booked, proposed = int((mine & fixed).sum()), int((mine & ~fixed).sum())
        out.append({"week": f"{start:%m-%d}", "booked": booked, "proposed": proposed})
    return pd.DataFrame(out)


def events(month: Month) -> pd.DataFrame:
    """Return the month's events as shown."""
    rows = month.facts
    return pd.DataFrame(
        {
            "Day": rows["day"].map(formats.day),
            "Unit": rows["unit"],
            "Depot": rows["depot"],
            "Kind": rows["kind"],
            "Found": ["" if formats.is_unknown(f) else str(f).replace("_", " ") for f in rows["found"]],
            f"Cost, {month.currency}": rows["cost"].map(lambda c: f"{c:,.0f}"),
        }
    )


def html(month: Month, plan: Plan, notes: Sequence[str] = ()) -> str:
    """Return the report as one file that needs nothing from outside."""
    jobs, words = next_jobs(plan, month)
    shown = events(month)
    named = f"What happened: {formats.count(len(shown), 'event')}"
    if len(shown) > MOST_JOBS:
        named += f", the dearest {MOST_JOBS} shown"
        dear = month.facts["cost"].nlargest(MOST_JOBS).index
        shown = shown.loc[sorted(dear)]
    tables = [("", facts_table(rows_of(month)))]
    later = [(words, jobs)] if len(jobs) else []
    sentences = {"Next month": "" if len(jobs) else words, "Parts": parts_words(plan, month)}
    return sheet(
        title_of(month), tables, sentences, list(notes), pictures=pictures(month, plan),
        after=[(named, shown), *later], brief=True,
    )  # fmt: skip


def text(month: Month, plan: Plan, notes: Sequence[str] = ()) -> str:
    """Return the report for a terminal."""
    jobs, words = next_jobs(plan, month)
    rows = rows_of(month) | {"Next month": words, "Parts": parts_words(plan, month)}
    wide = max(len(name) for name in rows)
    out = [title_of(month), *(f"  {name:{wide}}  {said}" for name, said in rows.items())]
    if len(jobs):
        out += ["", *jobs.to_string(index=False).splitlines()]
    return "\n".join([*out, *notes])
