"""Log a visit: unit and odometer, capture or meter, the reading at once, questions, save."""

import streamlit as st

from dashboard.shell import frame
from dashboard.views.log_visit import reading, saving, steps

st.title("Log a visit")
saved = saving.saved_visit()
steps.cautions(folded=saved is not None)
frame.first_part_first()
if saved is not None:
    steps.forget_typed()
    saving.show_saved(saved)
else:
    steps.bring_back()
    unit, card = steps.choose_unit()
    left, right = st.columns(2)
    with left:
        steps.where_and_when(card)
    with right:
        steps.conditions(card)
    measured = reading.measure_it(unit, card)
    steps.keep_typed()
    saving.save(unit, measured)
frame.foot("Distances are kept in km; what you typed is kept beside them.")
