"""Pumps by risk as words, cards and table rows; all figures come from the ranking."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from dashboard import formats, frame

NOW = ("repeat capture", "check circuit", "check filter or strainer")
SHOWN = {
    "unit": "Unit",
    "position": "Pump",
    "action_shown": "Action",
    "risk_pct": "Risk before next visit, %",
    "odds": "In words",
    "due_by": "Due by",
    "currents_a": "Current, last visits",
    "distance_left_p10": "Left, 9 in 10 sure",
    "distance_left_text": "Left, even chance",
    "pump_type": "Type",
    "depot": "Depot",
    "reason": "Why",
    "visits": "Visits",
    "last_visited_on": "Last visit",
}


def to_act_on(ranking: pd.DataFrame, most: int | None = None) -> pd.DataFrame:
    """Return the first pumps of a ranking (by falling risk) with something to do, bookings first."""
    action = ranking["action"].to_numpy()
    booked = np.flatnonzero(action == "book replacement")
    other = np.flatnonzero((action != "none") & (action != "book replacement"))
    return ranking.iloc[np.concatenate([booked, other])[:most]]


def headline(ranking: pd.DataFrame) -> str:
    """Return the sentence that answers "what needs doing?"."""
    if not len(ranking):
        return "No pump is in service yet."
    acts = ranking["action"].value_counts()
    parts = [
        f"{acts[name]:,} to {verb}"
        for name, verb in (
            ("book replacement", "book"),
            ("check circuit", "have the circuit checked"),
            ("check filter or strainer", "have the filter checked"),
            ("repeat capture", "capture again"),
        )
        if acts.get(name)
    ]
    expected = float(ranking["risk"].sum())
    todo = "; ".join(parts) if parts else "nothing to do before the next visits"
    return (
        f"Of {formats.count(len(ranking), 'pump')}: {todo}. "
        f"Left alone, about {expected:,.1f} are expected to fail before their next visit."
    )


def spending_line(months: pd.DataFrame, currency: str) -> str:
    """Return the sentence that answers "what did it cost?", for the last twelve months with records."""
    if not len(months):
        return "No breakdown or planned change is recorded yet."
    until = pd.Timestamp(months["month"].max())
    year = months[pd.to_datetime(months["month"]) > until - pd.DateOffset(months=12)]
    amount = year.groupby("kind")["amount"].sum()
    jobs = year.groupby("kind")["jobs"].sum()
    unknown = int(year["without_cost"].sum())
    words = (
        f"Twelve months to {until:%Y-%m}: {formats.money(amount.get('on the road', 0), currency)} for "
        f"{formats.count(int(jobs.get('on the road', 0)), 'pump')} failed on the road, "
        f"{formats.money(amount.get('planned', 0), currency)} for "
        f"{formats.count(int(jobs.get('planned', 0)), 'planned change')}."
    )
    return words + (f" {unknown} of these jobs have no cost recorded." if unknown else "")


def show_cards(ranking: pd.DataFrame, *, most: int) -> None:
    """Draw the first pumps to act on, one bordered entry each with its reason and the way to its history."""
    waiting = int((ranking["action"] != "none").sum())
    if not waiting:
        st.write("○ No pump needs anything before its next planned visit.")
        return
    for row in to_act_on(ranking, most).to_dict("records"):
        with st.container(border=True):
            head, link = st.columns([4, 1], vertical_alignment="center")
            with head:
                place = "" if row["position"] == "main" else f", {row['position']}"
                depot = "" if formats.is_unknown(row["depot"]) else f" · {row['depot']}"
                st.markdown(
                    f"**{formats.action(row['action'])}** · unit **{row['unit']}**{place}{depot} · "
                    f"risk {formats.percent(row['risk'])} ({formats.odds(row['risk'])})"
                )
                st.write(row["reason"])
                when = due_words(row)
                if when:
                    st.caption(when)
            with link:
                frame.link("pump_history", "Open", pump=row["pump_id"])
    if waiting > most:
        st.caption(f"{waiting - most:,} more with something to do are in the list of pumps by risk.")


def due_words(row: dict[Any, Any] | pd.Series) -> str:
    """Return when something is due: the day a tenth of such pumps will have failed, and the next capture."""
    words = []
    if not formats.is_unknown(row.get("due_by")):
        words.append(f"One in ten such pumps will have failed by {formats.day(row['due_by'])}.")
    if row.get("action") in NOW:
        words.append("Next step: at the first chance.")
    elif not formats.is_unknown(row.get("next_capture_on")):
        words.append(f"Next capture by {formats.day(row['next_capture_on'])}.")
    return " ".join(words)


def table_rows(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the risk table as shown."""
    shown = rows.assign(
        action_shown=rows["action"].map(formats.action),
        risk_pct=rows["risk"] * 100,
        odds=rows["risk"].map(formats.odds),
        due_by=rows["due_by"].map(formats.day),
        distance_left_p10=rows["distance_left_p10"].round(0),
        last_visited_on=rows["last_visited_on"].map(formats.day),
    )
    unit = rows["horizon_unit"].iloc[0] if len(rows) else ""
    names = SHOWN | {"distance_left_p10": f"{unit} left, 9 in 10 sure"}
    return shown[list(SHOWN)].rename(columns=names)


def column_settings() -> dict[str, Any]:
    """Return how the risk table draws its columns."""
    return {
        "Risk before next visit, %": st.column_config.NumberColumn(format="%.1f", width="small"),
        "Current, last visits": st.column_config.LineChartColumn(width="small", help="A, oldest to newest"),
        "Why": st.column_config.TextColumn(width="large"),
    }


def counts(ranking: pd.DataFrame, today: date) -> dict[str, int]:
    """Return the counts a planner starts with."""
    due = pd.to_datetime(ranking["due_by"])
    return {
        "to book": int((ranking["action"] == "book replacement").sum()),
        "to check": int(ranking["action"].isin(["check circuit", "check filter or strainer"]).sum()),
        "to capture again": int((ranking["action"] == "repeat capture").sum()),
        "due in 14 days": int((due <= pd.Timestamp(today + timedelta(days=14))).sum()),
    }
