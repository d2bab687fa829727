"""The pump history page: two captures of a type over each other; this fleet's examples of each state."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard.charts import waveform
from dashboard.data import loaders
from dashboard.parts import envelope, replacing
from dashboard.shell import frame, say
from dashboard.words import formats
from dashboard.words.plain import plain
from ingest.errors import PumpledgerError

NOT_A_STATE = {"not_examined"}
TYPICAL = "in service, near the middle of its type"


def show(pump: pd.Series) -> None:
    """Draw the comparison and the examples; nothing where under two captures of the type have a speed."""
    if formats.is_unknown(pump["pump_type"]):
        return
    captures = loaders.ask("captures_of_type", pump_type=pump["pump_type"])
    if len(captures) < 2:
        return
    st.subheader(plain(f"Compare captures of {pump['pump_type']}"), anchor=False)
    rows = {int(row["visit_id"]): row for row in captures.to_dict("records")}
    own = [visit for visit, row in rows.items() if row["pump_id"] == pump["pump_id"]]
    ids = list(rows)
    first, second = st.columns(2)
    this = first.selectbox("Capture", ids, index=ids.index(own[0]) if own else 0,
                           format_func=lambda visit: label(rows[visit]), key="compare_this")  # fmt: skip
    other_first = next((visit for visit in ids if visit not in own), ids[-1])
    other = second.selectbox("Beside it", ids, index=ids.index(other_first),
                             format_func=lambda visit: label(rows[visit]), key="compare_other")  # fmt: skip
    _overlay(rows[this], rows[other])
    examples = examples_of(captures)
    if len(examples) > 1:
        fold = st.expander(
            plain(f"This fleet's own examples of {pump['pump_type']}, by what was found"), key="examples",
            on_change="rerun",
        )  # fmt: skip
        if not fold.open:
            return
        with fold:
            say.note(
                "One capture of each state: the last before a pump came off that somebody examined, over one "
                f"of a pump {TYPICAL}. One pump is no rule; compare several."
            )
            typical = examples.iloc[0]
            for _, example in examples.iloc[1:].iterrows():
                say.line(f"{label(example)}; {formats.count(int(example['such']), 'such pump')} on record.",
                         lead=f"{replacing.FOUND[example['found']]}.")  # fmt: skip
                _overlay(example, typical)


def examples_of(captures: pd.DataFrame) -> pd.DataFrame:
    """Return a typical capture of a pump in service, then for each state found the last of a pump nearest the
    middle of its state; `such` counts pumps found so.

    captures: rows of captures_of_type.
    """
    last = captures[captures["from_last"] == 1]
    running = last[last["removed_on"].isna()]
    if not len(running):
        return running.assign(such=0)
    found = last[last["removed_on"].notna() & last["found"].notna() & ~last["found"].isin(NOT_A_STATE)]
    chosen = [_middle(running).assign(such=len(running))]
    chosen += [_middle(rows).assign(such=len(rows)) for _, rows in found.groupby("found", sort=True)]
    return pd.concat(chosen)


def _middle(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the one nearest the medians of average, ripple and speed, each by its own spread."""
    figures = rows[["mean_a", "ripple_pct", "rpm"]].astype(float)
    spread = figures.std().fillna(1.0).replace(0.0, 1.0)
    far = (((figures - figures.median()) / spread) ** 2).sum(axis=1)
    return rows.loc[[far.idxmin()]]


def label(row: Any) -> str:
    """Return a capture in a line: unit, day, figures, and what was found in its pump."""
    told = f"unit {formats.place(row['unit'], row['position'])}, {formats.day(row['visited_on'])}"
    if not formats.is_unknown(row["ripple_pct"]):
        told += f", ripple {row['ripple_pct']:.0f} %"
    told += f", {row['rpm']:,.0f} rpm"
    if not formats.is_unknown(row["found"]):
        return f"{told}, later {replacing.FOUND.get(row['found'], row['found']).lower()}"
    return told if formats.is_unknown(row["removed_on"]) else f"{told}, later taken off"


def _overlay(this: Any, other: Any) -> None:
    turns: list[pd.DataFrame] = []
    for row in (this, other):
        try:
            capture = loaders.waveform(str(loaders.ledger_path()), row["capture_hash"])
        except PumpledgerError as error:
            say.warn(error.text)
            return
        ends = (row["steady_from_s"], row["steady_to_s"])
        steady = (None, None) if any(map(formats.is_unknown, ends)) else ends
        turn = envelope.averaged_turn(capture, row["revolution_ms"], *steady)
        if turns:
            turn = envelope.turned_onto(turn, turns[0])
        name = f"{formats.place(row['unit'], row['position'])}, {formats.day(row['visited_on'])}"
        turns.append(turn.assign(capture=name))
    frame.chart(
        waveform.turns(pd.concat(turns), palette=frame.palette()),
        "One averaged turn of each of two captures by angle, over each other.",
    )
