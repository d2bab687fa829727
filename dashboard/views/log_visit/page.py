"""Log a visit: unit and odometer, capture or meter, the reading at once, what the next test needs, save."""

import streamlit as st

from dashboard.parts.entry_form import LABELS
from dashboard.shell import frame, keypad, language
from dashboard.views.log_visit import cautions, details, reading, saving, steps, typed
from ingest.wording.language import phrase

language.title_with_choice("Log a visit", typed.TYPED)
typed.begin()
saved = saving.saved_visit()
if saved is None:
    typed.bring_back()
cautions.show(folded=saved is not None)
frame.first_part_first()
if saved is not None:
    typed.forget()
    saving.show_saved(saved)
else:
    entering, answer = st.columns([2, 3], gap="large")
    with entering:
        unit, card = steps.choose_unit()
        steps.odometer_and_state()
        steps.the_stop(card)
        chosen = reading.choose(unit, card)
    with answer:
        measured = reading.show(chosen, card)
        asked = details.asked_by(measured.verdict)
        details.ask(asked)
    details.fold_rest(card, asked)
    typed.keep()
    saving.save(unit, measured, asked)
    keypad.number_keys(phrase(LABELS[name]) for name in details.FIGURES)
frame.foot(
    phrase("A distance without a unit is taken in {unit}; it is kept as typed.", unit=steps.own_unit())
)
