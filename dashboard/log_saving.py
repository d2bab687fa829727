"""Saving a visit: initials, open questions, what was stored, the sheet to print, a replaced pump."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import formats, frame, loaders, reading_panel, replacing
from dashboard.entry_form import reminders
from dashboard.log_steps import REASONS, STATES, TYPED, Measured
from dashboard.paper import facts_table, sheet
from ingest.errors import AnswerNeeded, PumpledgerError
from ingest.visit_entry import VisitEntry


def save(unit: str, measured: Measured) -> None:
    """Ask for initials, answer what is open, store."""
    st.header("Save", anchor=False)
    entry = measured.entry
    if entry:
        for ask in reminders(entry):
            st.markdown(f"- {ask}")
    st.text_input(
        "Your initials", key="technician", max_chars=12, autocomplete="off", placeholder="at every save"
    )
    answers = _questions()
    if st.button("Save the visit", type="primary", width="stretch"):
        _store(unit, entry, measured, answers)


def _questions() -> dict[str, str]:
    pending = st.session_state.get("pending_questions", ())
    answers = {}
    if pending:
        st.warning("▲ Not stored yet. Please answer first; if an entry is wrong, correct it above.")
    for question in pending:
        answers[question.code] = st.text_input(
            question.text, key=f"answer_{question.code}", placeholder="if it is right: why"
        )
    return answers


def _store(unit: str, entry: VisitEntry | None, measured: Measured, answers: dict[str, str]) -> None:
    from ingest.logging_visit import log_visit

    if entry is None:
        if not unit:
            st.error("▲ Give the unit first.")
        return
    if measured.capture is None and entry.meter_a is None:
        st.error("▲ There is nothing to store yet: choose a capture file, or give the meter's average.")
        return
    initials = (st.session_state.get("technician") or "").strip()
    if not initials:
        st.error("▲ Give your initials.")
        return
    try:
        with st.spinner("Storing …"):
            logged = log_visit(
                loaders.ledger_path(),
                replace(entry, technician=initials),
                measured.capture,
                measured.reading,
                answers,
            )
    except AnswerNeeded as needed:
        st.session_state["pending_questions"] = needed.questions
        st.rerun()
    except PumpledgerError as refused:
        st.error(f"▲ {refused.text}")
        return
    st.session_state["saved_visit"] = {
        "visit_id": logged.visit_id,
        "pump_id": logged.pump_id,
        "text": logged.text,
        "stored": logged.stored,
        "figures": measured.figures,
        "unit": unit,
    }
    st.session_state["pending_questions"] = ()
    st.rerun()


def show_saved(saved: dict[str, Any]) -> None:
    """Show what was stored, the verdict with the pump's history, and the way on."""
    from ingest.ledger import open_ledger
    from ingest.verdict import judge_visit

    (st.success if saved["stored"] else st.info)(saved["text"])
    ledger = loaders.ledger_path()
    with open_ledger(ledger) as connection:
        verdict = judge_visit(connection, saved["visit_id"])
    reading_panel.show_verdict(verdict)
    visits = loaders.ask("visits_of_pump", pump_id=int(saved["pump_id"]))
    visit = visits[visits["visit_id"] == saved["visit_id"]].iloc[0]
    own = loaders.settings()["distance_unit"]
    facts = {
        "Unit": visit["unit"],
        "Position": visit["position"],
        "Day": formats.day(visit["visited_on"]),
        "Odometer": formats.distance(visit["odometer_km"], own),
        "Pump type": visit["pump_type"],
        "Engine": STATES.get(visit["state"], ""),
        "Reason": REASONS.get(visit["reason"], visit["reason"]),
        "Volts at the pump": formats.with_error(visit["supply_v"], None, "V"),
        "Average current": formats.with_error(visit["mean_a"], visit["mean_a_se"], "A"),
        "Note": None if formats.is_unknown(visit["note"]) else visit["note"],
        "Technician": visit["technician"],
    }
    tables = [("The visit", facts_table(facts))]
    if saved["figures"] is not None:
        tables.append(("Figures", saved["figures"]))
    paper_sheet = sheet(
        f"Visit {saved['visit_id']}, unit {visit['unit']}",
        tables,
        {"Verdict": verdict.text, "Next test": verdict.next_test, "Action": verdict.action_text},
        list(verdict.also),
    )
    next_, history, paper = st.columns(3, vertical_alignment="center")
    with next_:
        st.button("Log the next visit", type="primary", on_click=_start_again, width="stretch")
    with history:
        frame.link("pump_history", "Open this pump's history", pump=saved["pump_id"])
    with paper:
        st.download_button(
            "Visit sheet to print",
            paper_sheet,
            f"visit_{saved['visit_id']}.html",
            "text/html",
            width="stretch",
        )
    if saved["stored"]:
        replacing.show(visit, visit["technician"])


def _start_again() -> None:
    for name in (*TYPED, "technician", "saved_visit", "replaced_text"):
        st.session_state.pop(name, None)
    for name in [k for k in st.session_state if str(k).startswith("answer_")]:
        del st.session_state[name]
