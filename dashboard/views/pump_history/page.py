"""Pump history: one pump over its distance, what it did, what is expected, and on what grounds."""

import streamlit as st

from dashboard.data import loaders
from dashboard.shell import frame, say
from dashboard.views.pump_history import claiming, metrics, outlook, parts, waveforms

st.title("Pump history")
if not frame.started("Once a visit is logged, its pump's history is kept here."):
    st.stop()

pump_id = parts.choose_pump()
if pump_id is None:
    say.line("Choose a unit to see its pumps.")
    st.stop()
head = loaders.ask("pump_head", pump_id=pump_id)
if not len(head):
    say.line("There is no such pump in this ledger.")
    st.stop()
pump = head.iloc[0]
answer = loaders.ranked()
ranked = answer.value.pumps[answer.value.pumps["pump_id"] == pump_id]
parts.show_head(pump, ranked)
frame.age(answer, "Risks")
visits = loaders.ask("visits_of_pump", pump_id=pump_id)
frame.show_open_tab(
    {
        "Over distance": lambda: metrics.show_metrics(pump, visits, ranked),
        "What is expected": lambda: outlook.show_outlook(pump, visits, ranked),
        "Waveforms": lambda: waveforms.show_waveforms(pump, visits),
        "Visits": lambda: parts.show_visits(pump, visits),
        "Claim": lambda: claiming.show_claim(pump),
    },
    key="history_part",
)
