"""Settling doubts: one open question with its answers, and putting a visit right or taking it out."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.shell import access, frame, say
from dashboard.words import formats
from ingest.wording.stored import question_text

CORRECT, WITHDRAW = "Correct the odometer", "Withdraw the visit"


def kind_words(code: str) -> str:
    """Return a kind of question in words."""
    return code.replace("-", " ")


def show_question(row: dict[Any, Any], by: str, own: str) -> None:
    """Draw one question (a row of open_questions.sql) with every way to settle it."""
    key = row["question_id"]
    about_visit = not formats.is_unknown(row["visit_id"])
    with st.form(f"question_{key}", border=True):
        say.line(f"? {question_text(row['code'], row['details'], row['text'])}")
        say.note(_about(row))
        reason = st.text_input("Why", key=f"why_{key}", placeholder="the reason, in a few words")
        labels = list(changes.ANSWERS.values())
        odometer = ""
        if about_visit and access.may("correct"):
            if row["field"] == "odometer":
                odometer = st.text_input(
                    "Right odometer",
                    key=f"right_{key}",
                    placeholder=f"88412 {own}, as the instrument shows it",
                )
                labels.append(CORRECT)
            labels.append(WITHDRAW)
        pressed = [
            label
            for column, label in zip(st.columns(len(labels)), labels, strict=True)
            if column.form_submit_button(label, width="stretch")
        ]
        if pressed:
            frame.attempt(
                lambda: _settle(pressed[0], row, reason, by, odometer, own),
                f"Settled: {pressed[0].lower()}, unit {row['unit']}.",
            )
    if about_visit:
        frame.link("pump_history", f"→ History of unit {row['unit']}", pump=int(row["pump_id"]))


def _about(row: dict[Any, Any]) -> str:
    said = [f"unit {row['unit']}"] if not formats.is_unknown(row["unit"]) else []
    if not formats.is_unknown(row["visit_id"]):
        by = "" if formats.is_unknown(row["technician"]) else f" by {row['technician']}"
        said.append(f"visit of {formats.day(row['visited_on'])}{by}")
        if row["kept_out"]:
            said.append("out of the trend until settled")
    return " · ".join([*said, kind_words(row["code"]), f"asked {formats.day(row['raised_at'])}"])


def _settle(what: str, row: dict[Any, Any], reason: str, by: str, odometer: str, own: str) -> None:
    changes.demand(reason, "a reason")
    ledger, question_id, author = loaders.ledger_path(), int(row["question_id"]), access.author(by)
    if what == WITHDRAW:
        changes.withdraw_visit(ledger, int(row["visit_id"]), reason, author)
        return
    if what == CORRECT:
        changes.correct_odometer(ledger, int(row["visit_id"]), odometer, own, reason, author)
    status = {label: name for name, label in changes.ANSWERS.items()}.get(what, "corrected")
    changes.answer_question(ledger, question_id, status, reason, author)


def question_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return open questions as they are saved."""
    return pd.DataFrame(
        {
            "Asked": rows["raised_at"].map(formats.day),
            "Unit": rows["unit"],
            "Depot": rows["depot"],
            "Class": rows["class"],
            "Visit of": rows["visited_on"].map(formats.day),
            "Kind": rows["code"].map(kind_words),
            "Question": [
                question_text(*row) for row in zip(rows["code"], rows["details"], rows["text"], strict=True)
            ],
        }
    )


def show_visit_repair(visits: pd.DataFrame, own: str) -> None:
    """Offer to put the odometer of one visit right, or to take the visit out of all figures."""
    with st.expander("Correct or withdraw a visit"):
        days = {
            int(v["visit_id"]): f"{formats.day(v['visited_on'])} at {formats.distance(v['odometer_km'], own)}"
            for v in visits.iloc[::-1].to_dict("records")
        }
        visit_id = st.selectbox(
            "Visit", list(days), index=None, format_func=days.__getitem__, key="visit_to_repair",
            placeholder="choose",
        )  # fmt: skip
        if visit_id is None:
            return
        with st.form(f"repair_{visit_id}", border=False):
            odometer = st.text_input(
                "Right odometer",
                placeholder=f"88412 {own}, as the instrument shows it",
                key=f"repair_km_{visit_id}",
            )
            reason = st.text_input("Reason", key=f"repair_why_{visit_id}")
            by = st.text_input("Your initials", max_chars=12, key=f"repair_by_{visit_id}", autocomplete="off")
            correct, withdraw = st.columns(2)
            ledger = loaders.ledger_path()
            if correct.form_submit_button(CORRECT, width="stretch"):
                frame.attempt(
                    lambda: changes.correct_odometer(
                        ledger, visit_id, odometer, own, reason, access.author(by)
                    ),
                    f"The odometer of the visit of {days[visit_id][:10]} is corrected.",
                )
            if withdraw.form_submit_button(WITHDRAW, width="stretch"):
                frame.attempt(
                    lambda: changes.withdraw_visit(ledger, visit_id, reason, access.author(by)),
                    f"The visit of {days[visit_id][:10]} is withdrawn; it stays in the record.",
                )


def withdrawn_table(rows: pd.DataFrame, own: str) -> pd.DataFrame:
    """Return withdrawn visits as shown."""
    return pd.DataFrame(
        {
            "Day": rows["visited_on"].map(formats.day),
            f"Odometer, {own}": formats.in_unit(rows["odometer_km"], own).round(0),
            "Current, A": rows["mean_a"].round(2),
            "Logged by": rows["technician"],
            "Withdrawn by": rows["changed_by"],
            "Why": rows["reason"],
        }
    )
