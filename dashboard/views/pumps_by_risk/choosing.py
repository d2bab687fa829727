"""What the list of pumps shows: found, narrowed, put in order, its columns; all of it part of the address."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.parts import risk_list
from dashboard.shell import address, lists, say
from dashboard.words import formats

# Views that are often asked for: name, and what is chosen in them.
VIEWS: dict[str, dict[str, Any]] = {
    "All pumps": {},
    "To check and change": {"action": ["check and change", "book replacement", "capture first"]},
    "To capture again": {"action": ["repeat capture"]},
    "To check": {"action": ["check circuit", "check filter or strainer", "check delivery"]},
    "Due soonest": {"order": "due date"},
    "Longest unseen": {"order": "longest unseen"},
}
USUAL = {"action": [], "order": "risk"}


@dataclass(frozen=True)
class Chosen:
    """What a reader has chosen."""

    narrowed: dict[str, list[str]]
    actions: list[str]
    find: str
    order: str
    columns: list[str]

    def of(self, ranking: pd.DataFrame) -> pd.DataFrame:
        """Return the pumps of a ranking that match."""
        rows = lists.narrowed(ranking, self.narrowed | {"action": self.actions})
        if self.find:
            rows = rows[rows["pump_id"].isin(loaders.pumps_holding(self.find))]
        return rows

    def words(self) -> str:
        """Return it in words, for paper."""
        return risk_list.choices_words(self.narrowed, self.actions, self.find, self.order)


def show() -> Chosen:
    """Draw the choices in one row above the list."""
    find, *places, act, order, more = lists.choices_row("by", [1.5, 1, 1, 1, 1.3, 1.1, 0.9])
    with find:
        text = st.text_input("Find", placeholder="unit, VIN or serial", **address.bound("find"))
    narrowed = lists.narrowing(key="by", places=places)
    with act:
        actions = st.multiselect(
            "Action", list(formats.ACTION_SHAPES), format_func=formats.action, placeholder="all",
            **address.bound("action", "Action", map(formats.action, formats.ACTION_SHAPES)),
        )  # fmt: skip
    with order:
        by = st.selectbox(
            "In order of", list(risk_list.ORDERS), **address.bound("order", "order", risk_list.ORDERS)
        )
    with more, st.popover("Views", width="stretch"):
        columns = _views_and_columns()
    return Chosen(narrowed, actions, text.strip(), str(by), columns)


def _views_and_columns() -> list[str]:
    for name in VIEWS:
        st.button(name, on_click=_take, args=(name,), width="stretch")
    names = {name: words for name, words in risk_list.COLUMN_WORDS.items() if risk_list.may_show(name)}
    columns = st.multiselect(
        "Columns", list(names), default=[n for n in risk_list.FIRST_COLUMNS if n in names],
        format_func=names.__getitem__, **address.bound("columns", "column", names.values()),
    )  # fmt: skip
    say.note("The page's address holds all that is chosen here: keep it as a bookmark, or send it on.")
    return columns or list(names)


def _take(name: str) -> None:
    st.session_state.update(USUAL | VIEWS[name])


def page_of(rows: int, rows_a_page: int) -> int:
    """Draw the step to other pages of a long list, and return the page chosen."""
    pages = -(-rows // rows_a_page)
    if pages <= 1:
        return 1
    box = address.bound("page", "page", range(1, pages + 1))
    return int(st.number_input(f"Page of {pages:,}", 1, pages, 1, width=lists.PAGE_BOX_PX, **box))
