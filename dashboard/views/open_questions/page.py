"""Open questions: what the data leave doubtful, for a person to settle."""

import streamlit as st

from dashboard.data import loaders
from dashboard.data.queries import ALL_ROWS, records
from dashboard.parts import settling
from dashboard.shell import address, frame, initials, lists, say
from dashboard.words import formats

ROWS_A_PAGE = 10
KINDS_COUNTED = 6

st.title("Open questions")
if not frame.started("Doubts about entries and loaded rows are listed here, once there are any."):
    st.stop()

kinds = loaders.ask("question_kinds")
total = int(kinds["open"].sum())
if not total:
    say.line("○ Nothing is in doubt.")
    st.stop()
say.line(
    f"{formats.count(total, 'question')} open. Until one is settled, the reading it concerns may stay out of "
    "its pump's trend; nothing is changed silently."
)
frame.first_part_first()
frame.show_kept()
*places, left, right = lists.choices_row("ask", [1, 1, 1, 1.2, 1.2])
chosen = lists.narrowing(key="ask", places=places)
counted = dict(zip(kinds["code"], kinds["open"], strict=True))
code = left.selectbox(
    "Kind", list(counted), index=None, placeholder="all kinds", format_func=settling.kind_words,
    **address.bound("code", "kind", map(settling.kind_words, counted)),
)  # fmt: skip
find = right.text_input("Unit", placeholder="all units, or part of a number", **address.bound("of_unit"))
asked = {"code": code, "find": find.strip()} | lists.asked(chosen)
rows = lists.one_page(
    "open_questions", "asked", ("question matches", "questions match"), ROWS_A_PAGE, **asked
)
by = initials.ask("answered_by")
own = loaders.settings()["distance_unit"]
if code and len(rows) > 1:
    settling.show_alike(loaders.ask("open_questions", rows=ALL_ROWS, skip=0, **asked), by)
settling.show_questions(records(rows), by, own)
lists.on_paper(settling.question_table(rows))
lists.save_all("open_questions", "open_questions", settling.question_table, **asked)
if len(counted) > 1:
    most = [f"{settling.kind_words(c)} {n:,}" for c, n in list(counted.items())[:KINDS_COUNTED]]
    say.note(f"Most open: {', '.join(most)}.")
frame.foot(
    "A withdrawn visit stays in the record, with who took it out and why; its capture may be logged anew. "
    "A row that came with a folder can also be put right there and brought in again."
)
