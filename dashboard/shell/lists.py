"""Lists on the pages: each is narrowed, put in order, drawn and saved in the same way.

A short list is drawn whole: its headings sort it, a box finds rows by any word. A long one is asked of the
ledger a page at a time. Either way the file holds every row that matches, not only those drawn.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.data.depots import taking_along
from dashboard.data.queries import ALL_ROWS
from dashboard.shell import address, paper_tables, say
from dashboard.words import formats

ROWS_A_PAGE = 50
PAGE_BOX_PX = 240  # narrow: a table's own tools appear above its right end, and would lie over the steps
MOST_DRAWN = 500
MOST_PAGES = 1_000_000
MOST_PRINTED = 100
FIND_FROM = 9  # a list shorter than this is read faster than it is searched
MONEY = re.compile(r", [A-Z]{3}$")  # a heading that ends with a currency
DISTANCE = re.compile(r", (km|mi)$")
NARROWED_BY = {"depot": "Depot", "pump_type": "Pump type", "class": "Vehicle class"}


def choices_row(key: str, widths: Sequence[float] = (1,) * len(NARROWED_BY)) -> list[Any]:
    """Return places for choices side by side. On a phone they are one line that slides under the thumb, so
    that what they narrow stands on the first screen."""
    with st.container(key=f"narrow_{key}"):
        return st.columns(widths, vertical_alignment="bottom")


def narrowing(
    fields: tuple[str, ...] = tuple(NARROWED_BY), *, key: str, places: Sequence[Any] | None = None
) -> dict[str, list[str]]:
    """Draw the choices that narrow a list (kept in the page's address) and return the chosen values.

    places: where each is drawn (default: a row of their own).
    """
    chosen: dict[str, list[str]] = {}
    for column, field in zip(places or choices_row(key, [1] * len(fields)), fields, strict=True):
        options = loaders.values_of(field)
        with column:
            chosen[field] = st.multiselect(
                NARROWED_BY[field], options, placeholder="all",
                **address.bound(f"{key}_{field}", NARROWED_BY[field], options),
            )  # fmt: skip
    return chosen


def asked(chosen: dict[str, list[str]]) -> dict[str, tuple[str, ...]]:
    """Return choices as the parameters of a query: depots, types, classes; no choice means all."""
    names = {"depot": "depots", "pump_type": "types", "class": "classes"}
    return {names[field]: tuple(values) for field, values in chosen.items()}


def narrowed(rows: pd.DataFrame, chosen: dict[str, list[str]]) -> pd.DataFrame:
    """Return the rows that match every choice made; no choice means all."""
    for field, values in chosen.items():
        if values and field in rows:
            rows = rows[rows[field].isin(values)]
    return rows


def holding(rows: pd.DataFrame, text: str) -> pd.DataFrame:
    """Return the rows with `text` in any cell, case aside."""
    if not text.strip() or not len(rows):
        return rows
    found = pd.Series(False, rows.index)
    for column in rows:
        cells = rows[column].astype(object).where(rows[column].notna(), "").map(str)
        found |= cells.str.contains(text.strip(), case=False, regex=False)
    return rows[found]


def show(
    rows: pd.DataFrame,
    words: str,
    name: str,
    *,
    shown: Callable[[pd.DataFrame], pd.DataFrame] = lambda rows: rows,
    most: int = MOST_DRAWN,
) -> None:
    """Draw a list with the sentence that says what it holds, a box to find rows, and a file to save.

    shown: makes of rows what is read; of a long list only the rows drawn go through it.
    """
    if len(rows) >= FIND_FROM:
        find = st.text_input(
            "Find in this list", placeholder="any word of it", **address.bound(f"find_{name}")
        )
        rows = holding(rows, find)
    draw(shown(rows.head(most)), words)
    if len(rows) > most:
        say.note(f"The first {most:,} of {len(rows):,} are drawn; the file holds all.")
    download(lambda: shown(rows), name)


def draw(table: pd.DataFrame, words: str) -> None:
    """Draw a table whose headings sort it, with the sentence that says what it holds."""
    table = formats.with_plain_days(table)
    st.dataframe(with_thousands(table), hide_index=True, placeholder=formats.UNKNOWN, alt=words)
    on_paper(table)


def on_paper(table: pd.DataFrame) -> None:
    """Lay a table beside its grid that shows on paper alone, where a grid is a picture of its first rows."""
    if table.empty:
        return
    first = table.head(MOST_PRINTED)
    cells = {str(name): first[name].tolist() for name in first}
    told = {
        name: [_printed(cell, name) for cell in column]
        for name, column in cells.items()
        if not any(isinstance(cell, list) for cell in column)  # a small line, which is drawn
    }
    more = ""
    if len(table) > MOST_PRINTED:
        more = f"The first {MOST_PRINTED:,} of {len(table):,} are printed; the file holds all."
    paper_tables.lay(told, more)


def _printed(cell: Any, column: str) -> str:
    if formats.is_unknown(cell):
        return formats.UNKNOWN
    if isinstance(cell, int | float | np.number) and not isinstance(cell, bool):
        figure, in_money = float(cell), bool(MONEY.search(column))
        if figure % 1 == 0 and (abs(figure) >= 10_000 or in_money or DISTANCE.search(column)):
            return f"{figure:,.0f}"
        return f"{figure:,.2f}" if in_money else f"{figure:.6g}"
    return str(cell)


def with_thousands(table: pd.DataFrame) -> Any:
    """Return a table in which columns of money or distance, and those of five digits and more, show them in
    threes; it sorts as before. Money with cents anywhere in its column has them everywhere."""
    numbers = list(table.select_dtypes("number"))
    told = {name: table[name].dropna() for name in numbers}
    large: dict[Any, Any] = {
        name: "{:,.0f}"
        for name, values in told.items()
        if len(values) and values.abs().max() >= 10_000 and (values % 1 == 0).all()
    }
    for name in numbers:
        if MONEY.search(str(name)):
            large[name] = "{:,.0f}" if (told[name] % 1 == 0).all() else "{:,.2f}"
        elif DISTANCE.search(str(name)) and (told[name] % 1 == 0).all():
            large[name] = "{:,.0f}"
    if not large:
        return table
    # A table that is given one column's format shows six decimals in every other.
    return table.style.format({name: "{:g}" for name in numbers} | large, na_rep=formats.UNKNOWN)


def paged(
    query: str,
    key: str,
    nouns: tuple[str, str],
    shown: Callable[[pd.DataFrame], pd.DataFrame],
    words: str,
    **parameters: Any,
) -> pd.DataFrame:
    """Draw one page of a query's rows as `shown` makes them, with the other pages and the whole as a file.

    The query takes $rows and $skip and says in `found` how many match. Returns the rows of the page.
    """
    rows = one_page(query, key, nouns, **parameters)
    draw(shown(rows), words)
    save_all(query, key, shown, **parameters)
    return rows


def one_page(
    query: str, key: str, nouns: tuple[str, str], rows_a_page: int = ROWS_A_PAGE, **parameters: Any
) -> pd.DataFrame:
    """Say how many rows match, offer the pages and return the rows of the page chosen."""
    box = f"{key}_page"
    named = address.number(box, "page") if box not in st.session_state else None  # on opening, it isn't drawn
    page = int(st.session_state.get(box) or min(named or 1, MOST_PAGES))
    rows = loaders.ask(query, rows=rows_a_page, skip=(page - 1) * rows_a_page, **parameters)
    if not len(rows) and page > 1:  # narrowed meanwhile
        page = 1
        st.session_state.pop(box, None)
        st.query_params.pop(box, None)
        rows = loaders.ask(query, rows=rows_a_page, skip=0, **parameters)
    found = int(rows["found"].iloc[0]) if len(rows) else 0
    say.line(formats.count(found, *nouns))
    pages = max(1, -(-found // rows_a_page))
    if named is not None and not 1 <= named <= pages:
        address.in_vain("page", named)
    if pages > 1:
        st.number_input(f"Page of {pages:,}", 1, pages, page, width=PAGE_BOX_PX, **address.bound(box))
    return rows.drop(columns=["found"])


def save_all(query: str, name: str, shown: Callable[[pd.DataFrame], pd.DataFrame], **parameters: Any) -> None:
    """Offer every row of a paged query as a file."""
    download(
        lambda: shown(loaders.ask(query, rows=ALL_ROWS, skip=0, **parameters)), name,
        "Save all of these as CSV",
    )  # fmt: skip


def download(table: pd.DataFrame | Callable[[], pd.DataFrame], name: str, label: str = "Save as CSV") -> None:
    """Offer a table, or what makes it, as a file; it is written only when asked for."""
    st.download_button(
        label,
        data=taking_along(lambda: formats.as_csv(table() if callable(table) else table)),
        file_name=f"{name}.csv",
        mime="text/csv",
        key=f"csv-{name}",
    )
