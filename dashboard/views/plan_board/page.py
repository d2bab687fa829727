"""Plan board: which pump at which planned stop, within bay hours and parts; a person's decisions on top."""

import streamlit as st

from dashboard.data import loaders
from dashboard.shell import frame, lists, say
from dashboard.views.plan_board import board, deciding, room
from dashboard.views.plan_board import parts as plan_parts

st.title("Plan board")
if not frame.started("Once visits are logged, replacements that are worth it are put on planned stops here."):
    st.stop()

kept = loaders.planned()
plan = kept.value
frame.age(kept, "Plan")
say.line(plan_parts.headline(plan))
frame.first_part_first()
plan_parts.show_notes(plan)
*places, weeks = lists.choices_row("plan", [1, 1, 1, 1])
chosen = lists.narrowing(key="plan", places=places)
board.show_board(plan, chosen, weeks)
plan_parts.show_jobs(plan, chosen)
with frame.off_paper("decide"):
    deciding.show_decision(plan)
    room.show()
plan_parts.show_orders(plan, chosen)
plan_parts.show_rest(plan, chosen)
plan_parts.show_weeks(plan, chosen)
