"""The dashboard as it is served, for tests of what does not rest on it: no forecast record is worked out, and
what another test learned of the same fleet is taken from it. `served(ledger, LEAN)` starts it."""

import os

import streamlit as st

from dashboard.data.answer_store import AnswerStore
from tests.fits_kept import FOLDER, keep_fits

if FOLDER in os.environ:
    keep_fits()
AnswerStore.soon = lambda *_: None  # a process of its own, for longer than any page takes

from dashboard.serving.server import DASHBOARD, MIDDLEWARE  # noqa: E402

app = st.App(DASHBOARD / "app.py", middleware=MIDDLEWARE)
