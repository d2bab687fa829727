"""What a page's address says: keys, filters, pages and parts, which anybody may have typed.

A page takes them from here alone; what it has no use for, or what names nothing, is told in one sentence.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import streamlit as st

from dashboard.shell import say
from ingest.wording.language import phrase

MOST_NAMED = 3
MOST_LETTERS = 40
# In the session: the page that is open, the names its address came with, those it has a use for, what it
# asked for in vain, and where that is said.
_OPEN, _ASKED, _USED, _IN_VAIN = "address_page", "address_asked", "address_used", "address_in_vain"
_PLACE = "address_place"


def arrive(page: str) -> None:
    """Note what the address asks for, when a page is opened and not merely drawn again; keep a place above
    the page for what of it is in vain."""
    state = st.session_state
    if state.get(_OPEN) != page:
        state[_OPEN] = page
        state[_ASKED] = tuple(name for name, value in st.query_params.items() if value)
        state[_USED], state[_IN_VAIN] = set(), []
    state[_PLACE] = st.empty()
    _tell(state[_IN_VAIN])


def leave() -> None:
    """Tell of the names in the address that a page drawn to its end has no use for."""
    state = st.session_state
    unused = [f"\u201c{_cut(name)}\u201d" for name in state[_ASKED] if name not in state[_USED]]
    if unused:
        _tell([*state[_IN_VAIN], *unused])


def text(name: str) -> str:
    """Return what the address gives under a name, "" for nothing."""
    st.session_state.setdefault(_USED, set()).add(name)
    return str(st.query_params.get(name, "")).strip()


def number(name: str, what: str = "") -> int | None:
    """Return the number that the address gives under a name, None for none; what is none is told by `what`
    it should be (default: the name)."""
    given = text(name)
    if re.fullmatch(r"[0-9]{1,15}", given):
        return int(given)
    if given:
        in_vain(what or name, given)
    return None


def bound(key: str, label: str = "", offered: Iterable[object] | None = None) -> dict[str, Any]:
    """Return what binds a box to the address by its key.

    offered: what may be chosen in it, as the box shows it (default: any text). What the address asks for
    beyond that is told, by the box's label, once: before the box takes its value from the address.
    """
    text(key)
    if offered is not None and key not in st.session_state:
        given = [value for value in st.query_params.get_all(key) if value]
        known = {str(value) for value in offered} if given else set()
        for value in given:
            if value not in known:
                in_vain(label, value)
    return {"key": key, "bind": "query-params"}


def in_vain(what: str, value: object) -> None:
    """Tell that the address asks for something that the page doesn't have."""
    said = st.session_state.setdefault(_IN_VAIN, [])
    asked = f"{what[:1].lower()}{what[1:]} \u201c{_cut(str(value))}\u201d"
    if asked not in said:
        said.append(asked)
        _tell(said)


def _tell(said: list[str]) -> None:
    if not said or _PLACE not in st.session_state:
        return
    if (more := len(said) - MOST_NAMED) > 0:
        said = [*said[:MOST_NAMED], phrase("{more} more", more=more)]
    sentence = "The address asks for {what}; this page has no such thing and is shown without it."
    with st.session_state[_PLACE]:
        say.warn(phrase(sentence, what=", ".join(said)))


def _cut(value: str) -> str:
    return value if len(value) <= MOST_LETTERS else value[: MOST_LETTERS - 1] + "…"
