"""Sentences on a page, as text and nothing else; `lead` is a word or two of ours set bold before them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import streamlit as st

from dashboard.words.plain import bullets, plain


def line(text: object, *more: object, lead: str = "") -> None:
    """Write a paragraph; more: others below it, which cost the page no part of their own."""
    led([(lead, text), *(("", other) for other in more)])


def led(paragraphs: Iterable[tuple[str, object]]) -> None:
    """Write paragraphs, each a lead ("" for none) and its text."""
    st.markdown("\n\n".join(_led(text, lead) for lead, text in paragraphs))


def note(text: object, *more: object) -> None:
    """Write a remark in small print; more: others below it."""
    st.caption("\n\n".join(map(plain, (text, *more))))


def notes(lines: Sequence[object]) -> None:
    """Write remarks in small print, one below the other; nothing where there are none."""
    if lines:
        st.caption(bullets(lines) if len(lines) > 1 else plain(lines[0]))


def points(lines: Iterable[object]) -> None:
    """Write a list."""
    st.markdown(bullets(lines))


def inform(text: object) -> None:
    """Write what a person should know, in a box."""
    st.info(plain(text))


def warn(text: object) -> None:
    """Write what to heed, in a box that begins with a triangle."""
    st.warning(f"▲ {plain(text)}")


def refuse(text: object) -> None:
    """Write why something was not done, in a box that begins with a triangle."""
    st.error(f"▲ {plain(text)}")


def done(text: object) -> None:
    """Write what was done, in a box."""
    st.success(plain(text))


def _led(text: object, lead: str) -> str:
    return f"**{plain(lead)}** {plain(text)}" if lead else plain(text)
