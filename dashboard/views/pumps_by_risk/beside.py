"""What opens beside the list: one pump with reason, small history and what to do, or several."""

from __future__ import annotations

from datetime import date
from urllib.parse import quote

import pandas as pd
import streamlit as st

from analytics.judging.finding import QUIET
from dashboard.charts.small_history import small
from dashboard.data import loaders
from dashboard.parts import risk_list
from dashboard.parts.deciding import day_offered, decide_all
from dashboard.shell import access, frame, initials, say
from dashboard.words import formats
from dashboard.words.plain import plain

DECISIONS = {"book": "Book", "pin": "Pin to this day", "reject": "Reject"}
MOST_NAMED = 12
WORDS = "Current, ripple and speed at the last visits, each on a scale of its own."


def show(row: pd.Series) -> None:
    """Draw one pump."""
    with st.container(border=True):
        place = formats.place(row["unit"], row["position"])
        st.subheader(plain(f"{formats.action(row['action'])}, unit {place}"), anchor=False)
        finding = [("", row["finding_text"])] if row["finding"] not in QUIET else []
        say.led([*finding, ("Why.", row["reason"])])
        _small_history(int(row["pump_id"]))
        say.line(row["action_text"], lead="What to do.")
        if when := risk_list.due_words(row):
            say.note(when)
        if access.may("plan"):
            frame.show_fold("Book, pin or reject", "decide_one", lambda: _decide(pd.DataFrame([row])))
        frame.link("pump_history", "Open its history", pump=row["pump_id"])
        left, right = st.columns(2)
        with left:
            frame.link("plan_board", "Plan it", pump=row["pump_id"])
        with right:
            frame.link("log_visit", "Log a visit", unit=row["unit"])


def _small_history(pump_id: int) -> None:
    visits = loaders.ask("visits_of_pump", pump_id=pump_id)
    drawn = small(visits, palette=frame.palette())
    if drawn is not None:
        st.html(f'<img width="100%" alt="{WORDS}" src="data:image/svg+xml,{quote(drawn)}">')


def show_several(rows: pd.DataFrame) -> None:
    """Draw the pumps chosen in a line each, and let a planner decide about all of them at once."""
    with st.container(border=True):
        st.subheader(f"{len(rows):,} pumps chosen", anchor=False)
        named = rows.head(MOST_NAMED).to_dict("records")
        say.points(
            f"{formats.action(row['action'])} · unit {formats.place(row['unit'], row['position'])} · "
            f"risk {formats.percent(row['risk'])}"
            for row in named
        )
        if len(rows) > len(named):
            say.note(f"and {len(rows) - len(named):,} more")
        failing = risk_list.expected_words(rows["risk_to_next_stop"])
        say.line(f"Left alone, about {failing} of them are expected to fail before their next stop.")
        if access.may("plan"):
            _decide(rows)


def _decide(rows: pd.DataFrame) -> None:
    several = len(rows) > 1
    with st.form("several", border=False):
        what = st.segmented_control(
            "Decision for all of them" if several else "Decision", list(DECISIONS), default="book",
            format_func=DECISIONS.__getitem__, wrap=True,
        )  # fmt: skip
        day = st.date_input("Day", _day_offered(rows), format="YYYY-MM-DD")
        reason = st.text_input("Reason", placeholder="asked for when pinning and rejecting")
        by = initials.ask("several_by")
        said = "Decide about all of them" if several else "Decide"
        if not st.form_submit_button(said, type="primary", width="stretch"):
            return
    pumps = [(int(row["pump_id"]), str(row["unit"])) for row in rows.to_dict("records")]
    done, refused = decide_all(str(what), pumps, day, by, reason)
    for sentence in refused:
        say.refuse(sentence)
    if done and not refused:
        st.session_state["kept"] = done
        st.rerun()
    if done:
        say.done(done)


def _day_offered(rows: pd.DataFrame) -> date:
    """Return the day that one pump is planned for, else one in a week."""
    row = rows.iloc[0]
    told = len(rows) == 1 and not formats.is_unknown(row["planned_on"])
    return day_offered(pd.Timestamp(row["planned_on"]).date() if told else None, row["depot"])
