"""The parts of the plan board."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analytics.money.decision import on_the_day
from dashboard.charts import plan as plan_charts
from dashboard.data import loaders
from dashboard.data.depots import taking_along
from dashboard.shell import access, address, frame, initials, lists, say
from dashboard.views.plan_board import deciding
from dashboard.words import formats
from dashboard.words.warranty import warranty_line
from ingest.author import Author
from ingest.wording.quantities import minus

if TYPE_CHECKING:
    from analytics.scheduling.planning import Plan

OF_THE_JOBS = (
    "This saving is of the jobs listed, each against leaving that pump to fail; the one on Costs is of a "
    "policy kept up year after year. Neither is part of the other."
)
STATUS_WORDS = {
    "booked": "■ booked",
    "pinned": "■ pinned to its day",
    "proposed": "□ proposed",
    "done": "✓ done",
}
LINE_COLUMNS = {
    "planned_on": "Day",
    "unit": "Unit",
    "position": "Pump",
    "depot": "Depot",
    "pump_type": "Type",
    "job": "Job",
    "p_change": "Ends in a change",
    "status": "Status",
    "risk_to_next_stop": "Risk before next stop",
    "cost_of_waiting": "Waiting until then costs",
    "saving_against_later": "Saves against a later stop",
    "expected_saving": "Saves against failing",
    "hours": "Hours",
    "order_by": "Order by",
    "reason": "Why",
    "cautions": "Mind",
    "warranty": "Warranty",
}
MOST_LINES = 200  # of the plan drawn, by day; a box finds any other, and the file holds all
MOST_DEPOTS = 6  # drawn, each in a chart of its own


def headline(plan: Plan) -> str:
    """Return what the plan holds and what it is expected to save, with its range."""
    if not len(plan.lines):
        within = f"is planned for the {plan.horizon_days} days from {formats.day(plan.today)}"
        if not loaders.ask("fleet_counts").iloc[0]["pumps_in_service"]:
            return f"Nothing {within}: no pump is in service."
        if not len(plan.checks):
            return f"No change or check {within}: none pays."
        return f"No change {within}: none pays. {formats.count(len(plan.checks), 'check')} planned."
    status = plan.lines["status"].value_counts()
    counted = ", ".join(f"{n:,} {name}" for name, n in status.items())
    saving = formats.money(plan.expected_saving, plan.currency)
    low, high = (minus(f"{v:,.0f}") for v in (plan.saving_low, plan.saving_high))
    days = [day for rows in (plan.lines, plan.checks) if len(rows) for day in rows["planned_on"]]
    first, last = min(days), max(days)
    when = f"on {formats.day(first)}" if first == last else f"{formats.day(first)} to {formats.day(last)}"
    be = "is" if len(plan.lines) + len(plan.checks) == 1 else "are"
    return (
        f"{_jobs_words(plan)} {be} planned, {when} ({counted}). "
        f"Expected saving against leaving these pumps to fail: {saving}, likely between {low} and {high}; "
        f"against leaving them for a later stop: {formats.money(plan.saving_against_later, plan.currency)}."
    )


def _jobs_words(plan: Plan) -> str:
    """Return how many changes, changes that hang on a check or a capture first, and checks alone a plan
    has."""
    after_check, after_capture = (
        int((plan.lines["job"] == job).sum()) for job in ("check and change", "capture first")
    )
    changes = len(plan.lines) - after_check - after_capture

    def each(number: int) -> str:
        return "" if number == 1 else "each "

    said = {
        formats.count(changes, "change"): changes,
        f"{formats.count(after_check, 'check')} ({each(after_check)}followed by a change unless it says "
        "otherwise)": after_check,
        f"{formats.count(after_capture, 'capture')} ({each(after_capture)}followed by a change if it bears "
        "it out)": after_capture,
        f"{formats.count(len(plan.checks), 'check')} alone": len(plan.checks),
    }
    told = [words for words, number in said.items() if number]
    return f"{', '.join(told[:-1])} and {told[-1]}" if len(told) > 1 else told[0]


def show_notes(plan: Plan) -> None:
    """Draw what is odd about the plan: of each kind the first remark, the others under a fold, so that the
    board stands on the first screen."""
    kinds = by_kind(plan)
    say.notes([*([OF_THE_JOBS] if len(plan.lines) else []), *(texts[0] for texts in kinds)])
    if more := [text for texts in kinds for text in texts[1:]]:
        label = f"{formats.count(len(more), 'more remark')} like these"
        frame.show_fold(label, "plan_remarks", lambda: say.points(more))


def by_kind(plan: Plan) -> list[list[str]]:
    """Return the texts of a plan's notes by kind, in their order, without the day that every page says."""
    kinds: dict[str, list[str]] = {}
    for note in plan.notes:
        if note.code != "as-of":
            kinds.setdefault(note.code, []).append(note.text)
    return list(kinds.values())


def show_weeks(plan: Plan, chosen: dict[str, list[str]]) -> None:
    """Draw hours wanted against hours free, by week, under a fold: each cell of the board has its own."""
    bays = lists.narrowed(plan.bays, {"depot": chosen["depot"]})
    if not len(bays) or bays["free_hours"].isna().all():
        if chosen["depot"]:  # else a note of the plan's own says so
            say.note("No bay hours are given, so the plan is not held against them.")
        return
    frame.show_fold("Hours by week and depot", "plan_hours", lambda: _draw_weeks(bays))


def _draw_weeks(bays: pd.DataFrame) -> None:
    rows = hours_by_depot(bays)
    weeks = sorted(set(rows["week_of"]))
    most = float(rows[["hours_planned", "hours_free"]].max().max())
    for depot, part in rows.groupby("depot", sort=False):
        frame.chart(
            plan_charts.hours_by_week(part, weeks=weeks, most=most, palette=frame.palette()),
            f"{depot}: bay hours planned each week as bars, with the hours free as ticks.",
        )
    left_out = bays["depot"].nunique() - rows["depot"].nunique()
    say.note(
        "Bars: hours wanted by replacements. Ticks: bay hours free. All depots on one scale"
        + (f"; the {left_out} with least to do stand in the table alone." if left_out > 0 else ".")
    )
    wanted = bays[bays["used_hours"] > 0]
    if len(wanted):
        lists.show(week_table(wanted), "Bay hours wanted and free by week and depot.", "bay_hours")


def hours_by_depot(bays: pd.DataFrame) -> pd.DataFrame:
    """Return week_of, depot, hours_planned and hours_free of the depots with most to do, busiest first.

    A sum over depots would hide the one that has no room.
    """
    busy = bays.groupby("depot")["used_hours"].sum().sort_values(ascending=False).index[:MOST_DEPOTS]
    rows = bays[bays["depot"].isin(busy)]
    rows = rows.assign(place=rows["depot"].map(list(busy).index)).sort_values(["place", "week"])
    return pd.DataFrame(
        {
            "week_of": rows["week"].map(formats.day),
            "depot": rows["depot"].replace("", "no depot"),
            "hours_planned": rows["used_hours"],
            "hours_free": rows["free_hours"],
        }
    )


def week_table(bays: pd.DataFrame) -> pd.DataFrame:
    """Return hours by week and depot as shown; bays: rows of a plan's with hours wanted."""
    rows = bays.sort_values(["week", "depot"])
    full = (rows["used_hours"] >= rows["free_hours"]).where(rows["free_hours"].notna())
    return pd.DataFrame(
        {
            "Week from": rows["week"].map(formats.day),
            "Depot": rows["depot"],
            "Hours wanted": rows["used_hours"].map(formats.tenth),
            "Hours free": rows["free_hours"].map(formats.tenth),
            "Room": full.map({True: "■ none left", False: "□ some left"}).fillna("hours not given"),
        }
    )


def lines_table(lines: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Return the lines as shown."""
    shown = lines.assign(
        planned_on=lines["planned_on"].map(formats.day),
        order_by=lines["order_by"].map(formats.day),
        status=lines["status"].map(lambda s: STATUS_WORDS.get(s, s)),
        risk_to_next_stop=lines["risk_to_next_stop"].map(formats.percent),
        p_change=[formats.percent(p) for p in on_the_day(lines["p_change"], lines["risk_until_then"])],
        hours=lines["hours"].map(formats.tenth),
        job=[
            f"{job}, own stop" if own else job
            for job, own in zip(lines["job"], lines["own_stop"], strict=True)
        ],
        cost_of_waiting=lines["cost_of_waiting"].map(lambda v: formats.money(v, currency)),
        expected_saving=lines["expected_saving"].map(lambda v: formats.money(v, currency)),
        saving_against_later=lines["saving_against_later"].map(lambda v: formats.money(v, currency)),
        cautions=lines["cautions"].map(lambda c: "; ".join(c) if isinstance(c, list | tuple) else c),
    )
    columns = [name for name in LINE_COLUMNS if name in shown]
    return without_lone_positions(shown[columns]).rename(columns=LINE_COLUMNS)


def without_lone_positions(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows without the column that tells a unit's pumps apart, where every unit has one."""
    return rows.drop(columns="position") if (rows["position"] == "main").all() else rows


def show_jobs(plan: Plan, chosen: dict[str, list[str]]) -> None:
    """Draw changes and checks, those first whose first day comes first: the vehicle that stands is among
    them."""
    changes, checks = (lists.narrowed(rows, chosen) for rows in (plan.lines, plan.checks))
    sooner = len(checks) and (not len(changes) or checks["planned_on"].min() < changes["planned_on"].min())
    parts = [("Planned changes", "plan", changes, partial(_draw_lines, plan, chosen, changes))]
    if len(checks):
        parts.append(("Planned checks", "checks", checks, partial(_draw_checks, checks)))
    (title, _, _, draw), *others = reversed(parts) if sooner else parts
    st.header(title, anchor=False)
    draw()
    for title, name, rows, draw in others:
        show_part(title, name, rows, draw)


def show_part(title: str, name: str, rows: pd.DataFrame, draw: Callable[[], None]) -> None:
    """Draw a further list of the page: a long one under a fold that says how many it holds, so that the
    board and the list before it are not kept waiting for what is read after them."""
    if len(rows) < lists.FIND_FROM:
        st.header(title, anchor=False)
        draw()
    else:
        _fold(title, name, rows, draw)


def _fold(title: str, name: str, rows: pd.DataFrame, draw: Callable[[], None]) -> None:
    found = bool(address.text(f"find_{name}"))  # what is found in it is part of the page's address
    frame.show_fold(f"{title}: {len(rows):,}", f"fold_{name}", draw, opened=found)


def _draw_lines(plan: Plan, chosen: dict[str, list[str]], lines: pd.DataFrame) -> None:
    """Draw booked, pinned and proposed work by day, with files and paper to take away."""
    if not len(lines):
        say.line("None.")
        return
    own = loaders.settings()["distance_unit"]
    known = loaders.warranties(lines["pump_id"].astype(int).tolist())
    days = [pd.Timestamp(day).date() for day in lines["planned_on"]]
    said = [
        warranty_line(known[int(pump_id)], own, day) if int(pump_id) in known else ""
        for pump_id, day in zip(lines["pump_id"], days, strict=True)
    ]
    lists.show(
        lines.assign(warranty=said),
        "Planned replacements by day, with status, reason and money.",
        "plan",
        shown=partial(lines_table, currency=plan.currency),
        most=MOST_LINES,
    )
    paper, calendar, accept = st.columns(3)
    narrow = as_shown(plan, chosen)
    author = access.author(None) if access.may("plan") else None
    work = taking_along(lambda: _work_list(narrow))
    dates = taking_along(lambda: calendar_file(narrow, plan, author))
    paper.download_button("Work list to print", work, "work_list.html", "text/html")
    calendar.download_button("Calendar file", dates, "plan.ics", "text/calendar")
    if access.may("plan") and (lines["status"] == "proposed").any():
        with accept.popover("Book all proposed"):
            by = initials.ask("accept_by")
            if st.button("Book them all", type="primary"):
                frame.attempt(lambda: deciding.accept(narrow, plan, by))


def as_shown(plan: Plan, chosen: dict[str, list[str]]) -> Plan:
    """Return the plan narrowed as the page is, for what is taken away from it."""
    from analytics.scheduling.narrowing import narrowed

    return narrowed(plan, {"type" if name == "pump_type" else name: v for name, v in chosen.items()})


def _work_list(plan: Plan) -> str:
    from analytics.scheduling.work_list import work_list_html

    return work_list_html(plan)


def calendar_file(shown: Plan, plan: Plan, author: Author | None) -> bytes:
    """Return the calendar of what is shown; the whole list is kept in the author's name, so that a later
    calendar cancels what is planned no longer (None: who may not plan keeps none)."""
    from analytics.scheduling import bookings
    from analytics.scheduling.ical import calendar

    made = calendar(shown)
    if author is not None:
        bookings.record_list(loaders.ledger_path(), plan, author=author)
    return made


CHECK_COLUMNS = {
    "planned_on": "Day",
    "unit": "Unit",
    "position": "Pump",
    "depot": "Depot",
    "action": "What",
    "hours": "Hours",
    "bring": "Bring",
    "steps": "Steps",
}


def checks_table(checks: pd.DataFrame) -> pd.DataFrame:
    """Return checks as shown."""
    shown = checks.assign(
        planned_on=checks["planned_on"].map(formats.day),
        action=checks["action"].map(formats.action),
        steps=[" ".join(steps) for steps in checks["steps"]],
    )
    return without_lone_positions(shown[list(CHECK_COLUMNS)]).rename(columns=CHECK_COLUMNS)


def _draw_checks(checks: pd.DataFrame) -> None:
    """Draw jobs that are a check only, by day."""
    lists.show(checks, "Checks by day, with their steps and what to bring.", "checks", shown=checks_table)


def show_orders(plan: Plan, chosen: dict[str, list[str]]) -> None:
    """Draw what to order, by when."""
    parts = lists.narrowed(plan.parts, {k: chosen[k] for k in ("depot", "pump_type")})
    wanted = parts[(parts["to_order"] > 0) | (parts["booked"] > 0)] if len(parts) else parts
    show_part("Order list", "order_list", wanted, lambda: _draw_orders(wanted))


def _draw_orders(wanted: pd.DataFrame) -> None:
    if not len(wanted):
        say.line("Nothing to order.")
        return
    table = pd.DataFrame(
        {
            "Depot": wanted["depot"],
            "Type": wanted["pump_type"],
            "On hand": wanted["on_hand"],
            "Needed": wanted["booked"],
            "Keep for failures": wanted["keep"],
            "Order": wanted["to_order"],
            "Order by": wanted["order_by"].map(formats.day),
            "Lead time, days": wanted["lead_time_days"],
        }
    )
    lists.show(table, "Pumps to order by depot and type.", "order_list")


def rest_table(rows: pd.DataFrame, columns: dict[str, str]) -> pd.DataFrame:
    """Return pumps outside the plan as shown, with `columns` beside what they are and their risk."""
    names = {"unit": "Unit", "position": "Pump", "depot": "Depot", "risk": "Risk"} | columns
    shown = rows.assign(risk=rows["risk"].map(formats.percent))
    return without_lone_positions(shown[list(names)]).rename(columns=names)


def show_rest(plan: Plan, chosen: dict[str, list[str]]) -> None:
    """Draw what could not be placed; under folds what waits and why, what was rejected, what changed."""
    reasons = {"why": "Why not", "next_step": "Next step"}
    title = "Should be done, but doesn't fit"
    rows = lists.narrowed(plan.unplaced, chosen)
    if len(rows):
        shown = partial(rest_table, columns=reasons)
        show_part(title, "unplaced", rows, lambda: lists.show(rows, f"{title}.", "unplaced", shown=shown))
    for title, name, rows, columns in (
        ("No job of their own yet", "waiting", plan.waiting, reasons),
        ("Rejected by a person", "rejected", plan.rejected, {"why": "Reason"}),
    ):
        rows = lists.narrowed(rows, chosen)
        if len(rows):
            _fold_list(title, name, rows, partial(rest_table, columns=columns))
    if len(plan.changes):
        told = plan.changes[["unit", "position", "what", "before", "after", "why"]]
        _fold_list(
            "Changed since the last list was kept, and why", "plan_changes",
            told.rename(columns=str.capitalize), lambda rows: rows,
        )  # fmt: skip


def _fold_list(
    title: str, name: str, rows: pd.DataFrame, shown: Callable[[pd.DataFrame], pd.DataFrame]
) -> None:
    _fold(title, name, rows, lambda: lists.show(rows, f"{title}.", name, shown=shown))
