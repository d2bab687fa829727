"""The words of the forecasts explained, where they are used."""

from __future__ import annotations

import streamlit as st

from dashboard.shell import say
from dashboard.words.glossary import TERMS


def show(*names: str) -> None:
    """Offer what these terms mean, folded."""
    with st.popover("What these words mean"):
        for name in dict.fromkeys(names):
            term, _, meaning = TERMS[name].partition(": ")
            say.line(meaning, lead=f"{term}:")
