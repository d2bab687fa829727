"""Pumps by risk: the list first; what is chosen in it opens beside it with reason, history and what to do."""

from datetime import date

import streamlit as st

from dashboard.data import loaders
from dashboard.data.depots import taking_along
from dashboard.parts import early_failures, risk_list
from dashboard.shell import frame, lists, say
from dashboard.views.pumps_by_risk import beside, choosing
from dashboard.words import formats

ROWS_A_PAGE = 50
TABLE_PX = 458  # twelve rows and their heading

st.title("Pumps by risk")
if not frame.started("Once a visit is logged, its pump appears here with its risk and the reason for it."):
    st.stop()

ranked = loaders.ranked()
ranking = ranked.value.pumps
if not len(ranking):
    say.line(risk_list.headline(ranking))
    st.stop()
answer = st.empty()  # the first thing read; of all pumps until it is known what the list is narrowed to
if not st.query_params:
    answer.write(risk_list.headline(ranking))
    frame.first_part_first()
chosen = choosing.show()
rows = chosen.of(ranking)
if not len(rows):
    answer.write("No pump matches these choices.")
    st.stop()
answer.write(risk_list.headline(rows))
ordered = risk_list.in_order(rows, chosen.order)
table, panel = st.columns([3, 2], gap="medium")
list_place, below = table.container(), table.container()
with below:
    page = choosing.page_of(len(rows), ROWS_A_PAGE)
part = risk_list.with_stakes(ordered.iloc[(page - 1) * ROWS_A_PAGE : page * ROWS_A_PAGE])
listed = risk_list.table_rows(part, chosen.columns)
with list_place:
    picked = st.dataframe(
        listed,
        hide_index=True,
        height=TABLE_PX if len(part) > 11 else "auto",
        column_config=risk_list.column_settings(
            str(part["horizon_unit"].iloc[0]), loaders.settings()["currency"]
        ),
        on_select="rerun",
        selection_mode="multi-row",
        key="risk_table",
        placeholder=formats.UNKNOWN,
        alt=f"Pumps in service by {chosen.order}, with action, due date and reason.",
    )
    lists.on_paper(listed.round(1))
    marked = part.iloc[picked.selection.rows]
with below:
    save, paper = st.columns(2)
    kept = ordered.loc[marked.index] if len(marked) > 1 else ordered
    with save:
        lists.download(kept.drop(columns=["pump_id", "currents_a"]), "pumps_by_risk")
    paper.download_button(
        "List to print",
        taking_along(lambda: risk_list.paper(kept, chosen.words(), date.today())),
        "pumps_by_risk.html",
        "text/html",
    )
with panel:
    frame.show_kept()
    if len(marked) > 1:
        beside.show_several(marked)
    else:
        beside.show((marked if len(marked) else part).iloc[0])
frame.age(ranked, "Risks")
if ranked.value.steps:
    say.note(*ranked.value.steps)
early_failures.show_warning(ranked.value.groups)
frame.foot(
    "Risk is the chance that the pump fails on the road over one interval between planned stops, from now. "
    "What to do about it is decided in money, with checks before a change. "
    "Mark a row with the pointer, or with Shift and Space, and it opens beside the list; mark several to "
    "decide about them together, to print or to save them."
)
