"""Pumps by risk: what to change before its next visit, why, by when, and what waiting costs."""

from datetime import date

import streamlit as st

from dashboard.data import loaders
from dashboard.data.depots import taking_along
from dashboard.parts import early_failures, risk_list
from dashboard.shell import frame, lists, say
from dashboard.words import formats

ROWS_A_PAGE = 50

st.title("Pumps by risk")
if not frame.started("Once a visit is logged, its pump appears here with its risk and the reason for it."):
    st.stop()

ranked = loaders.ranked()
ranking = ranked.value.pumps
answer = st.empty()  # the first thing read; of all pumps until it is known what the list is narrowed to
if not st.query_params:
    answer.write(risk_list.headline(ranking))
    frame.first_part_first()
figures = st.container()
chosen = lists.narrowing(key="by")
left, right = st.columns([2, 1])
find = left.text_input("Unit", key="find", placeholder="all units, or part of a number", bind="query-params")
order = right.selectbox("In order of", list(risk_list.ORDERS), key="order", bind="query-params")
actions = st.pills(
    "Action", list(formats.ACTION_SHAPES), selection_mode="multi", format_func=formats.action, key="action",
    bind="query-params",
)  # fmt: skip
rows = lists.narrowed(ranking, chosen | {"action": actions})
if find.strip():
    rows = rows[rows["unit"].str.contains(find.strip(), case=False, regex=False)]
answer.write(risk_list.headline(rows))
with figures:
    frame.age(ranked, "Risks")
    counts = risk_list.counts(rows, date.today())
    for column, (name, number) in zip(st.columns(len(counts)), counts.items(), strict=True):
        column.metric(name, f"{number:,}")
    early_failures.show_warning(ranked.value.groups)

st.header("To act on", anchor=False)
risk_list.show_cards(rows, most=6)

st.header("All pumps, by risk" if order == "risk" else f"All pumps, by {order}", anchor=False)
if not len(rows):
    say.line("No pump matches these choices.")
    st.stop()
ordered = risk_list.in_order(rows, str(order))
pages = -(-len(rows) // ROWS_A_PAGE)
page = 1
if pages > 1:
    page = st.number_input(
        f"Page of {pages:,}", 1, pages, 1, key="page", bind="query-params", width=lists.PAGE_BOX_PX
    )
part = ordered.iloc[(page - 1) * ROWS_A_PAGE : page * ROWS_A_PAGE]
picked = st.dataframe(
    risk_list.table_rows(risk_list.with_stakes(part)),
    hide_index=True,
    column_config=risk_list.column_settings(
        str(part["horizon_unit"].iloc[0]), loaders.settings()["currency"]
    ),
    on_select="rerun",
    selection_mode="single-row",
    key="risk_table",
    placeholder=formats.UNKNOWN,
    alt="Pumps in service by falling risk, with action, due date and reason.",
)
if picked.selection.rows:
    row = part.iloc[picked.selection.rows[0]]
    say.line(f"Unit {row['unit']}: {row['reason']}")
    frame.link("pump_history", f"→ Open the history of unit {row['unit']}", pump=row["pump_id"])
save, paper = st.columns(2)
with save:
    lists.download(ordered.drop(columns=["pump_id", "currents_a"]), "pumps_by_risk")
paper.download_button(
    "List to print",
    taking_along(
        lambda: risk_list.paper(
            ordered, risk_list.choices_words(chosen, actions, find, str(order)), date.today()
        )
    ),
    "pumps_by_risk.html",
    "text/html",
)
frame.foot(
    "Risk is the chance that the pump fails on the road over one interval between planned stops, from now. "
    "What to do about it is decided in money, with checks before a change. "
    "Mark a row with the pointer, or with Shift and Space, to open it."
)
