"""The monthly report to take away."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.data.depots import bound_to, taking_along
from dashboard.shell.paper import as_pdf
from ingest.errors import LedgerError


def show() -> None:
    """Offer the report of a month, of all depots or one, as HTML and PDF; it is made when asked for."""
    newest = loaders.last_fact()
    if newest is None:
        return
    last = f"{newest:%Y-%m}"
    first = min([*loaders.cost_facts()["month"], last])
    months = [str(month) for month in pd.period_range(first, last, freq="M")[::-1]]
    st.subheader("The month on two pages", anchor=False)
    left, right = st.columns(2)
    month = left.selectbox("Month", months, key="report_month")
    names = loaders.values_of("depot")
    own = 0 if bound_to() else None  # who is bound to depots gets the report of one
    depot = right.selectbox("Depot", names, index=own, placeholder="all", key="report_depot")
    page = taking_along(lambda: _html(month, depot))
    html, pdf = st.columns(2)
    html.download_button(
        "Report as HTML", lambda: page().encode("utf-8"), f"report_{month}.html", "text/html"
    )
    pdf.download_button("Report as PDF", lambda: as_pdf(page()), f"report_{month}.pdf", "application/pdf")


def _html(month: str, depot: str | None) -> str:
    from analytics.cost_review.month import month_of
    from analytics.scheduling.planning import plan
    from dashboard.parts import report
    from dashboard.shell.invented import note

    ledger = loaders.ledger_path()
    if bound_to() and depot not in bound_to():
        raise LedgerError("not-your-depot", "Choose one of your depots for the report.")
    made = loaders.only_own(month_of(ledger, month, depot))
    said = note(loaders.settings())
    return report.html(made, loaders.only_own(plan(ledger, as_of=made.last)), [said] if said else [])
