"""Costs: what was spent, what may have been avoided, what policies would cost, and what it hangs on."""

import streamlit as st

from dashboard.data import loaders
from dashboard.parts import early_failures, risk_list
from dashboard.shell import frame, say
from dashboard.views.costs import parts

st.title("Costs")
if not frame.started(
    "Prices, breakdowns and replacements make this page; bring in the fleet's tables first."
):
    st.stop()

say.line(risk_list.spending_line(loaders.ask("spend_by_month"), loaders.settings()["currency"]))
frame.first_part_first()
kept = loaders.cost_review()
review = kept.value
frame.age(kept, "Costs")
parts.show_answer(review, loaders.ranking())
frame.show_open_tab(
    {
        "Spent": lambda: parts.show_spent(review),
        "Policies": lambda: parts.show_policies(review),
        "Best age": lambda: parts.show_ages(review),
        "Types and lots": lambda: early_failures.show_groups(loaders.groups()),
        "Lists and outcomes": lambda: parts.show_lists(review),
    },
    key="costs_part",
)
frame.link("fleet_data", "→ Prices are given under Fleet data")
