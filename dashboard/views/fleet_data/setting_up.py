"""A first unit entered by hand where the ledger is empty, with the fleet's unit and currency."""

from __future__ import annotations

import streamlit as st

from dashboard.data import changes, loaders
from dashboard.shell import access, frame, initials, say


def show_set_up() -> None:
    """Draw a form for the fleet's unit and currency and its first unit with its pump."""
    say.line(
        "No folder of tables? Begin with one unit; types, depots and further units can follow in any order."
    )
    with st.form("set_up", border=True):
        a, b = st.columns(2)
        distance = a.selectbox("Distances are in", ["mi", "km"], key="set_up_distance")
        currency = b.text_input("Currency", key="set_up_currency", placeholder="USD")
        a, b, c = st.columns(3)
        typed = {
            "unit": a.text_input("Unit, the vehicle's number", key="set_up_unit"),
            "depot": b.text_input("Depot", key="set_up_depot"),
            "class": c.text_input("Class", key="set_up_class", placeholder="van"),
        }
        a, b, c = st.columns(3)  # a row of its own: a narrow page then goes on in this order
        typed |= {
            "pump_type": a.text_input("Type of its pump", key="set_up_type", placeholder="its part number"),
            "fitted_on": b.text_input("Pump fitted on", key="set_up_fitted", placeholder="YYYY-MM-DD"),
            "fitted_odometer": c.text_input(
                "Odometer at that day", key="set_up_km", placeholder=f"12 {distance}"
            ),
        }
        say.note("Leave blank what nobody knows: it stays unknown, and nothing is guessed.")
        by = initials.ask("set_up_by")
        if st.form_submit_button("Begin with this unit", type="primary", width="stretch"):

            def keep() -> str:
                from ingest.intake.setting_up import add_unit, set_up_fleet

                changes.demand(typed["unit"], "the unit")
                author, ledger = access.author(by), loaders.ledger_path()
                fleet = {"distance_unit": distance} | ({"currency": currency} if currency.strip() else {})
                set_up_fleet(ledger, fleet, author=author)
                return add_unit(ledger, typed, author=author)

            frame.attempt(keep)
