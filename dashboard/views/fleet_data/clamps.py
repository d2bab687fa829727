"""Clamps on the fleet data page: registered, changed, checked on a known current."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.parts import fact_forms
from dashboard.shell import access, frame, initials, lists, say
from dashboard.words import formats
from ingest.errors import EntryRefused
from ingest.fleet_folder.one_fact import add_facts, change_facts, read_facts
from ingest.fleet_folder.tables import CLAMPS
from ingest.units import parse_quantity

if TYPE_CHECKING:
    from ingest.visit.clamp_scaled import Scaled

NEW = "+ a new one"
COLUMNS = {
    "clamp": "Clamp", "factor": "Factor", "channel": "Channel", "range_a": "Range, A", "pct": "Off by, %",
    "offset_a": "and A", "owner": "With", "checked_on": "Checked on", "due_on": "Due on",
    "last_read": "Last check",
}  # fmt: skip


def show_clamps() -> None:
    """Draw the clamps on record, a form for a check, and one to register or change a clamp."""
    say.line(
        "A visit that names its clamp is read with its factor, and judged by what the clamp may be off by. A "
        "check on a known current each week is one entry."
    )
    rows = loaders.ask("clamps")
    if len(rows):
        lists.show(clamp_table(rows), "Clamps on record.", "clamps")
        late = rows.loc[pd.to_datetime(rows["due_on"]) < pd.Timestamp(date.today()), "clamp"]
        if len(late):
            say.warn(f"Due for a check: {', '.join(late)}. Readings taken with an overdue clamp say so.")
    else:
        say.line("No clamp is on record yet.")
    if access.may("work") and len(rows):
        _check(rows["clamp"].tolist())
    _scaled()
    if access.may("facts"):
        _change(rows)


def clamp_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows of clamps.sql as shown."""
    last = [
        "" if pd.isna(known) else f"{read:.3g} A on {known:.3g} A"
        for known, read in zip(rows["known_a"], rows["read_a"], strict=True)
    ]
    return rows.assign(last_read=last)[list(COLUMNS)].rename(columns=COLUMNS)


def _check(names: list[str]) -> None:
    from ingest.intake.clamp_checks import record_check

    with st.form("clamp_check", border=True):
        which, known, read, day, who = st.columns([2, 1, 1, 1, 1])
        clamp = which.selectbox("Clamp held on a known current", names, index=None, key="check_clamp")
        known_a = known.text_input("Known, A", key="check_known", placeholder="5.00")
        read_a = read.text_input("It read, A", key="check_read", placeholder="5.02")
        on = day.date_input("Day", value="today", format="YYYY-MM-DD", key="check_on")
        by = initials.ask("check_by", who)
        if st.form_submit_button("Keep this check", width="stretch"):

            def keep() -> str:
                if not clamp:
                    raise EntryRefused("missing", "Choose the clamp first.")
                amps = [
                    parse_quantity(text, "current", default_unit="A", field=field)
                    for text, field in ((known_a, "Known"), (read_a, "It read"))
                ]
                return record_check(loaders.ledger_path(), clamp, *amps, on=on, author=access.author(by)).text

            frame.attempt(keep)


def _scaled() -> None:
    """Draw the answers that scaled readings, each to be taken back."""
    from ingest.visit.clamp_scaled import scaled

    with loaders.reading() as connection:
        done = scaled(connection)
    if not done:
        return
    with st.expander(f"Readings scaled because a clamp was off: {formats.count(len(done), 'answer')}"):
        for one in done:
            with st.form(f"scaled_{one.question_id}", border=False):
                say.line(one.text)
                if not access.may("correct"):
                    st.form_submit_button("Take it back", disabled=True)
                    continue
                reason, by = fact_forms.signature(f"scaled_{one.question_id}")
                if st.form_submit_button("Take it back", width="stretch"):
                    _take_back(one, reason, by)


def _take_back(one: Scaled, reason: str, by: str) -> None:
    from ingest.visit.clamp_scaled import take_back

    ledger, author = loaders.ledger_path(), access.author(by)
    frame.attempt(
        lambda: take_back(ledger, one.question_id, reason, author, command=changes.COMMAND),
        f"Readings of clamp {one.clamp} are as before; its question is open again.",
    )


def _change(rows: pd.DataFrame) -> None:
    with st.expander("Register a clamp, or change one", expanded=rows.empty):
        names = [*rows["clamp"].tolist(), NEW]
        name = st.selectbox("Clamp to change", names, index=None, key="clamp_to_change", placeholder="choose")
        if not name:
            return
        row = None if name == NEW else rows[rows["clamp"] == name].iloc[0].to_dict()
        with st.form(f"clamp_{name}"):
            typed = fact_forms.fields(
                CLAMPS, row, key=f"clamp_{name}", own="", leave_out=() if row is None else ("clamp",)
            )
            reason, by = fact_forms.signature(f"clamp_{name}")
            if st.form_submit_button("Keep this clamp", type="primary", width="stretch"):

                def keep() -> None:
                    values = read_facts(CLAMPS, typed, "km")
                    signed: dict[str, Any] = {
                        "author": access.author(by), "reason": reason, "command": changes.COMMAND,
                    }  # fmt: skip
                    if row is None:
                        add_facts(loaders.ledger_path(), CLAMPS, values, **signed)
                    else:
                        change_facts(loaders.ledger_path(), CLAMPS, name, values, **signed)

                frame.attempt(keep, f"Clamp {typed.get('clamp') or name} is kept as shown.")
