"""The plan as a board: weeks across, depots down; a job is put into another week after its price is seen."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.shell import access, address, frame, initials, lists, say
from dashboard.views.plan_board.week_grid import week_grid
from dashboard.words import formats
from dashboard.words.plain import plain

if TYPE_CHECKING:
    from analytics.scheduling.planning import Plan

WEEKS = 6
DEPOTS = 12
# Jobs drawn of a depot's week: so many that the board is a few screens high, more where depots are few.
LEAST_IN_A_CELL, IN_A_COLUMN = 5, 30
NO_DEPOT = "no depot"
JOB_COLUMNS = ["pump_id", "unit", "position", "job", "part", "status", "planned_on", "hours"]
MOVE, UNDO = "board_move", "board_undo"


def show_board(plan: Plan, chosen: dict[str, list[str]], place: Any) -> None:
    """Draw the board, the price of a move asked for, and the way back from the last one; the box for its
    first week goes to `place`, beside those that narrow it."""
    jobs = jobs_of(plan, chosen)
    if not len(jobs):
        st.header("Board", anchor=False)
        say.line("No job is planned.")
        return
    weeks = weeks_of(plan)
    with place, st.container(key="board_weeks"):  # of no use where the screen is too narrow for the board
        first = st.selectbox(
            "Weeks from", weeks, format_func=formats.day,
            **address.bound("board_from", "weeks from", map(formats.day, weeks)),
        ) or weeks[0]  # fmt: skip
    with st.container(key="board_head"):
        st.header("Board", anchor=False)
    grid = board(plan, jobs, weeks[weeks.index(first) :][:WEEKS])
    if grid["left_out"]:
        say.note(f"{DEPOTS} depots are drawn; narrow the list by depot to see the other {grid['left_out']}.")
    moved = week_grid(grid | {"may": access.may("plan")}, key="board_grid")
    if moved and access.may("plan"):
        st.session_state[MOVE] = (int(moved["job"]), str(moved["week"]))
    _show_move(plan, jobs)
    _show_undo()


def jobs_of(plan: Plan, chosen: dict[str, list[str]]) -> pd.DataFrame:
    """Return changes and checks planned, by day."""
    jobs = lists.narrowed(plan.jobs, chosen).sort_values(["planned_on", "depot", "unit"])
    return jobs.assign(depot=jobs["depot"].fillna("").replace("", NO_DEPOT)).reset_index(drop=True)


def weeks_of(plan: Plan) -> list[date]:
    """Return the Mondays of the plan's weeks."""
    start = plan.today - timedelta(days=plan.today.weekday())
    return [start + timedelta(days=7 * k) for k in range((plan.horizon_days + plan.today.weekday()) // 7 + 1)]


def board(plan: Plan, jobs: pd.DataFrame, weeks: list[date]) -> dict[str, Any]:
    """Return what the grid draws: for each depot with jobs and week its room, conflicts and jobs."""
    depots = sorted(jobs["depot"].unique())
    drawn = depots[:DEPOTS]
    shown = plan.bays[plan.bays["depot"].replace("", NO_DEPOT).isin(drawn) & plan.bays["week"].isin(weeks)]
    bays = {(r["depot"] or NO_DEPOT, r["week"]): r for r in shown.to_dict("records")}
    at = jobs.assign(week=[d - timedelta(days=d.weekday()) for d in jobs["planned_on"]])
    at = at[at["depot"].isin(drawn) & at["week"].isin(weeks)]
    of_cell = at.groupby(["depot", "week"])
    counted = of_cell.size()
    told: dict[tuple[str, date], list[dict[str, Any]]] = {}
    most = max(LEAST_IN_A_CELL, IN_A_COLUMN // max(len(drawn), 1))
    for row in of_cell.head(most)[[*JOB_COLUMNS, "depot", "week"]].to_dict("records"):
        told.setdefault((row["depot"], row["week"]), []).append(job_text(row))
    rows = []
    for depot in drawn:
        made = []
        for week in weeks:
            text, over = room(bays.get((depot, week)))
            mine = told.get((depot, week), [])
            more = int(counted.get((depot, week), 0)) - len(mine)
            cell = {"room": text, "over": over, "jobs": mine}
            made.append(
                cell
                | ({"more": f"and {more:,} more: narrow by depot, or see the list below"} if more else {})
            )
        rows.append({"depot": depot, "cells": made})
    return {
        "caption": "Choose a job, then the week it is to go to: its price is shown before anything changes. "
        "Arrow keys go from cell to cell, Escape lets go.",
        "corner": "Depot",
        "put": "Put it into the",
        "narrow": "On a screen this narrow the jobs stand in the list below; "
        "move them under Decide about a pump.",
        "weeks": [{"key": w.isoformat(), "text": f"week of {formats.day(w)}"} for w in weeks],
        "rows": rows,
        "left_out": max(len(depots) - DEPOTS, 0),
    }


def room(bay: dict[Any, Any] | None) -> tuple[str, bool]:
    """Return words on a week's bay hours, and whether they are over."""
    if bay is None or formats.is_unknown(bay["free_hours"]):
        return "hours not given", False
    left = float(bay["free_hours"]) - float(bay["used_hours"])
    if left < -1e-9:
        return f"▲ over by {-left:.1f} h", True
    return f"{left:.1f} of {float(bay['free_hours']):.1f} h free", False


def job_text(row: dict[Any, Any]) -> dict[str, Any]:
    """Return a job as the grid shows it."""
    place = "" if row["position"] == "main" else f" {row['position']}"
    part = "" if row["part"] == "none" else f", part {row['part']}"
    standing = {"booked": "■ ", "pinned": "■ "}.get(row["status"], "□ ")
    return {
        "id": int(row["pump_id"]),
        "text": f"{standing}{row['unit']}{place}: {row['job']}\n"
        f"{formats.day(row['planned_on'])}, {row['hours']:.1f} h{part}",
    }


def price(plan: Plan, jobs: pd.DataFrame, pump_id: int, week: str) -> tuple[date, str] | None:
    """Return the day a job would fall on in a week and the sentence with its price; None where it can't."""
    mine = jobs[jobs["pump_id"] == pump_id]
    there = plan.other_days[
        (plan.other_days["pump_id"] == pump_id)
        & (pd.to_datetime(plan.other_days["week"]) == pd.Timestamp(week))
    ]
    if not len(mine) or not len(there):
        return None
    row, other = mine.iloc[0], there.iloc[0]
    day: date = pd.Timestamp(other["planned_on"]).date()
    weeks = round((day - row["planned_on"]).days / 7)
    when = (
        f"{formats.count(abs(weeks), 'week')} {'later' if weeks > 0 else 'earlier'}" if weeks else "that day"
    )
    more = float(other["costs_more"])
    money = formats.money(abs(more), plan.currency)
    costs = "costs the same" if abs(more) < 0.5 else f"{'costs' if more > 0 else 'saves'} {money}"
    own = ", with a stop of its own" if other["own_stop"] else ", at its planned stop"
    return day, (
        f"Unit {row['unit']}, {row['job']}, from {formats.day(row['planned_on'])} to {formats.day(day)}"
        f"{own}: {when} {costs} (risk meanwhile, life used, the stop's price)."
    )


def _let_go() -> None:
    st.session_state.pop(MOVE, None)


def _show_move(plan: Plan, jobs: pd.DataFrame) -> None:
    """Lay the price of a move asked for over the page: the board is taller than a screen, and below it nobody
    would see it."""
    asked = st.session_state.get(MOVE)
    if asked:
        st.dialog("Move it?", on_dismiss=_let_go)(_ask_move)(plan, jobs, *asked)


def _ask_move(plan: Plan, jobs: pd.DataFrame, pump_id: int, week: str) -> None:
    from analytics.scheduling.doubts import doubts_on
    from ingest.errors import PumpledgerError

    found = price(plan, jobs, pump_id, week)
    if found is None:
        _let_go()
        say.refuse("That unit has no open day within the plan in that week; choose another.")
        return
    day, sentence = found
    say.inform(sentence)
    doubts: list[str] = []
    try:
        doubts = loaders.without_others(doubts_on(loaders.ledger_path(), pump_id, day, date.today()))
    except PumpledgerError as refused:
        say.refuse(refused.text)
    if doubts:
        say.warn("; ".join(doubts) + ". It needs a reason.")
    with st.form("board_move_form"):
        reason = st.text_input("Why", key="board_why", placeholder="kept with the decision")
        by = initials.ask("board_by")
        yes, no = st.columns(2)
        go = yes.form_submit_button("Move it", type="primary", width="stretch")
        leave = no.form_submit_button("Leave it", width="stretch")
    if leave:
        _let_go()
        st.rerun()
    if go:
        frame.attempt(lambda: move(jobs, pump_id, day, by, reason.strip(), bool(doubts)))


def move(jobs: pd.DataFrame, pump_id: int, day: date, by: str, reason: str, doubted: bool) -> str:
    """Move a job to a day and remember how to undo it; return the sentence to show."""
    from analytics.scheduling import bookings
    from ingest.errors import EntryRefused

    if doubted and not reason:
        raise EntryRefused("reason-missing", "Say why it goes there all the same.")
    row = jobs[jobs["pump_id"] == pump_id].iloc[0]
    standing = row["status"] in ("booked", "pinned")
    act = bookings.move if standing else bookings.pin
    said = act(
        loaders.ledger_path(), pump_id, day, author=access.author(by), reason=reason or "moved on the board"
    )
    st.session_state.pop(MOVE, None)
    st.session_state[UNDO] = (pump_id, str(row["unit"]), row["planned_on"] if standing else None, by)
    return said


def _show_undo() -> None:
    last = st.session_state.get(UNDO)
    if not last or not access.may("plan"):
        return
    pump_id, unit, day, by = last
    if st.button(plain(f"Undo the move of unit {unit}"), key="board_undo_button"):
        frame.attempt(lambda: undo(pump_id, day, by))


def undo(pump_id: int, day: date | None, by: str) -> str:
    """Put a job back where it was before the last move: to its day, or to the program's own proposal."""
    from analytics.scheduling import bookings

    author, ledger = access.author(by), loaders.ledger_path()
    if day is None:
        said = bookings.withdraw(ledger, pump_id, author=author, reason="move undone")
    else:
        said = bookings.move(ledger, pump_id, day, author=author, reason="move undone")
    st.session_state.pop(UNDO, None)
    return said
