"""Saving a visit: initials, open questions, what was stored, the sheet to print, a replaced pump."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.data.depots import taking_along
from dashboard.parts import photos, reading_panel, replacing
from dashboard.parts.entry_form import MOST_QUESTIONS, reminders
from dashboard.shell import access, address, frame, say
from dashboard.views.log_visit import typed
from dashboard.views.log_visit.reading import Measured
from dashboard.views.log_visit.sheet import visit_sheet
from dashboard.views.log_visit.steps import PAUSE
from dashboard.words import formats
from dashboard.words.plain import plain
from ingest.errors import AnswerNeeded, PumpledgerError, Question
from ingest.visit.choices import AS_TYPED, Choice, choices_of, says_yes, settled_by
from ingest.visit.entry import VisitEntry
from ingest.wording.language import ENGLISH, phrase, speaking
from ingest.wording.sentence import said_of

# Longer than steps.PAUSE: what was typed just before Save was pressed comes in meanwhile.
LAST_WORDS_S = 0.6
# Where a value stands that an answer puts right, and its unit: the ledger's column -> box, unit.
BOX_OF = {
    "fuel_pressure_kpa": ("fuel_pressure", "kPa"),
    "delivery_l_min": ("delivery", "L/min"),
    "fuel_temp_c": ("fuel_temp", "°C"),
    "supply_v": ("supply_v", "V"),
    "meter_a": ("meter_a", "A"),
    "drop_supply_v": ("drop_supply_v", "V"),
    "drop_ground_v": ("drop_ground_v", "V"),
}


def save(unit: str, measured: Measured, asked: tuple[str, ...] = ()) -> None:
    """Ask for initials, answer what is open, store."""
    entry = measured.entry
    pending = st.session_state.get("pending_questions", ())
    if entry:
        room = MOST_QUESTIONS - len(pending) - (replacing.finding_due(unit) is not None)
        say.points(reminders(entry, room, asked=asked))
    st.text_input(
        phrase("Your initials"), key="technician", max_chars=12, autocomplete="off",
        placeholder=phrase("at every save"),
        live=PAUSE,
    )  # fmt: skip
    answers = _questions(pending)
    # The press is noted before the page is drawn: another entry that redraws it meanwhile can't swallow it.
    st.button(phrase("Save the visit"), type="primary", width="stretch", on_click=_want_to_save)
    if st.session_state.get("save_wanted"):
        with st.spinner(phrase("Storing …")):
            time.sleep(LAST_WORDS_S)
        # Here a run that brings the last words in takes over, with the press still noted.
        st.empty()
        del st.session_state["save_wanted"]
        _store(unit, entry, measured, answers)


def _want_to_save() -> None:
    st.session_state["save_wanted"] = True


def _questions(pending: tuple[Question, ...]) -> dict[str, str]:
    if pending:
        say.warn(phrase("Not stored yet. Please answer first; if an entry is wrong, correct it above."))
    for question in pending:
        offers = [choice for choice in choices_of(question) if not choice.needs_reason]
        if offers:
            say.line(said_of(question))
        for choice in offers:
            st.button(
                choice.label, key=f"take_{question.code}_{choice.key}", width="stretch",
                on_click=_take, args=(question, choice),
            )  # fmt: skip
    said = {q.code: st.session_state.get(f"answer_{q.code}") or "" for q in pending}
    if any(says_yes(said[q.code]) and not settled_by(q, said[q.code]) for q in pending):
        say.note(phrase("A bare yes is no reason; say why it is right, in a few words."))
    return {
        question.code: st.text_input(
            plain(_asks(question)), key=f"answer_{question.code}", placeholder=phrase("if it is right: why"),
            live=PAUSE,
        )
        for question in pending
    }  # fmt: skip


def _asks(question: Question) -> str:
    """Return what the box for a reason is called: the question, where no answer above says it already."""
    offers = [choice for choice in choices_of(question) if not choice.needs_reason]
    if not offers:
        return said_of(question)
    standing = next(choice for choice in choices_of(question) if choice.key == AS_TYPED)
    return phrase("{answer}, because", answer=standing.label)  # what a reason lets stand


def _take(question: Question, choice: Choice) -> None:
    """Put an entry right as the answer says, or let it stand, and save."""
    state = st.session_state
    if choice.unit is not None:
        state["unit"] = choice.unit
    if "odometer_entered" in choice.values:
        state["odometer"] = f"{choice.values['odometer_entered']:.10g} {choice.values['odometer_unit']}"
    for column, value in choice.values.items():
        if column in BOX_OF:
            box, unit = BOX_OF[column]
            state[box] = "" if value is None else f"{value:.5g} {unit}"
        elif column in ("visited_on", "hours"):
            state[column] = value
        elif column == "serial":
            state[column] = value or ""
    if "probe" in choice.values:
        state["probe"], state["probe_text"] = typed.PROBES[-1], choice.values["probe"]
    elif choice.times is not None:  # its file is in amperes
        state["times_as_read"] = {state["as_read"]: choice.times}
    if not choice.changes:
        with speaking(ENGLISH):  # what is stored
            offered = {each.key: each.label for each in choices_of(question)}
        state[f"answer_{question.code}"] = offered[choice.key]
    _want_to_save()


def _store(unit: str, entry: VisitEntry | None, measured: Measured, answers: dict[str, str]) -> None:
    from ingest.visit.logging_visit import log_visit

    if entry is None:
        if not unit:
            say.refuse(phrase("Give the unit first."))
        return
    if measured.capture is None and entry.meter_a is None and not entry.examined:
        say.refuse(
            phrase("There is nothing to store yet: choose a capture file, or give the meter's average.")
        )
        return
    initials = (st.session_state.get("technician") or "").strip()
    if not initials:
        say.refuse(phrase("Give your initials."))
        return
    try:
        with st.spinner(phrase("Storing …")):
            logged = log_visit(
                loaders.ledger_path(),
                replace(entry, technician=initials),
                measured.capture,
                measured.reading,
                answers,
                author=access.author(initials),
                most_questions=MOST_QUESTIONS,
            )
            # Kept at once, so that a page redrawn at this very moment still shows what was stored.
            st.session_state["saved_visit"] = {
                "visit_id": logged.visit_id, "text": logged.text, "stored": logged.stored,
            }  # fmt: skip
            st.session_state["pending_questions"] = ()
    except AnswerNeeded as needed:
        st.session_state["pending_questions"] = needed.questions
        st.rerun()
    except PumpledgerError as refused:
        say.refuse(f"{refused.text}")
        return
    st.query_params["saved"] = str(logged.visit_id)
    st.rerun()


def saved_visit() -> int | None:
    """Return the visit just stored, which the page's address names, so that a reload shows it again.

    Before the address names it, the session does: the run that stored it may have been overtaken by another.
    Once it has been shown to its end, an address without it is somebody beginning the next visit.
    """
    just_now = st.session_state.get("saved_visit")
    if just_now and "saved" not in st.query_params:
        if just_now.get("shown"):
            del st.session_state["saved_visit"]
        else:
            st.query_params["saved"] = str(just_now["visit_id"])
    return address.number("saved") if loaders.ledger_path().exists() else None


def show_saved(visit_id: int) -> None:
    """Show what was stored, the verdict with the pump's history, and the way on."""
    pump_of = loaders.ask("pump_of_visit", visit_id=visit_id)
    if not len(pump_of):
        say.inform(phrase("There is no visit {visit} in this ledger.", visit=visit_id))
        st.button(phrase("Log a visit"), type="primary", on_click=_start_again, width="stretch")
        return
    pump_id = int(pump_of.iloc[0]["pump_id"])
    stored = {"text": phrase("Visit {visit} is stored.", visit=visit_id), "stored": True}
    said = st.session_state.get("saved_visit") or stored
    if said.get("visit_id", visit_id) != visit_id:
        said = stored
    (st.success if said["stored"] else st.info)(said["text"])
    verdict = loaders.visit_verdict(visit_id)
    reading_panel.show_verdict(verdict)
    decision = loaders.bay_decision(visit_id)
    reading_panel.show_decision(decision)
    visits = loaders.ask("visits_of_pump", pump_id=pump_id)
    place = visits.index[visits["visit_id"] == visit_id][0]
    visit = visits.loc[place]
    next_, history, paper = st.columns(3, vertical_alignment="center")
    with next_:
        st.button(phrase("Log the next visit"), type="primary", on_click=_start_again, width="stretch")
    with history:
        frame.link("pump_history", phrase("Open this pump's history"), pump=pump_id)
    with paper:
        st.download_button(
            phrase("Visit sheet to print"),
            taking_along(
                lambda: visit_sheet(
                    visit,
                    visits.loc[: place - 1],
                    verdict,
                    loaders.settings(),
                    decision,
                    lives=loaders.ask("pumps_of_unit", unit=visit["unit"]),
                    vehicle=loaders.ask("unit_card", unit=visit["unit"]),
                    photos=loaders.ask("photos_of_visit", visit_id=visit_id),
                    capture=_capture(visit),
                )
            ),
            f"visit_{visit_id}.html",
            "text/html",
            width="stretch",
        )
    if said["stored"]:
        replacing.show(visit, visit["technician"])
    photos.take(visit_id, visit["technician"])
    said["shown"] = True


def _capture(visit: pd.Series) -> Any:
    """Return the stored record of a visit, None where there is none or it was removed."""
    if formats.is_unknown(visit["capture_hash"]):
        return None
    return loaders.sound_waveform(visit["capture_hash"])


def _start_again() -> None:
    st.query_params.pop("saved", None)
    typed.forget()
    typed.begin_next()
    for name in ("saved_visit", "replaced_text", "pending_questions"):
        st.session_state.pop(name, None)
    for name in [k for k in st.session_state if str(k).startswith("answer_")]:
        del st.session_state[name]
