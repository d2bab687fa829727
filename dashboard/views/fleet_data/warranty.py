"""Warranty and lots on the fleet data page: claims, what may be claimed for, holds and their lines."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.data.depots import taking_along
from dashboard.data.queries import records
from dashboard.parts.claim_sheet import claimable
from dashboard.parts.recall_list import recall_sheet, recall_table, summary
from dashboard.shell import access, frame, initials, lists, say
from dashboard.words import formats
from dashboard.words.warranty import CLAIM_STATES, HOLD_OUTCOMES
from ingest.errors import EntryRefused
from ingest.visit.holds import begin_hold, close_line, lift_hold, lines_of, named
from ingest.vocabulary import HOLD_OUTCOMES as OUTCOMES

CLAIM_COLUMNS = {
    "depot": "Depot", "unit": "Unit", "position": "Position", "pump_type": "Type", "serial": "Serial",
    "lot": "Lot", "removed_on": "Off on", "state": "Claim", "stated_on": "Since", "stated_by": "By",
    "amount": "Amount", "note": "Note",
}  # fmt: skip


def show_warranty() -> None:
    """Draw claims, pumps that may be claimed for, and what is on hold."""
    _claims()
    st.subheader("On hold", anchor=False)
    say.line(
        "A pump type or lot that is not to be fitted. Its pumps in service and parts in stock are listed by "
        "depot, and closed one by one; a pump that comes off is closed by that. Parts of a whole type on "
        "hold are not planned with until their depot's stock is checked."
    )
    holds = records(loaders.ask("holds"))
    for hold in holds:
        _hold(hold)
    if not holds:
        say.line("Nothing is on hold.")
    if access.may("facts"):
        _begin()


def _claims() -> None:
    st.subheader("Claims", anchor=False)
    due = claimable(loaders.ask, loaders.warranties)
    if len(due):
        lately = ", ".join(formats.place(row["unit"], row["position"]) for row in records(due.head(12)))
        say.line(
            f"{formats.count(len(due), 'pump')} came off in warranty within a year and nobody claimed: "
            f"{lately}. A pump's history has its claim sheet."
        )
        labels = _labels(due)
        chosen = st.selectbox("Open its history", list(labels), index=None, key="claim_pump",
                              placeholder="choose", format_func=labels.__getitem__)  # fmt: skip
        if chosen is not None:
            frame.link("pump_history", "Pump history with the claim sheet", pump=chosen, history_part="Claim")
    rows = loaders.ask("claims")
    if not len(rows):
        say.line("No claim is on record.")
        return
    shown = rows.assign(
        state=rows["state"].map(CLAIM_STATES), removed_on=rows["removed_on"].map(formats.day),
        stated_on=rows["stated_on"].map(formats.day),
    )[list(CLAIM_COLUMNS)].rename(columns=CLAIM_COLUMNS)  # fmt: skip
    if not access.may("money"):
        shown = shown.drop(columns="Amount")
    lists.show(shown, "Claims, those not settled first.", "claims")


def _labels(rows: pd.DataFrame) -> dict[int, str]:
    return {
        int(row["pump_id"]): f"unit {formats.place(row['unit'], row['position'])}, off on "
        f"{formats.day(row['removed_on'])}"
        for row in records(rows)
    }


def _hold(hold: dict[str, Any]) -> None:
    number = int(hold["hold_id"])
    with loaders.reading() as connection:
        lines = lines_of(connection, number)
    text, over = summary(hold, lines), hold["lifted_on"] is not None
    with st.expander(named(hold) + (" (lifted)" if over else ""), expanded=not over):
        say.line(text)
        if not len(lines):
            say.note("No unit has such a pump, and none is in stock.")
            return
        lists.show(recall_table(lines), "What the hold is on, by depot.", f"hold_{number}")
        st.download_button(
            "Recall list to print", taking_along(lambda: recall_sheet(hold, lines)), f"recall_{number}.html",
            "text/html", key=f"recall_{number}",
        )  # fmt: skip
        if not over:
            if access.may("work"):
                _close(number, lines[lines["outcome"].isna()])
            if access.may("facts"):
                _lift(number)


def _close(number: int, left: pd.DataFrame) -> None:
    if left.empty:
        say.line("All of it is closed.")
        return
    rows = records(left)
    names = [
        f"unit {formats.place(row['unit'], row['position'])}" if row["what"] == "pump"
        else f"stock at {row['depot']}" for row in rows
    ]  # fmt: skip
    with st.form(f"close_{number}", border=True):
        place = st.selectbox("What is done with", list(range(len(rows))), index=None, placeholder="choose",
                             key=f"close_line_{number}", format_func=names.__getitem__)  # fmt: skip
        outcome = st.segmented_control("It came to", list(OUTCOMES), format_func=HOLD_OUTCOMES.__getitem__,
                                       key=f"close_outcome_{number}", wrap=True)  # fmt: skip
        why, who = st.columns([3, 1])
        note = why.text_input("Note", key=f"close_note_{number}")
        by = initials.ask(f"close_by_{number}", who)
        if st.form_submit_button("Close this line", width="stretch"):

            def keep() -> str:
                if place is None or not outcome:
                    raise EntryRefused("missing", "Choose the line and what it came to first.")
                row = rows[place]
                pump_id = int(row["pump_id"]) if row["what"] == "pump" else None
                close_line(
                    loaders.ledger_path(), number, outcome, pump_id=pump_id, note=note.strip() or None,
                    depot=row["depot"] if pump_id is None else None, author=access.author(by),
                )  # fmt: skip
                return f"Closed: {names[place]}."

            frame.attempt(keep)


def _lift(number: int) -> None:
    with st.form(f"lift_{number}", border=False):
        why, who = st.columns([3, 1])
        because = why.text_input("Why the hold ends", key=f"lift_why_{number}")
        by = initials.ask(f"lift_by_{number}", who)
        if st.form_submit_button("Lift the hold"):
            frame.attempt(
                lambda: lift_hold(loaders.ledger_path(), number, because, author=access.author(by)),
                "The hold is lifted.",
            )


def _begin() -> None:
    with st.expander("Hold a type or a lot back"):
        types = loaders.ask("pump_types")["pump_type"].tolist()
        with st.form("begin_hold", border=False):
            kind, lot_box = st.columns(2)
            pump_type = kind.selectbox("Pump type", types, index=None, key="hold_type", placeholder="choose")
            lot = lot_box.text_input("Lot, blank for the whole type", key="hold_lot")
            why, who = st.columns([3, 1])
            reason = why.text_input("Why", key="hold_why")
            by = initials.ask("hold_by", who)
            if st.form_submit_button("Hold it back", type="primary", width="stretch"):

                def keep() -> str:
                    if not pump_type:
                        raise EntryRefused("missing", "Choose the pump type first.")
                    begin_hold(loaders.ledger_path(), pump_type, lot, reason, author=access.author(by))
                    return "It is on hold; what it is on is listed below."

                frame.attempt(keep)
