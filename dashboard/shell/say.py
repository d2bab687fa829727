"""Sentences on a page, as text and nothing else; `lead` is a word or two of ours set bold before them."""

from __future__ import annotations

from collections.abc import Iterable

import streamlit as st

from dashboard.words.plain import bullets, plain


def line(text: object, *, lead: str = "") -> None:
    """Write a paragraph."""
    st.markdown(_led(text, lead))


def note(text: object) -> None:
    """Write a remark in small print."""
    st.caption(plain(text))


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
