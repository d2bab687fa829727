"""Log a visit: unit and odometer, capture or meter, the reading at once, questions, save."""

import streamlit as st

from dashboard import frame, log_saving, log_steps

st.title("Log a visit")
saved = log_saving.saved_visit()
log_steps.cautions(folded=saved is not None)
frame.first_part_first()
if saved is not None:
    log_steps.forget_typed()
    log_saving.show_saved(saved)
else:
    log_steps.bring_back()
    unit, card = log_steps.choose_unit()
    left, right = st.columns(2)
    with left:
        log_steps.where_and_when(card)
    with right:
        log_steps.conditions()
    measured = log_steps.measure_it(unit, card)
    log_steps.keep_typed()
    log_saving.save(unit, measured)
frame.foot("Distances are kept in km; what you typed is kept beside them.")
