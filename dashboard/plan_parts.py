"""The parts of the plan board."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd
import streamlit as st

from dashboard import formats, frame, loaders
from dashboard.changes import demand
from dashboard.charts import plan as plan_charts
from ingest.errors import PumpledgerError

STATUS_WORDS = {
    "booked": "■ booked",
    "pinned": "■ pinned to its day",
    "proposed": "□ proposed",
    "done": "✓ done",
}
DECISIONS = {
    "book": "Book",
    "pin": "Pin to this day",
    "move": "Move to this day",
    "reject": "Reject",
    "done": "Done",
    "withdraw": "Take back",
}
LINE_COLUMNS = {
    "planned_on": "Day",
    "unit": "Unit",
    "position": "Pump",
    "depot": "Depot",
    "pump_type": "Type",
    "status": "Status",
    "risk": "Risk before next visit",
    "cost_of_waiting": "Waiting a visit costs",
    "expected_saving": "Saves",
    "hours": "Hours",
    "order_by": "Order by",
    "reason": "Why",
    "cautions": "Mind",
}


def headline(plan: Any) -> str:
    """Return what the plan holds and what it is expected to save, with its range."""
    if not len(plan.lines):
        return (
            f"No replacement is planned for the {plan.horizon_days} days from {formats.day(plan.as_of)}: "
            "none is confirmed by its readings and worth it."
        )
    status = plan.lines["status"].value_counts()
    counted = ", ".join(f"{n:,} {name}" for name, n in status.items())
    saving = formats.money(plan.expected_saving, plan.currency)
    low, high = (f"{v:,.0f}" for v in (plan.saving_low, plan.saving_high))
    return (
        f"{formats.count(len(plan.lines), 'replacement')} in the {plan.horizon_days} days from "
        f"{formats.day(plan.as_of)} ({counted}). Expected saving against leaving these pumps to fail: "
        f"{saving}, likely between {low} and {high}."
    )


def show_weeks(plan: Any, chosen: dict[str, list[str]]) -> None:
    """Draw hours wanted against hours free, by week."""
    bays = frame.narrowed(plan.bays, {"depot": chosen["depot"]})
    if not len(bays) or bays["free_hours"].isna().all():
        st.caption("No bay hours are given, so the plan is not held against them.")
        return
    weeks = bays.groupby("week", as_index=False)[["free_hours", "used_hours"]].sum()
    rows = pd.DataFrame(
        {
            "week_of": weeks["week"].map(formats.day),
            "depot": ", ".join(chosen["depot"]) or "all depots",
            "hours_planned": weeks["used_hours"],
            "hours_free": weeks["free_hours"],
        }
    )
    st.header("By week", anchor=False)
    frame.chart(
        plan_charts.hours_by_week(rows, palette=frame.palette()),
        "Bay hours planned each week as bars, with the hours free as ticks.",
    )
    st.caption("Bars: hours wanted by replacements. Ticks: bay hours free.")


def lines_table(lines: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Return the lines as shown."""
    shown = lines.assign(
        planned_on=lines["planned_on"].map(formats.day),
        order_by=lines["order_by"].map(formats.day),
        status=lines["status"].map(lambda s: STATUS_WORDS.get(s, s)),
        risk=lines["risk"].map(formats.percent),
        cost_of_waiting=lines["cost_of_waiting"].map(lambda v: formats.money(v, currency)),
        expected_saving=lines["expected_saving"].map(lambda v: formats.money(v, currency)),
        cautions=lines["cautions"].map(lambda c: "; ".join(c) if isinstance(c, list | tuple) else c),
    )
    return shown[list(LINE_COLUMNS)].rename(columns=LINE_COLUMNS)


def show_lines(plan: Any, chosen: dict[str, list[str]]) -> None:
    """Draw booked, pinned and proposed work by day, with files and paper to take away."""
    lines = frame.narrowed(plan.lines, chosen)
    st.header("Planned replacements", anchor=False)
    if not len(lines):
        st.write("None.")
        return
    table = lines_table(lines, plan.currency)
    st.dataframe(table, hide_index=True, alt="Planned replacements by day, with status, reason and money.")
    save, paper, calendar, accept = st.columns(4)
    with save:
        frame.download(table, "plan")
    paper.download_button("Work list to print", lambda: _work_list(plan), "work_list.html", "text/html")
    calendar.download_button("Calendar file", lambda: _calendar(plan), "plan.ics", "text/calendar")
    if (plan.lines["status"] == "proposed").any():
        with accept.popover("Book all proposed"):
            by = st.text_input("Your initials", key="accept_by", max_chars=12)
            if st.button("Book them all", type="primary"):
                _do(lambda: _accept(plan, by))


def _work_list(plan: Any) -> str:
    from analytics.work_list import work_list_html

    return work_list_html(plan)


def _calendar(plan: Any) -> bytes:
    from analytics.ical import calendar

    return calendar(plan)


def _accept(plan: Any, by: str) -> str:
    from analytics.bookings import accept, record_list

    demand(by, "your initials")
    booked = accept(loaders.ledger_path(), plan, by=by.strip())
    record_list(loaders.ledger_path(), plan, by=by.strip())
    return f"{formats.count(booked, 'pump')} booked, and the list kept."


def show_decision(plan: Any) -> None:
    """Let a person book, pin, move, reject, close or take back; the plan follows at once."""
    st.header("Decide about a pump", anchor=False)
    pumps = candidates(plan)
    asked = st.query_params.get("pump", "")
    ids = list(pumps)
    if asked.isdigit() and int(asked) not in pumps:
        ranking = loaders.ranking()
        row = ranking[ranking["pump_id"] == int(asked)]
        if len(row):
            pumps[int(asked)] = f"unit {row.iloc[0]['unit']}, {formats.action(row.iloc[0]['action'])}"
            ids = list(pumps)
    if message := st.session_state.pop("decided", None):
        st.success(message)
    if not ids:
        st.write("No pump waits for a decision.")
        return
    with st.form("decision", border=True):
        index = ids.index(int(asked)) if asked.isdigit() and int(asked) in pumps else 0
        pump_id = st.selectbox("Pump", ids, index=index, format_func=pumps.__getitem__)
        what = st.segmented_control("Decision", list(DECISIONS), default="book", key="decision_kind",
                                    format_func=DECISIONS.__getitem__)  # fmt: skip
        day = st.date_input("Day", _planned_day(plan, pump_id), format="YYYY-MM-DD")
        reason = st.text_input("Reason", placeholder="asked for when pinning, moving or rejecting")
        by = st.text_input("Your initials", max_chars=12, key="decision_by")
        if st.form_submit_button("Decide", type="primary", width="stretch"):
            _do(lambda: decide(str(what), int(pump_id), day, by, reason))
    st.caption("A booking against the trade rules is an override: pin it, with the reason.")


def candidates(plan: Any) -> dict[int, str]:
    """Return the pumps a decision may concern, by id, planned ones first."""
    pumps: dict[int, str] = {}
    for rows, words in (
        (plan.lines, "planned"),
        (plan.unplaced, "not placed"),
        (plan.waiting, "waiting"),
        (plan.rejected, "rejected"),
    ):
        for row in rows.to_dict("records"):
            place = "" if row["position"] == "main" else f" {row['position']}"
            on = f" on {formats.day(row['planned_on'])}" if "planned_on" in row else ""
            pumps.setdefault(
                int(row["pump_id"]),
                f"unit {row['unit']}{place}, {words}{on}, risk {formats.percent(row['risk'])}",
            )
    return pumps


def _planned_day(plan: Any, pump_id: int | None) -> date:
    rows = plan.lines[plan.lines["pump_id"] == pump_id] if len(plan.lines) else plan.lines
    planned = pd.Timestamp(rows.iloc[0]["planned_on"]).date() if len(rows) else None
    return max(planned or date.today() + timedelta(days=7), date.today())


def decide(what: str, pump_id: int, day: date, by: str, reason: str) -> str:
    """Carry one decision out and return the sentence to show."""
    from analytics import bookings

    demand(by, "your initials")
    ledger, by, reason = loaders.ledger_path(), by.strip(), reason.strip()
    if what == "book":
        ranking = loaders.ranking()
        row = ranking[ranking["pump_id"] == pump_id]
        risk = float(row.iloc[0]["risk"]) if len(row) else None
        return bookings.book(ledger, pump_id, day, by=by, reason=reason, risk=risk)
    if what in ("pin", "move"):
        return getattr(bookings, what)(ledger, pump_id, day, by=by, reason=reason)
    if what in ("reject", "done", "withdraw"):
        return getattr(bookings, what)(ledger, pump_id, by=by, reason=reason)
    demand("", "a decision")
    return ""


def _do(change: Any) -> None:
    try:
        st.session_state["decided"] = change()
    except PumpledgerError as refused:
        st.error(f"▲ {refused.text}")
    else:
        st.rerun()


def show_orders(plan: Any, chosen: dict[str, list[str]]) -> None:
    """Draw what to order, by when."""
    parts = frame.narrowed(plan.parts, {k: chosen[k] for k in ("depot", "pump_type")})
    st.header("Order list", anchor=False)
    wanted = parts[(parts["to_order"] > 0) | (parts["booked"] > 0)] if len(parts) else parts
    if not len(wanted):
        st.write("Nothing to order.")
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
    st.dataframe(table, hide_index=True, alt="Pumps to order by depot and type.")
    frame.download(table, "order_list")


def show_rest(plan: Any, chosen: dict[str, list[str]]) -> None:
    """Draw what could not be placed, what waits and why, what was rejected, and what changed."""
    for title, rows, columns in (
        ("Should be changed, but doesn't fit", plan.unplaced, {"why": "Why not", "next_step": "Next step"}),
        ("Risky, but not to be changed yet", plan.waiting, {"why": "Why not", "next_step": "Next step"}),
        ("Rejected by a person", plan.rejected, {"why": "Reason"}),
    ):
        rows = frame.narrowed(rows, chosen)
        if not len(rows):
            continue
        st.header(title, anchor=False)
        table = rows.head(200).assign(risk=rows["risk"].map(formats.percent))
        names = {"unit": "Unit", "position": "Pump", "depot": "Depot", "risk": "Risk"} | columns
        st.dataframe(table[list(names)].rename(columns=names), hide_index=True, alt=f"{title}.")
    if len(plan.changes):
        st.header("Changed since the last list", anchor=False)
        st.dataframe(
            plan.changes.drop(columns=["pump_id"], errors="ignore").rename(columns=str.capitalize),
            hide_index=True,
            alt="What changed since the last list was kept, and why.",
        )
