"""Forecast record: how past forecasts would have done, and what may be concluded from it."""

import streamlit as st

from dashboard.data import loaders
from dashboard.shell import frame, say
from dashboard.views.forecast_record import parts

st.title("Forecast record")
if not frame.started(
    "Forecasts are held against what happened here, once pumps have been followed for a while."
):
    st.stop()

say.line(
    "Stands on past days, forecasts with what was known then, and compares with what came. "
    "Each past day takes a fit of its own, so this is worked out when asked for."
)
frame.first_part_first()
result = loaders.backtest_known()
if result is None:
    if not st.button("Work it out", type="primary"):
        st.stop()
    bar = st.progress(0.0, "Standing on past days …")
    result = loaders.work_out_backtest(lambda done, of: bar.progress(done / of, f"Past day {done} of {of}"))
    bar.empty()
parts.show(result)
