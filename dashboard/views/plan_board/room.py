"""Bay hours and parts as they are now: a bay lost for a week, a delivery that came; the plan follows."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.shell import access, frame, initials
from dashboard.words import formats
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.fleet_folder.tables import BAYS, STOCK, Table

WHAT = {BAYS.file: "Bay hours of a week", STOCK.file: "Parts on hand"}


def show() -> None:
    """Draw the fold in which a planner says what has changed; nothing for who doesn't plan."""
    if access.may("plan") and access.may("load"):
        frame.show_fold("A bay is lost, or parts have come: say so", "plan_room", _ask)


def _ask() -> None:
    what = st.segmented_control("What has changed", list(WHAT), default=BAYS.file, key="room_what",
                                format_func=WHAT.__getitem__, wrap=True)  # fmt: skip
    with st.form("room", border=False):
        left, middle, right = st.columns(3)
        depot = left.selectbox("Depot", loaders.values_of("depot"), index=None, key="room_depot")
        if what == STOCK.file:
            part = middle.selectbox("Pump type", loaders.values_of("pump_type"), index=None, key="room_part")
            count = right.text_input("How many are there", key="room_count")
            row = {"depot": depot, "pump_type": part, "count": count}
        else:
            week = middle.date_input(
                "Any day of the week", date.today(), format="YYYY-MM-DD", key="room_week"
            )
            hours = right.text_input("Bay hours in it, 0 for none", key="room_hours")
            row = {"depot": depot, "week": formats.day(week), "hours": hours}
        by = initials.ask("room_by")
        if st.form_submit_button("Keep it", type="primary", width="stretch"):
            table = STOCK if what == STOCK.file else BAYS
            typed = {name: str(value or "").strip() for name, value in row.items()}
            frame.attempt(lambda: keep(loaders.ledger_path(), table, typed, access.author(by)))


def keep(ledger: Path, table: Table, typed: dict[str, str], author: Author) -> str:
    """Keep one row of bays.csv or stock.csv, read and logged as a fleet folder's is; return what was kept.

    Raises EntryRefused for what a folder's row would be refused for.
    """
    from ingest.fleet_folder.loading import load_folder

    with TemporaryDirectory() as folder:
        pd.DataFrame([typed]).to_csv(Path(folder) / table.file, index=False)
        report = load_folder(ledger, folder, author=author)
    if report.refused:
        problem = report.refused[0]
        raise EntryRefused("room", f"{problem.field}: {problem.text}")
    if table is STOCK:
        return f"Depot {typed['depot']} has {typed['count']} of {typed['pump_type']} on hand."
    return f"Depot {typed['depot']} has {typed['hours']} bay hours in the week with {typed['week']}."
