"""A person's decision about one pump on the plan board: book, pin, move, reject, close, take back."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.parts import asked_pump
from dashboard.parts.deciding import day_offered, decide
from dashboard.parts.replacing import FOUND
from dashboard.shell import access, address, frame, initials, say
from dashboard.words import formats

if TYPE_CHECKING:
    from analytics.scheduling.planning import Plan

DECISIONS = {
    "book": "Book",
    "pin": "Pin to this day",
    "move": "Move to this day",
    "reject": "Reject",
    "done": "Done",
    "withdraw": "Take back",
}
DATED = ("book", "pin", "move")
MOST_OFFERED = 200


def show_decision(plan: Plan) -> None:
    """Let a person book, pin, move, reject, close or take back; the plan follows at once."""
    if not access.may("plan"):
        return
    st.header("Decide about a pump", anchor=False)
    frame.show_kept()
    find = st.text_input(
        "Find a unit", placeholder="any unit in service, or part of its number",
        **address.bound("decide_unit"),
    )  # fmt: skip
    pumps, found = candidates(plan, find)
    asked, unknown = asked_pump.asked_for()
    if unknown:
        address.in_vain("pump", unknown)
    if asked is not None and asked not in pumps and not find:
        named = candidates(plan, pump_id=asked)[0]
        if not named:
            address.in_vain("pump", asked)
        pumps |= named
    if not pumps:
        say.line("No pump of such a unit is in service." if find else "No pump waits for a decision.")
        return
    if found > len(pumps):
        say.note(f"The first {len(pumps):,} of {found:,} are offered; find the unit to reach the others.")
    with st.container(border=True):
        _ask(plan, pumps, list(pumps).index(asked) if asked in pumps and not find else 0)
    say.note("A day that something speaks against is booked with a reason, or not at all.")


@st.fragment
def _ask(plan: Plan, pumps: dict[int, str], first: int) -> None:
    """Ask what is decided about one of the pumps; drawn again by itself as another pump or decision is
    chosen, so that the day shown is that pump's and no box stands there that the decision has no use for."""
    pump_id = int(st.selectbox("Pump", list(pumps), index=first, format_func=lambda i: pumps.get(i, "")))
    what = st.segmented_control("Decision", list(DECISIONS), default="book", key="decision_kind",
                                format_func=DECISIONS.__getitem__, wrap=True)  # fmt: skip
    day, done = date.today(), {}
    if what in DATED:
        day = st.date_input("Day", _planned_day(plan, pump_id), format="YYYY-MM-DD", key=f"day_{pump_id}")
    if what == "done":
        day = st.date_input("Done on", day, max_value=day, format="YYYY-MM-DD", key=f"done_{pump_id}")
        done = _ask_done()
    words = "what was done and why" if what == "done" else "asked for, but when booking a free day"
    reason = st.text_input("Reason", placeholder=words)
    by = initials.ask("decision_by")
    refused = st.container()  # above the button, which may be the last thing on the screen
    if st.button("Decide", type="primary", width="stretch"):
        risk = _risk(plan, pump_id)
        with refused:
            frame.attempt(lambda: decide(str(what), pump_id, day, by, reason, risk=risk, **done))


def _ask_done() -> dict[str, Any]:
    """Ask what became of a job that is done: whether the pump was changed, its state and the odometer."""
    done: dict[str, Any] = {
        "changed": st.segmented_control(
            "Was the pump changed?", ["Yes", "No"], key="decision_changed", wrap=True,
            help="A change is recorded with it, on the day above; type and serial number of the pump fitted "
            "are corrected on the page of fleet data.",
        )
    }  # fmt: skip
    if done["changed"] == "Yes":
        done["found"] = st.segmented_control(
            "What was found", list(FOUND), format_func=FOUND.__getitem__, wrap=True, key="decision_found"
        )
        own = loaders.settings()["distance_unit"]
        done["odometer"] = st.text_input("Odometer", placeholder=own, key="decision_odometer").strip()
    return done


def candidates(plan: Plan, find: str = "", *, pump_id: int | None = None) -> tuple[dict[int, str], int]:
    """Return the pumps a decision may concern, id to words, at most MOST_OFFERED, and how many there are.

    Without `find` those the plan speaks of, planned ones first; with it every pump in service whose unit
    holds the text; with `pump_id` that one alone. Only these two ask for the ranking, which every decision
    makes old: the board is drawn again without it.
    """
    everything = _spoken_of(plan)
    if find.strip() or pump_id is not None:
        everything.append((loaders.ranking(), ""))
    parts = [rows.assign(words=words) for rows, words in everything if len(rows)]
    if not parts:
        return {}, 0
    columns = ["pump_id", "unit", "position", "risk", "words", "planned_on", "action"]
    rows = pd.concat([part.reindex(columns=columns) for part in parts]).drop_duplicates("pump_id")
    if find.strip():
        rows = rows[rows["unit"].str.contains(find.strip(), case=False, regex=False)]
    if pump_id is not None:
        rows = rows[rows["pump_id"] == pump_id]
    offered = rows.head(MOST_OFFERED).to_dict("records")
    return {int(row["pump_id"]): _label(row) for row in offered}, len(rows)


def _spoken_of(plan: Plan) -> list[tuple[pd.DataFrame, str]]:
    return [
        (plan.lines, "planned"),
        (plan.checks, "check planned"),
        (plan.unplaced, "not placed"),
        (plan.waiting, "waiting"),
        (plan.rejected, "rejected"),
    ]


def _risk(plan: Plan, pump_id: int) -> float | None:
    """Return a pump's risk as the plan has it, None where it doesn't speak of the pump."""
    for rows, _ in _spoken_of(plan):
        mine = rows[rows["pump_id"] == pump_id] if len(rows) else rows
        if len(mine) and not formats.is_unknown(mine.iloc[0]["risk"]):
            return float(mine.iloc[0]["risk"])
    return None


def _label(row: dict[Any, Any]) -> str:
    place = "" if row["position"] == "main" else f" {row['position']}"
    on = "" if formats.is_unknown(row["planned_on"]) else f" on {formats.day(row['planned_on'])}"
    words = row["words"] or formats.ACTION_WORDS.get(row["action"], row["action"]).lower()
    return f"unit {row['unit']}{place}, {words}{on}, risk {formats.percent(row['risk'])}"


def _planned_day(plan: Plan, pump_id: int | None) -> date:
    rows = plan.lines[plan.lines["pump_id"] == pump_id] if len(plan.lines) else plan.lines
    planned = pd.Timestamp(rows.iloc[0]["planned_on"]).date() if len(rows) else None
    told = loaders.ask("pump_head", pump_id=pump_id) if pump_id is not None and planned is None else rows
    return day_offered(planned, told.iloc[0]["depot"] if len(told) else None)


def accept(shown: Plan, plan: Plan, by: str) -> str:
    """Book every proposed line shown, keep the whole plan's list, and return the sentence to show."""
    from analytics.scheduling import bookings

    author = access.author(by)
    booked = bookings.accept(loaders.ledger_path(), shown, author=author)
    bookings.record_list(loaders.ledger_path(), plan, author=author)
    return f"{formats.count(booked, 'pump')} booked, and the list kept."
