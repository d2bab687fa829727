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
if len(plan.lines):
    say.note(
        "This saving is of the jobs listed, each against leaving that pump to fail; the one on Costs is of a "
        "policy "
        "kept up year after year. Neither is part of the other."
    )
plan_parts.show_notes(plan)
chosen = lists.narrowing(key="plan")
board.show_board(plan, chosen)
plan_parts.show_jobs(plan, chosen)
with frame.off_paper("decide"):
    deciding.show_decision(plan)
    room.show()
plan_parts.show_orders(plan, chosen)
plan_parts.show_rest(plan, chosen)
plan_parts.show_weeks(plan, chosen)
