"""The first screen: what is new since yesterday, what to do first, and the way to each job."""

import streamlit as st

from dashboard.data import loaders
from dashboard.parts import early_failures, risk_list, spending
from dashboard.shell import access, frame, say
from dashboard.views.today import news
from dashboard.words import formats

st.title("Today")
if not frame.started("Enter a unit, log a visit, or bring in tables; then this page says what needs doing."):
    st.stop()

counts = loaders.ask("fleet_counts").iloc[0]
office = access.may("money")
left, middle, *right = st.columns(3 if office else 2, border=True)
with left, frame.off_paper("card"):
    st.subheader("At the vehicle", anchor=False)
    frame.link("log_visit", "→ Log a visit")
    frame.link("pump_history", "→ Look a unit up")
with middle:
    st.subheader("In planning", anchor=False)
    ranked = loaders.ranked()
    ranking = ranked.value.pumps
    frame.age(ranked, "Risks")
    say.line(risk_list.headline(ranking))
    frame.link("pumps_by_risk", "→ Pumps by risk")
    frame.link("plan_board", "→ Plan board")
if office:
    with right[0]:
        st.subheader("In the office", anchor=False)
        say.line(spending.line())
        frame.link("costs", "→ Costs")
        frame.link("forecast_record", "→ Forecast record")

frame.first_part_first()
early_failures.show_warning(ranked.value.groups)
new, first = st.columns(2, gap="large")
with new:
    st.header("Since yesterday", anchor=False)
    news.show()
with first:
    st.header("What to do first", anchor=False)
    risk_list.show_first(ranking, most=6)
open_questions = int(counts["open_questions"])
say.line(f"The ledger holds {formats.holdings(counts, 'vehicle')}")
doubts, facts = st.columns(2)
with doubts:
    asked = formats.count(open_questions, "open question") if open_questions else "Open questions"
    frame.link("open_questions", f"→ {asked} about the data")
with facts:
    frame.link("fleet_data", "→ Fleet data")
