"""What surrounds every page: who is here, plain sentences for errors, the empty ledger, tables and files."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import streamlit as st

from analytics.risk.workdays import as_of_sentence, stale
from dashboard.data import loaders
from dashboard.data.answer_store import Kept
from dashboard.shell import access, address, invented, say
from dashboard.shell.navigation import PAGES
from dashboard.shell.palette import DARK, LIGHT, Palette
from dashboard.words.plain import plain
from ingest.errors import PumpledgerError

log = logging.getLogger(__name__)
FIRST_PART_S = 0.05


def show(person: access.Person) -> None:
    """Draw what is the same on every page."""
    if person.name:
        with st.sidebar:
            say.line(f"{person.name}, {person.role}")
            st.button("Sign out", on_click=st.logout)


def first_part_first() -> None:
    """Hold the rest of the page back for a moment when a session first opens it: the browser then draws what
    it has, where the many boxes that follow would be drawn in the same go, half a second later."""
    if not st.session_state.get("first_part_seen"):
        st.session_state["first_part_seen"] = True
        time.sleep(FIRST_PART_S)


def name_invented() -> None:
    """Say on every page of an invented fleet that it is one."""
    if loaders.ledger_path().exists():
        note = invented.note(loaders.settings())
        if note:
            say.note(note)


def name_age() -> None:
    """Say first on every page on which day its figures stand, where the newest fact is old."""
    if not loaders.ledger_path().exists():
        return
    newest = loaders.last_fact()
    if newest is not None and stale(newest, date.today()):
        say.note(as_of_sentence(newest))


@contextmanager
def plain_errors() -> Iterator[None]:
    """Show an error as one sentence; the traceback of anything unforeseen goes to the log alone."""
    try:
        yield
    except PumpledgerError as error:
        st.error(plain(error.text))
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


def chart(picture: dict[str, Any], words: str) -> None:
    """Draw a chart (dashboard/charts) with the sentence that says what it shows, for those who can't see
    it."""
    st.vega_lite_chart(picture, theme=None, width="stretch", alt=words)


def started(first_step: str) -> bool:
    """Return whether the ledger has anything; when not, say what to do first and offer the way."""
    ledger = loaders.ledger_path()
    counts = None
    if ledger.exists():
        counts = loaders.ask("fleet_counts").iloc[0]
    if counts is not None and counts["vehicles"]:
        return True
    say.inform(f"The ledger is empty. {first_step}")
    ways: tuple[tuple[str, str, dict[str, str]], ...] = (
        ("fleet_data", "Enter a first unit", {"part": "Set up"}),
        ("log_visit", "Log a first visit", {}),
        ("fleet_data", "Bring in a fleet folder", {"part": "Bring in a folder"}),
    )
    for column, (view, label, of_address) in zip(st.columns(len(ways)), ways, strict=True):
        with column:
            link(view, label, **of_address)
    return False


def link(view: str, label: str, **parameters: Any) -> None:
    """Draw a link to another page of ours, with its query parameters; none for who may not open it."""
    if not access.sees(view):
        return
    entry = PAGES[view]
    st.page_link(
        entry.path,
        label=plain(label),
        query_params={k: str(v) for k, v in parameters.items()} or None,
        width="stretch",
    )


def show_open_tab(parts: dict[str, Callable[[], None]], *, key: str) -> None:
    """Draw tabs by name and work out the open one alone; the choice is part of the page's address."""
    for tab, draw in zip(
        st.tabs(list(parts), on_change="rerun", **address.bound(key, "part", parts)),
        parts.values(),
        strict=True,
    ):
        if tab.open:
            with tab:
                draw()


def off_paper(name: str) -> Any:
    """Return a place for what is only filled in or touched: when the page is printed it is left out."""
    return st.container(key=f"off_paper_{name}")


def show_fold(label: str, key: str, draw: Callable[[], None], *, opened: bool = False) -> None:
    """Draw a fold whose content is worked out once somebody opens it; opened: from the first."""
    fold = st.expander(plain(label), opened, key=key, on_change="rerun")
    if fold.open:
        with fold:
            draw()


def attempt(change: Callable[[], Any], said: str | None = None) -> None:
    """Make a change, then redraw the page with a sentence that says so (default: the one `change` returns).

    A refusal shows where it arose, and nothing is redrawn.
    """
    try:
        result = change()
    except PumpledgerError as refused:
        say.refuse(refused.text)
    else:
        st.session_state["kept"] = said or result
        st.rerun()


def show_kept() -> None:
    """Say what was last changed, once."""
    if said := st.session_state.pop("kept", None):
        say.done(said)


def age(answer: Kept, what: str, then: str = "are being taken in, look again in a minute") -> None:
    """Say when an answer was worked out, where the ledger has changed since; then: what becomes of entries
    since."""
    if loaders.is_stale(answer):
        if answer.failed:
            then = "could not be taken in; the reason is in the log of whoever runs this"
        say.note(f"{what} as of {answer.made_at:%Y-%m-%d %H:%M}; later entries {then}.")


def foot(words: str) -> None:
    """Draw a page's closing remark."""
    say.note(words)
