"""Costs: what was spent, what may have been avoided, what policies would cost, and what it hangs on."""

import streamlit as st

from dashboard import cost_parts, frame, loaders, risk_list

st.title("Costs")
if not frame.started(
    "Prices, breakdowns and replacements make this page; bring in the fleet's tables first."
):
    st.stop()

st.write(risk_list.spending_line(loaders.ask("spend_by_month"), loaders.settings()["currency"]))
review = loaders.cost_review()
cost_parts.show_answer(review, loaders.ranking())
spent, policies, ages, record = st.tabs(["Spent", "Policies", "Best age", "Lists and outcomes"])
with spent:
    cost_parts.show_spent(review)
with policies:
    cost_parts.show_policies(review)
with ages:
    cost_parts.show_ages(review)
with record:
    cost_parts.show_lists(review)
frame.link("fleet_data", "→ Prices are given under Fleet data")
