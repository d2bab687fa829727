"""Which language a page is drawn in: the browser's, until a person chooses, which the browser remembers.

Log a visit speaks Spanish too; every other page speaks English. Units and figures are the fleet's in both.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import AbstractContextManager

import streamlit as st

from dashboard.words import spanish  # noqa: F401  (known once it is imported)
from ingest.wording.language import ENGLISH, SPANISH, phrase, speaking, spoken

NAMES = {ENGLISH: "English", SPANISH: "Español"}
TRANSLATED = ("log-visit",)  # addresses of pages
CHOSEN = "language"  # in the session, and in the browser's cookie
COOKIE = "pumpledger_language"

# For a year; and what the page says of itself, by which a screen reader chooses its voice.
_JS = """
export default function ({ data }) {
  if (data.chosen)
    document.cookie = `${data.cookie}=${data.chosen}; Max-Age=31536000; Path=/; SameSite=Lax`;
  const before = document.documentElement.lang;
  document.documentElement.lang = data.spoken;
  return () => { document.documentElement.lang = before; };
}
"""
_KEEP = st.components.v2.component("pumpledger_language", html="<span></span>", js=_JS)


def chosen() -> str:
    """Return the language a person chose, else the browser's first that there is, else English."""
    header = st.context.headers.get("Accept-Language")
    told = (st.session_state.get(CHOSEN), st.context.cookies.get(COOKIE))
    return next(
        (str(code) for code in (*told, *of_browser(st.context.locale, header)) if code in NAMES), ENGLISH
    )


def drawn(address: str) -> AbstractContextManager[None]:
    """Speak, while a page is drawn, the language it is wanted in, as far as it has it."""
    return speaking(chosen() if address in TRANSLATED else ENGLISH)


def in_menu(address: str, title: str) -> str:
    """Return what a page is called in the menu."""
    with drawn(address):
        return phrase(title)


def title_with_choice(title: str, typed: Iterable[str]) -> None:
    """Draw a page's title with the other language beside it; typed: keys of what stands in its boxes."""
    with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
        st.title(phrase(title), width="stretch")
        other = next(code for code in NAMES if code != spoken())
        st.button(NAMES[other], key="other_language", type="tertiary", on_click=_choose,
                  args=(other, tuple(typed)))  # fmt: skip
    with st.container(key="language_kept"):
        data = {"cookie": COOKIE, "chosen": st.session_state.get(CHOSEN), "spoken": spoken()}
        _KEEP(key="language_of_page", data=data)


def _choose(language: str, typed: tuple[str, ...]) -> None:
    state = st.session_state
    state[CHOSEN] = language
    for name in typed:  # a choice goes by its words, which are about to change: set it anew by its code
        if name in state:
            state[name] = state[name]


def of_browser(locale: str | None, header: str | None) -> list[str]:
    """Return a browser's languages without regions, the one of its own surface first.

    header: its Accept-Language (RFC 9110, section 12.5.4), which browsers send in order of preference.
    """
    told = [locale or "", *(header or "").split(",")]
    return [each.split(";")[0].strip().split("-")[0].lower() for each in told]
