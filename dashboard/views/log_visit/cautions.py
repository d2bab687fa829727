"""What to heed before anything is connected: whole once a day and person, then one line with the way back."""

from __future__ import annotations

from datetime import date

import streamlit as st

from analytics.judging.safety import caution_lines
from dashboard.shell import access, say
from dashboard.views.log_visit.typed import READ, arrived
from ingest.wording.language import phrase

LABEL = "Before you connect anything"


def show(*, folded: bool = False) -> None:
    """Show the cautions; open until somebody has read them today.

    Once read they fold when the page is next opened, not under the reader's finger: on a phone the page would
    stay scrolled down, and the first box be out of sight above.
    """
    state = st.session_state
    read = folded or _person() in _readers()
    if arrived():
        state["cautions_open"] = not read
    with st.expander(phrase(LABEL), expanded=state["cautions_open"] and not folded):
        say.points(caution_lines())
        say.note(phrase("[S] from public service and teaching texts · [P] common practice, no source found"))
        if not read:
            st.button(phrase("Read it, go on"), on_click=_mark_read, width="stretch")


def _person() -> str:
    """Return who is here as far as known: signed in, else by the initials in the box, else nobody named."""
    return access.current_person().name or str(st.session_state.get("technician") or "").strip().upper()


def _readers() -> set[str]:
    """Return who has read them today; who read them unnamed is the first to give initials after."""
    today, readers = st.session_state.get(READ, ("", []))
    if today != date.today().isoformat():
        return set()
    person = _person()
    if "" in readers and person:
        readers = [person if name == "" else name for name in readers]
        st.session_state[READ] = (today, readers)
    return set(readers)


def _mark_read() -> None:
    st.session_state[READ] = (date.today().isoformat(), sorted(_readers() | {_person()}))
