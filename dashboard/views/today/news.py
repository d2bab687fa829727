"""What became known, or fell due, since yesterday: counted by kind, each kind opening to its lines."""

from __future__ import annotations

from datetime import datetime, timedelta

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.parts.morning import morning
from dashboard.shell import say
from ingest.durable import utc_now

MOST = 40  # lines of one kind; the pages they come from hold all


def show() -> None:
    """Draw the news; a line where there is none."""
    until = utc_now()
    since = datetime.combine(until.date() - timedelta(days=1), datetime.min.time())
    pumps = loaders.ranking()
    made = morning(loaders.ledger_path(), since, until, pd.DataFrame(), pumps=pumps, ask=loaders.ask)
    if made.is_silent:
        say.line("Nothing new came in and nothing fell due.")
    for kind, lines in made.news.items():
        with st.expander(f"{kind}: {len(lines):,}", expanded=len(lines) <= 3):
            say.points(lines[:MOST])
            if len(lines) > MOST:
                say.note(f"and {len(lines) - MOST:,} more")
    for sentence in made.loaded:
        say.note(sentence)
    say.note(made.still)
