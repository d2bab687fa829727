"""Costs: the answer first, then what was spent, what policies would cost, and what it hangs on."""

import streamlit as st

from dashboard.data import loaders
from dashboard.parts import early_failures, spending
from dashboard.shell import frame, say
from dashboard.views.costs import budget, intervals, parts, reporting, spent

st.title("Costs")
if not frame.started(
    "Prices, breakdowns and replacements make this page; bring in the fleet's tables first."
):
    st.stop()

say.line(spending.line())
frame.first_part_first()
kept = loaders.cost_review()
review = kept.value
frame.age(kept, "Costs")
frame.show_open_tab(
    {
        "The answer": lambda: parts.show_answer(review),
        "Spent": lambda: spent.show(review),
        "Policies": lambda: parts.show_policies(review),
        "How often to capture": lambda: intervals.show(review),
        "Budget": lambda: budget.show(review),
        "Best age": lambda: parts.show_ages(review),
        "Types and lots": lambda: early_failures.show_groups(loaders.groups()),
        "Lists and outcomes": lambda: spent.show_lists(review),
    },
    key="costs_part",
)
with frame.off_paper("report"):
    reporting.show()
frame.link("fleet_data", "→ Prices are given under Fleet data")
