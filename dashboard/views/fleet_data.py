"""Fleet data: units, pump types, work done, prices, settings, and bringing a fleet folder in."""

import streamlit as st

from dashboard import fleet_parts, frame

st.title("Fleet data")
started = fleet_parts.has_data()
if not started:
    st.info("The ledger is empty. Bring in a fleet folder here, or log a first visit.")
    frame.link("log_visit", "→ Log a first visit")
names = ["Units", "Pump types", "Work done", "Prices", "Settings", "Changes", "Bring in a folder"]
units, types, work, prices, settings, changes, folder = st.tabs(
    names, default="Units" if started else "Bring in a folder"
)
if started:
    with units:
        fleet_parts.show_units()
    with types:
        fleet_parts.show_pump_types()
    with work:
        fleet_parts.show_work()
    with prices:
        fleet_parts.show_prices()
    with settings:
        fleet_parts.show_settings()
    with changes:
        fleet_parts.show_changes()
with folder:
    fleet_parts.show_loading()
