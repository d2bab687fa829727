"""Open questions: what the data leave doubtful, for a person to settle."""

import streamlit as st

from dashboard import changes, formats, frame, loaders
from ingest.errors import PumpledgerError

ROWS_A_PAGE = 10

st.title("Open questions")
if not frame.started("Doubts about entries and loaded rows are listed here, once there are any."):
    st.stop()

kinds = loaders.ask("question_kinds")
total = int(kinds["open"].sum())
if not total:
    st.write("○ Nothing is in doubt.")
    st.stop()
st.write(
    f"{formats.count(total, 'question')} open. Until one is settled, the reading it concerns may stay out of "
    "its pump's trend; nothing is changed silently."
)
counted = dict(zip(kinds["code"], kinds["open"], strict=True))
code = st.selectbox(
    "Kind", list(counted), index=None, placeholder="all kinds", key="code", bind="query-params",
    format_func=lambda c: f"{c.replace('-', ' ')} ({counted[c]:,})",
)  # fmt: skip
unit = st.text_input("Unit", key="of_unit", placeholder="all units", bind="query-params").strip() or None
pages = max(1, -(-(int(counted[code]) if code else total) // ROWS_A_PAGE))
page = st.number_input(f"Page of {pages:,}", 1, pages, 1, key="page") if pages > 1 else 1
rows = loaders.ask("open_questions", code=code, unit=unit, rows=ROWS_A_PAGE, skip=(page - 1) * ROWS_A_PAGE)
initials = st.text_input("Your initials", key="answered_by", max_chars=12, persist_state="page")
for row in rows.to_dict("records"):
    with st.form(f"question_{row['question_id']}", border=True):
        st.write(f"? {row['text']}")
        st.caption(f"{row['code'].replace('-', ' ')} · asked {formats.day(row['raised_at'])}")
        reason = st.text_input(
            "Why", key=f"why_{row['question_id']}", placeholder="the reason, in a few words"
        )
        pressed = {}
        for column, (status, label) in zip(st.columns(2), changes.ANSWERS.items(), strict=True):
            pressed[status] = column.form_submit_button(label, width="stretch")
        for status, wanted in pressed.items():
            if wanted:
                try:
                    changes.answer_question(
                        loaders.ledger_path(), row["question_id"], status, reason, initials
                    )
                except PumpledgerError as refused:
                    st.error(f"▲ {refused.text}")
                else:
                    st.rerun()
if not len(rows):
    st.write("No question matches these choices.")
frame.foot(
    "To correct a row, correct it in the source and load it again, or withdraw the visit and log it anew."
)
