"""Tables for paper alone, where a grid on the page is a picture of its first rows.

Their rows travel with the page as text and are laid out as a table when it is printed: on the screen, where
nobody sees them, thousands of cells would be made ready with every redraw.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

import streamlit as st

from dashboard.shell.paper import unbroken

LONGEST_CELL, FEW_COLUMNS = 36, 5  # characters of a cell beside others; columns that need no line below
_LAID = "paper_tables_laid"
_JS = """
export default function () {
  const add = (to, tag, text) => {
    const made = to.appendChild(document.createElement(tag));
    if (text !== undefined) made.textContent = text;
    return made;
  };
  const lay = () => {
    for (const place of document.querySelectorAll('.on-paper[data-table]')) {
      const told = JSON.parse(place.dataset.table);
      place.replaceChildren();
      const table = add(place, 'table');
      const head = add(add(table, 'thead'), 'tr');
      for (const name of told.head) add(head, 'th', name);
      for (const [cells, below] of told.rows) {
        const body = add(table, 'tbody');
        const row = add(body, 'tr');
        for (const cell of cells) add(row, 'td', cell);
        if (!below.length) continue;
        const under = add(body, 'tr');
        under.className = 'below';
        const cell = add(under, 'td');
        cell.colSpan = told.head.length;
        for (const [name, text] of below) { add(cell, 'b', name); cell.append(` ${text} `); }
      }
      if (told.more) add(place, 'p', told.more);
    }
  };
  const clear = () => {
    for (const place of document.querySelectorAll('.on-paper[data-table]')) place.replaceChildren();
  };
  const paper = matchMedia('print');
  const turn = (event) => (event.matches ? lay() : clear());
  addEventListener('beforeprint', lay);
  addEventListener('afterprint', clear);
  paper.addEventListener('change', turn);
  if (paper.matches) lay();
  return () => {
    removeEventListener('beforeprint', lay);
    removeEventListener('afterprint', clear);
    paper.removeEventListener('change', turn);
  };
}
"""
_AT_PRINTING = st.components.v2.component("pumpledger_paper_tables", html="<span></span>", js=_JS)


def lay(columns: Mapping[str, Sequence[str]], more: str = "") -> None:
    """Put columns of texts, each of the same length, where the page has come to, as a table for paper; `more`
    is said below it."""
    told = json.dumps(lined(columns) | {"more": more}, ensure_ascii=False, separators=(",", ":"))
    st.html(f'<div class="on-paper" data-table="{escape(unbroken(told))}"></div>')
    st.session_state[_LAID] = True


def leave() -> None:
    """Send what lays the tables out with a page that has any, once it is drawn."""
    if st.session_state.pop(_LAID, False):
        with st.container(key="paper_tables"):
            _AT_PRINTING(key="paper_tables_of_page")


def lined(columns: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    """Return `head`, the headings, and `rows`, each the cells of a row and the sentences below it with their
    headings: columns of a hand's width would break them at every word. The first column, by which a row is
    known, stays in it."""
    _, *others = columns
    long = [name for name in others if max(map(len, columns[name])) > LONGEST_CELL]
    short = [name for name in columns if name not in long]
    if len(columns) < FEW_COLUMNS:
        short, long = list(columns), []
    rows = [
        [
            [columns[name][row] for name in short],
            [[name, columns[name][row]] for name in long if columns[name][row]],
        ]
        for row in range(len(columns[short[0]]))
    ]
    return {"head": short, "rows": rows}
