"""Forecast record: how past forecasts would have done, and what may be concluded from it."""

import streamlit as st

from dashboard.data import loaders
from dashboard.shell import frame, say
from dashboard.views.forecast_record import parts

LOOK_AGAIN_S = 3

st.title("Forecast record")
if not frame.started(
    "Forecasts are held against what happened here, once pumps have been followed for a while."
):
    st.stop()

frame.first_part_first()
kept = loaders.forecast_record()


@st.fragment(run_every=LOOK_AGAIN_S)
def wait() -> None:
    """Look again until the first answer is there."""
    if loaders.forecast_record() is not None:
        st.rerun()
    say.inform(
        "Being worked out in the background: it stands on past days, fits with what was known then and "
        "compares "
        "with what came. This page shows it as soon as it is there; meanwhile others can be used."
    )


if kept is None:
    wait()
    st.stop()
frame.age(kept, "Forecast record", "are taken in once an hour")
parts.show(kept.value)
