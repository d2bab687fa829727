"""Settling doubts: one open question with its answers, and putting a visit right or taking it out."""

from __future__ import annotations

from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.data.queries import records
from dashboard.shell import access, frame, initials, say
from dashboard.words import formats
from ingest.visit.choices import AS_TYPED, Choice
from ingest.visit.choices import WITHDRAW as WITHDRAW_IT
from ingest.visit.settling import offered, takes_value
from ingest.wording.stored import question_text

CORRECT, WITHDRAW = "Correct the odometer", "Withdraw the visit"
_CORRECT = {"odometer": CORRECT, "day": "Correct the day", "since": "Scale what was read since that day"}
AS_IT_STANDS, NO_MATTER = "It is right as it stands", "It doesn't matter"
BUTTONS_A_ROW = 3
WHOLE = 4  # questions drawn with their boxes at once; a screen shows two or three
# Answers that many questions of a kind may have in common.
ALIKE = {
    "value": "each is what its question offers",
    "unit": "each is of the unit its question names",
    "swapped": "day and month are swapped in each",
    "last-year": "each was a year earlier",
    AS_TYPED: "all are right as they stand",
    WITHDRAW_IT: "all these visits are withdrawn",
    "dismiss": "none of them matters",
}


def kind_words(code: str) -> str:
    """Return a kind of question in words."""
    return code.replace("-", " ")


def show_questions(rows: list[dict[str, Any]], by: str, own: str) -> None:
    """Draw questions (rows of open_questions.sql), each with every way to settle it: the first few whole,
    each of the others under a fold that it is read on."""
    for number, (row, offers) in enumerate(zip(rows, loaders.offers(rows), strict=True)):
        whole = number < WHOLE
        draw = partial(_show_question, row, {_label(c): c for c in offers if _may(c)}, by, own, whole=whole)
        if whole:
            draw()
        else:
            frame.show_fold(f"? {_asked(row)}", f"fold_question_{row['question_id']}", draw)


def _asked(row: dict[str, Any]) -> str:
    return question_text(row["code"], row["details"], row["text"])


def _show_question(row: dict[str, Any], offers: dict[str, Choice], by: str, own: str, *, whole: bool) -> None:
    """Draw one question's answers; whole: framed, with the question, which else stands on its fold."""
    key = row["question_id"]
    about_visit = not formats.is_unknown(row["visit_id"])
    with st.form(f"question_{key}", border=whole):
        if whole:
            say.line(f"? {_asked(row)}")
        say.note(_about(row))
        reason = st.text_input("Why", key=f"why_{key}", placeholder="the reason, in a few words")
        labels = [*offers, NO_MATTER]
        what, typed = takes_value(row), ""
        if what and access.may("correct"):
            shown = {"odometer": f"88412 {own}, as the instrument shows it"}.get(what, "2026-03-31")
            words = "Off since" if what == "since" else f"Right {what}"
            typed = st.text_input(words, key=f"right_{key}", placeholder=shown)
            labels.append(_CORRECT[what])
        pressed = _pressed(labels)
        if pressed:
            choice = offers.get(pressed)
            frame.attempt(
                lambda: _settle(pressed, choice, row, reason, by, typed),
                f"Settled: {pressed[0].lower()}{pressed[1:]}{_of_unit(row)}.",
            )
    if about_visit:
        frame.link("pump_history", f"→ History of unit {row['unit']}", pump=int(row["pump_id"]))


def _of_unit(row: dict[str, Any]) -> str:
    return "" if formats.is_unknown(row["unit"]) else f", unit {row['unit']}"


def _label(choice: Choice) -> str:
    return AS_IT_STANDS if choice.label.startswith("As typed") else choice.label


def _may(choice: Choice) -> bool:
    """Return whether the one at the screen may give this answer."""
    return access.may("correct" if choice.changes or choice.key == WITHDRAW_IT else "work")


def _pressed(labels: list[str]) -> str | None:
    """Draw a button for each answer, a few a row; returns the one pressed."""
    pressed = None
    for at in range(0, len(labels), BUTTONS_A_ROW):
        row = labels[at : at + BUTTONS_A_ROW]
        for column, label in zip(st.columns(len(row)), row, strict=True):
            if column.form_submit_button(label, width="stretch"):
                pressed = label
    return pressed


def show_alike(rows: pd.DataFrame, by: str) -> None:
    """Offer to settle all these questions, of one kind, by one answer that each of them has."""
    with loaders.reading() as connection:
        keys = [{c.key for c in offered(connection, row) if _may(c)} for row in records(rows)]
    words = {key: said for key, said in ALIKE.items() if key == "dismiss" or all(key in k for k in keys)}
    with st.expander(f"Settle these {len(rows):,} together"), st.form("alike", border=False):
        key = st.selectbox("By", list(words), format_func=words.__getitem__, index=None, key="alike_by")
        reason = st.text_input("Why", key="alike_why", placeholder="the reason they have in common")
        if st.form_submit_button("Settle all of them", width="stretch"):
            frame.attempt(lambda: _settle_alike(rows, key, reason, by))


def _settle_alike(rows: pd.DataFrame, key: str | None, reason: str, by: str) -> str:
    changes.demand(key or "", "the answer they have in common")
    ids = [int(i) for i in rows["question_id"]]
    settled = changes.settle(loaders.ledger_path(), ids, str(key), reason, access.author(by))
    return f"{formats.count(settled, 'question')} settled."


def _about(row: dict[str, Any]) -> str:
    said = [f"unit {row['unit']}"] if not formats.is_unknown(row["unit"]) else []
    if not formats.is_unknown(row["visit_id"]):
        by = "" if formats.is_unknown(row["technician"]) else f" by {row['technician']}"
        said.append(f"visit of {formats.day(row['visited_on'])}{by}")
        if row["kept_out"]:
            said.append("out of the trend until settled")
    return " · ".join([*said, kind_words(row["code"]), f"asked {formats.day(row['raised_at'])}"])


def _settle(what: str, choice: Choice | None, row: dict[str, Any], reason: str, by: str, typed: str) -> None:
    if choice is None or choice.needs_reason:
        changes.demand(reason, "a reason")
    ledger, question_id, author = loaders.ledger_path(), int(row["question_id"]), access.author(by)
    if choice is not None:
        changes.settle(ledger, [question_id], choice.key, reason, author)
        return
    if what in _CORRECT.values():
        changes.settle_typed(ledger, question_id, typed, reason, author)
        return
    changes.settle(ledger, [question_id], "dismiss", reason, author)


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
            by = initials.ask(f"repair_by_{visit_id}")
            correct, withdraw = st.columns(2)
            ledger = loaders.ledger_path()
            if correct.form_submit_button(CORRECT, width="stretch"):
                frame.attempt(
                    lambda: changes.correct_odometer(ledger, visit_id, odometer, reason, access.author(by)),
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
