"""Fleet data: units, pump types, where to clamp, clamps, work, prices, settings, changes, a folder."""

import streamlit as st

from dashboard.data import loaders
from dashboard.shell import access, address, frame, say
from dashboard.views.fleet_data import clamps as fleet_clamps
from dashboard.views.fleet_data import facts, setting_up, warranty
from dashboard.views.fleet_data import loading as fleet_loading
from dashboard.views.fleet_data import parts as fleet_parts
from dashboard.views.fleet_data import prices as fleet_prices
from dashboard.words import formats

st.title("Fleet data")
started = fleet_parts.has_data()
if not started:
    say.inform("The ledger is empty. Enter a first unit, bring in a fleet folder, or log a first visit.")
    frame.link("log_visit", "→ Log a first visit")
else:
    say.line(formats.holdings(loaders.ask("fleet_counts").iloc[0], "unit"))
    frame.first_part_first()
parts = {
    "Units": fleet_parts.show_units,
    "Pump types": facts.show_pump_types,
    "Where to clamp": facts.show_notes,
    "Clamps": fleet_clamps.show_clamps,
    "Warranty and lots": warranty.show_warranty,
    "Work done": fleet_parts.show_work,
    "Prices": fleet_prices.show_prices,
    "Settings": fleet_prices.show_settings,
    "Changes": fleet_parts.show_changes,
}
if not access.may("money"):
    del parts["Prices"]
if not started:
    parts = {"Set up": setting_up.show_set_up} if access.may("settings") else {}
if access.may("load"):
    parts["Bring in a folder"] = fleet_loading.show_loading
frame.show_kept()
if parts:
    tabs = st.tabs(list(parts), on_change="rerun", **address.bound("part", "part", parts))
    for tab, draw in zip(tabs, parts.values(), strict=True):
        if tab.open:
            with tab:
                draw()
