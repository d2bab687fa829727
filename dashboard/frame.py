"""What surrounds every page: who is here, plain sentences for errors, the empty ledger, tables and files."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import streamlit as st

from dashboard import access, invented, loaders
from dashboard.answer_store import Kept
from dashboard.navigation import PAGES
from dashboard.palette import DARK, LIGHT, Palette
from ingest.errors import LedgerError, PumpledgerError

log = logging.getLogger(__name__)

STYLE = """
<style>
:root { --rule: color-mix(in srgb, currentColor 22%, transparent); }
.block-container { max-width: 1180px; padding-top: 4.2rem; }
h1 { border-bottom: 3px double var(--rule); padding-bottom: .35rem !important; margin-bottom: 1rem !important;
  font-weight: 600 !important; }
h2, h3 { font-weight: 600 !important; }
h2 { font-size: 1.55rem !important; } h3 { font-size: 1.25rem !important; }
[data-testid="stMetric"] { border-top: 1px solid var(--rule); padding-top: .4rem; }
[data-testid="stMetricLabel"] p, [data-testid="stCaptionContainer"] { opacity: 1; }
.stButton button, .stDownloadButton button, [data-testid="stButtonGroup"] button, .stTextInput input,
.stNumberInput input, .stDateInput input, .stSelectbox [data-baseweb="select"] > div,
[data-testid="stFileUploader"] button, [data-testid="stExpander"] summary { min-height: 2.9rem; }
[data-testid="stPageLink"] a { border: 1px solid var(--rule); min-height: 2.9rem; justify-content: center; }
@media (max-width: 640px) {  /* two in a row on a phone, so that the answer isn't pushed off the screen */
  [data-testid="stColumn"]:has([data-testid="stMetric"], [data-testid="stMultiSelect"]) {
    min-width: calc(50% - 1rem) !important; flex: 1 1 calc(50% - 1rem) !important; }
  [data-testid="stMetricValue"] { font-size: 1.6rem !important; }
}
@media print {
  header, [data-testid="stToolbar"], [data-testid="stSidebar"], .stButton, .stDownloadButton,
  [data-testid="stPageLink"] { display: none !important; }
  .block-container { max-width: none; padding: 0; }
}
</style>
"""


def show(person: access.Person) -> None:
    """Draw what is the same on every page."""
    st.html(STYLE)
    if person.name:
        with st.sidebar:
            st.write(f"{person.name}, {person.role}")
            st.button("Sign out", on_click=st.logout)


def name_invented() -> None:
    """Say on every page of an invented fleet that it is one."""
    if loaders.ledger_path().exists():
        note = invented.note(loaders.settings())
        if note:
            st.caption(note)


@contextmanager
def plain_errors() -> Iterator[None]:
    """Show an error as one sentence; the traceback of anything unforeseen goes to the log alone."""
    try:
        yield
    except PumpledgerError as error:
        st.error(error.text)
    except Exception as error:
        if type(error).__module__.startswith("streamlit.runtime.scriptrunner"):
            raise  # a rerun or stop asked for by the page itself
        log.exception("page failed")
        st.error(
            "Something went wrong in this program and this page could not be drawn. "
            "Nothing was changed; the details are in the log of whoever runs it."
        )


def palette() -> Palette:
    """Return the palette for the theme in use."""
    return DARK if st.context.theme.type == "dark" else LIGHT


def chart(picture: Any, words: str) -> None:
    """Draw a chart with the sentence that says what it shows, for those who can't see it."""
    st.altair_chart(picture, theme=None, width="stretch", alt=words)


def started(first_step: str) -> bool:
    """Return whether the ledger has anything; when not, say what to do first and offer the way."""
    ledger = loaders.ledger_path()
    counts = None
    if ledger.exists():
        try:
            counts = loaders.ask("fleet_counts").iloc[0]
        except LedgerError:
            raise
    if counts is not None and counts["vehicles"]:
        return True
    st.info(f"The ledger is empty. {first_step}")
    left, right = st.columns(2)
    with left:
        link("log_visit", "Log a first visit")
    with right:
        link("fleet_data", "Bring in a fleet folder")
    return False


def link(view: str, label: str, **parameters: Any) -> None:
    """Draw a link to another page of ours, with its query parameters; none for who may not open it."""
    if not access.sees(view):
        return
    entry = PAGES[view]
    st.page_link(
        entry.path,
        label=label,
        query_params={k: str(v) for k, v in parameters.items()} or None,
        width="stretch",
    )


def show_open_tab(parts: dict[str, Callable[[], None]], *, key: str) -> None:
    """Draw tabs by name and work out the open one alone; the choice is part of the page's address."""
    for tab, draw in zip(
        st.tabs(list(parts), key=key, on_change="rerun", bind="query-params"), parts.values(), strict=True
    ):
        if tab.open:
            with tab:
                draw()


def attempt(change: Callable[[], Any], said: str | None = None) -> None:
    """Make a change, then redraw the page with a sentence that says so (default: the one `change` returns).

    A refusal shows where it arose, and nothing is redrawn.
    """
    try:
        result = change()
    except PumpledgerError as refused:
        st.error(f"▲ {refused.text}")
    else:
        st.session_state["kept"] = said or result
        st.rerun()


def show_kept() -> None:
    """Say what was last changed, once."""
    if said := st.session_state.pop("kept", None):
        st.success(said)


def age(answer: Kept, what: str) -> None:
    """Say when an answer was worked out, where the ledger has changed since."""
    if loaders.is_stale(answer):
        then = "are being taken in, look again in a minute"
        if answer.failed:
            then = "could not be taken in; the reason is in the log of whoever runs this"
        st.caption(f"{what} as of {answer.made_at:%Y-%m-%d %H:%M}; later entries {then}.")


def foot(words: str) -> None:
    """Draw a page's closing remark."""
    st.caption(words)
