"""Who writes, where tablets are shared: asked once for each session, shown and changeable in every form."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ingest.wording.language import phrase

LONGEST = 12
_GIVEN = "initials_given"  # in the session: those of the last save


def ask(key: str, place: Any = st) -> str:
    """Draw the box for initials, filled with those of the session's last save.

    A box that somebody has changed or emptied stands as it is.
    """
    state, known, offered = st.session_state, st.session_state.get(_GIVEN, ""), f"{key}_offered"
    if key not in state or (state[key] == state.get(offered) != known):
        state[key] = state[offered] = known
    typed = place.text_input(phrase("Your initials"), key=key, max_chars=LONGEST, autocomplete="off")
    return str(typed)


def remember(initials: str) -> None:
    """Keep the initials of a save for the session's next box."""
    st.session_state[_GIVEN] = initials.strip()
