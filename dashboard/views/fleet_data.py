"""Fleet data: units, pump types, where to clamp, work done, prices, settings, changes, loading a folder."""

import streamlit as st

from dashboard import access, fleet_facts, fleet_loading, fleet_parts, fleet_prices, formats, frame, loaders

st.title("Fleet data")
started = fleet_parts.has_data()
if not started:
    st.info("The ledger is empty. Bring in a fleet folder here, or log a first visit.")
    frame.link("log_visit", "→ Log a first visit")
else:
    st.write(formats.holdings(loaders.ask("fleet_counts").iloc[0], "unit"))
    frame.first_part_first()
parts = {
    "Units": fleet_parts.show_units,
    "Pump types": fleet_facts.show_pump_types,
    "Where to clamp": fleet_facts.show_notes,
    "Work done": fleet_parts.show_work,
    "Prices": fleet_prices.show_prices,
    "Settings": fleet_prices.show_settings,
    "Changes": fleet_parts.show_changes,
}
if not access.may("money"):
    del parts["Prices"]
if not started:
    parts = {}
if access.may("load"):
    parts["Bring in a folder"] = fleet_loading.show_loading
frame.show_kept()
if parts:
    tabs = st.tabs(list(parts), key="part", on_change="rerun", bind="query-params")
    for tab, draw in zip(tabs, parts.values(), strict=True):
        if tab.open:
            with tab:
                draw()
