"""The pump history page: the warranty of a pump, the claim for one taken off, and its sheet."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.data.depots import taking_along
from dashboard.parts.claim_sheet import claim_sheet, steps_table
from dashboard.shell import access, frame, initials, lists, say
from dashboard.words import formats
from dashboard.words.warranty import CLAIM_STATES, warranty_line
from ingest.errors import EntryRefused
from ingest.units import parse_number
from ingest.visit.claims import state_claim


def show_claim(pump: pd.Series) -> None:
    """Draw the warranty, what became of the claim, the sheet, and a form to say what became of it."""
    pump_id = int(pump["pump_id"])
    settings = loaders.settings()
    warranty = loaders.warranty(pump_id)
    say.line(
        warranty_line(warranty, settings["distance_unit"], date.today())
        or "Its type states no warranty; the page of fleet data has the place for it."
    )
    if formats.is_unknown(pump["removed_on"]):
        say.note("A claim is made for a pump once it is recorded as taken off.")
        return
    steps = loaders.ask("claim_steps", pump_id=pump_id)
    table = steps_table(steps, settings["currency"])
    if not access.may("money"):
        table = table.drop(columns="Amount")
    if len(steps):
        lists.draw(table, "What became of the claim.")
    frame.show_kept()
    st.download_button(
        "Claim sheet to print",
        taking_along(lambda: claim_sheet(loaders.ask, warranty, settings, loaders.sound_waveform)),
        f"claim_{pump_id}.html", "text/html",
    )  # fmt: skip
    if access.may("work"):
        _say(pump_id, settings["currency"])


def _say(pump_id: int, currency: str) -> None:
    with st.form(f"claim_{pump_id}", border=True):
        state = st.segmented_control("What became of the claim", list(CLAIM_STATES), wrap=True,
                                     format_func=CLAIM_STATES.__getitem__, key="claim_state")  # fmt: skip
        day, much, why, who = st.columns([1, 1, 2, 1])
        on = day.date_input("Day", "today", max_value=date.today(), format="YYYY-MM-DD", key="claim_on")
        amount = much.text_input(f"Amount, {currency}", key="claim_amount")
        note = why.text_input("Its number, or why refused", key="claim_note")
        by = initials.ask("claim_by", who)
        if st.form_submit_button("Keep this", width="stretch"):

            def keep() -> str:
                if not state:
                    raise EntryRefused("missing", "Say what became of the claim first.")
                money = parse_number(amount, field="Amount") if amount.strip() else None
                state_claim(
                    loaders.ledger_path(), pump_id, state, on=on or date.today(), amount=money, note=note,
                    author=access.author(by),
                )  # fmt: skip
                return f"The claim is kept as {state}."

            frame.attempt(keep)
