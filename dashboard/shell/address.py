"""What a page's address says: keys and filters, which anybody may have typed."""

from __future__ import annotations

import re

import streamlit as st


def number(name: str) -> int | None:
    """Return the number that the address gives under a name, None for none or for what no key can be."""
    text = st.query_params.get(name, "")
    return int(text) if re.fullmatch(r"[0-9]{1,15}", text) else None
