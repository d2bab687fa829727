"""The columns of a folder's other files, proposed as tables to confirm and kept with the folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.shell import frame, say
from dashboard.words.plain import plain
from ingest.fleet_folder import confirming
from ingest.fleet_folder.loading import distance_unit_of
from ingest.fleet_folder.mapping import FILE, Mapped, save_mapping
from ingest.fleet_folder.proposing import Proposal, Proposed, propose

LEFT_OUT = confirming.LEFT_OUT


def show_proposal(folder: Path, look: Callable[[Mapping[str, Mapped]], None]) -> None:
    """Draw what the folder's other files seem to hold; look(mapping) tells what a load by that would do.

    Raises EntryRefused where there is no folder.
    """
    proposal = propose(folder, distance_unit_of(loaders.ledger_path(), folder))
    if not proposal.tables:
        say.inform("Every file of the folder that could be read is a table by its name already.")
        say.points(proposal.strange)
        return
    say.line(
        f"What stands in files of other names or headers. Put right what is wrong; {LEFT_OUT} takes no "
        f"header. Kept, it stands in the folder as {FILE}, and every later load goes by it."
    )
    chosen = [_table(proposal, one) for one in proposal.tables]
    say.points(proposal.strange)
    by_them, keep = st.columns(2)
    if by_them.button("Look by these columns", width="stretch"):
        mapped = [confirming.confirmed(*edited) for edited in chosen]
        look({one.table.file: one for one in mapped})
    there = (folder / FILE).exists()
    label = f"Keep them in place of the {FILE} there" if there else "Keep them with the folder"
    if keep.button(label, width="stretch"):
        frame.attempt(lambda: _keep([confirming.confirmed(*edited) for edited in chosen], folder, there))


def _keep(mapped: list[Mapped], folder: Path, there: bool) -> str:
    path = save_mapping(mapped, folder, replace=there)
    del st.session_state["columns_of"]
    return f"Kept in {path}. Look first, then bring the folder in."


def _table(proposal: Proposal, one: Proposed) -> tuple[Proposed, pd.DataFrame, pd.DataFrame]:
    mapped = one.mapped
    where = f", sheet {mapped.sheet}" if mapped.sheet else ""
    st.subheader(plain(f"{mapped.file}{where}: {mapped.table.file}"), anchor=False)
    headers = confirming.headers_of(proposal, one)
    key = f"columns_{mapped.file}_{mapped.sheet}_{mapped.table.file}"
    columns = st.data_editor(
        confirming.columns_table(one), key=key, hide_index=True, width="stretch", height=388, placeholder="–",
        disabled=["column", "such_as"],
        column_config={
            "column": st.column_config.TextColumn("Our column"),
            "header": st.column_config.SelectboxColumn(
                "Their header", options=[LEFT_OUT, *headers], required=True
            ),
            "unit": st.column_config.SelectboxColumn("Unit", options=confirming.units_for(one)),
            "from_above": st.column_config.CheckboxColumn(
                "Blank as above", help="a blank cell means what the last filled one above it says"
            ),
            "such_as": st.column_config.TextColumn("Such as"),
        },
    )  # fmt: skip
    words = confirming.words_table(one)
    if len(words):
        words = st.data_editor(
            words, key=f"{key}_words", hide_index=True, width="stretch", placeholder="–",
            disabled=["column", "cell"],
            column_config={
                "column": st.column_config.TextColumn("Our column"),
                "cell": st.column_config.TextColumn("Their word"),
                "means": st.column_config.SelectboxColumn("Means", options=confirming.words_for(one)),
            },
        )  # fmt: skip
    say.points(one.doubts)
    return one, columns, words
