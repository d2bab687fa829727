"""Bringing a fleet folder in from the page: look first, then store, with a report of every file."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.shell import access, lists, say
from dashboard.views.fleet_data.columns import show_proposal
from dashboard.words import formats
from dashboard.words.plain import plain
from ingest.errors import PumpledgerError
from ingest.fleet_folder.mapping import Mapped
from ingest.fleet_folder.mending import refused_files
from ingest.fleet_folder.report import LoadReport, grouped
from ingest.harmless import as_file_name


def show_loading() -> None:
    """Look at a fleet folder first, then bring it in."""
    say.line(
        "A fleet folder holds vehicles.csv, pumps.csv, visits.csv and the like, as CSV or workbooks, beside "
        "fleet.toml. "
        "Look first: nothing is stored by looking. Bringing the same folder in again changes nothing."
    )
    text = st.text_input("Folder on this machine", key="folder", placeholder="path to the folder")
    look, other, bring = st.columns(3)
    looked = look.button("Look first", width="stretch", disabled=not text)
    if other.button("Columns of other files", width="stretch", disabled=not text):
        st.session_state["columns_of"] = text
    brought = bring.button("Bring it in", type="primary", width="stretch", disabled=not text)
    with st.expander("Units handed over"):
        say.note(
            "What another ledger's export says about a unit that this one, or a third, keeps is refused. A "
            "unit named here is kept by the ledger that wrote the export from now on; all: every unit in it."
        )
        units = st.text_input("Units, with commas between", key="hand_over")
    handed = [unit.strip() for unit in units.split(",") if unit.strip()]
    folder = Path(text).expanduser()
    try:
        if looked or brought:
            _load(folder, dry_run=looked, hand_over=handed)
        elif text and st.session_state.get("columns_of") == text:
            show_proposal(folder, lambda mapping: _load(folder, dry_run=True, mapping=mapping))
    except PumpledgerError as refused:
        say.refuse(f"{refused.text}")


def _load(
    folder: Path,
    *,
    dry_run: bool,
    mapping: Mapping[str, Mapped] | None = None,
    hand_over: Collection[str] = (),
) -> None:
    from ingest.fleet_folder.loading import load_folder

    bar = st.progress(0.0, "Reading the tables …")

    def progress(done: int, of: int, name: str) -> None:
        bar.progress(min(1.0, done / of) if of else 1.0, plain(f"{as_file_name(name)}: {done:,} of {of:,}"))

    report = load_folder(
        loaders.ledger_path(), folder, dry_run=dry_run, progress=progress, author=access.author(None),
        mapping=mapping, hand_over=hand_over,
    )  # fmt: skip
    bar.empty()
    if report.stored:
        say.done(f"Brought in: {formats.count(report.changes, 'row')} added or changed.")
    elif dry_run:
        say.inform("Looked only: nothing was stored.")
    else:
        say.refuse("Nothing was stored.")
    lists.show(
        pd.DataFrame(
            [
                (c.file, c.rows, c.added, c.changed, c.unchanged, c.questioned, c.refused)
                for c in report.tables
            ],
            columns=["File", "Rows", "New", "Changed", "Same", "In question", "Refused"],
        ),
        "What became of the rows of each file.",
        "brought_in",
    )
    for notice in report.notices:
        say.line(f"· {notice}")
    for title, problems in (("Refused rows", report.refused), ("Rows in question", report.questions)):
        if problems:
            st.subheader(title, anchor=False)
            groups = grouped(problems)
            say.points(group.sentence() for group in groups[:50])
            if len(groups) > 50:
                say.note(f"{len(groups) - 50:,} more causes.")
    if report.refused:
        _offer_refused(folder, report)


def _offer_refused(folder: Path, report: LoadReport) -> None:
    say.line("Mend the refused rows in files of their own, and bring these in from a folder with fleet.toml.")
    for name, content in refused_files(folder, report.refused).items():
        st.download_button(plain(f"Refused rows of {name}"), content, file_name=name, key=f"refused_{name}")
