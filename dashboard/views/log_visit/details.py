"""What is measured beside the current: asked at once where the next test needs it, else folded."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboard.parts.entry_form import LABELS
from dashboard.shell import say
from dashboard.views.log_visit import check
from dashboard.views.log_visit.steps import ZEROED, box, folded
from dashboard.views.log_visit.typed import CIRCUIT, CONDITIONS, RARELY
from dashboard.words.visit import WORK
from ingest.wording.language import phrase

if TYPE_CHECKING:
    from analytics.judging.verdict import Verdict

# What the next test of each action is answered by.
ASKED: dict[str, tuple[str, ...]] = {
    "check circuit": ("supply_v", "drop_supply_v", "drop_ground_v"),
    "check filter or strainer": ("fuel_pressure", "supply_v"),
    "check delivery": ("delivery", "fuel_pressure", "fuel_level_pct"),
    "repeat capture": ("zero_checked",),
    "shorten interval": ("supply_v",),
    "book replacement": ("supply_v", "fuel_pressure"),
    "check and change": ("supply_v", "fuel_pressure"),
}
PLACEHOLDERS = {
    "supply_v": "13.5",
    "drop_supply_v": "0.2",
    "drop_ground_v": "0.05",
    "fuel_pressure": "58",
    "fuel_temp": "77",
    "delivery": "1.2",
}
FIGURES = ("odometer", *PLACEHOLDERS, "pressure_hold", "meter_a")


def asked_by(verdict: Verdict | None) -> tuple[str, ...]:
    """Return the boxes that the next test is answered by; none before there is a reading."""
    return ASKED.get(verdict.action, ()) if verdict is not None else ()


def ask(fields: tuple[str, ...]) -> None:
    """Draw these boxes under what they are for."""
    if fields:
        say.line(
            phrase("if it can be told now; the finding follows at once."), lead=phrase("For the next test,")
        )
        for place, name in zip(st.columns(2) * 2, fields, strict=False):
            with place:
                _draw(name)


def fold_rest(card: pd.DataFrame, asked: tuple[str, ...]) -> None:
    """Draw what the next test does not need under lines that say what is in them."""
    rest = tuple(name for name in CONDITIONS if name not in asked)
    circuit = tuple(name for name in CIRCUIT if name not in asked)
    folded(phrase("Volts, pressure, fuel" if "supply_v" in rest else "Fuel"), rest, lambda: _draw_all(rest))
    folded(phrase("Work done, or a check"), ("done", *check.FIELDS), lambda: _work(card))
    folded(phrase("Circuit, delivery, where clamped, a note"), (*circuit, *RARELY), lambda: _rarely(circuit))


def _draw(name: str) -> None:
    if name == "zero_checked":
        st.checkbox(phrase(ZEROED), key="zero_checked_now", on_change=_zeroed)
    elif name == "fuel_level_pct":
        st.number_input(phrase(LABELS[name]), 0, 100, None, 5, key=name, placeholder="50")
    else:
        box(phrase(LABELS[name]), name, PLACEHOLDERS[name])


def _zeroed() -> None:
    st.session_state["zero_checked"] = st.session_state["zero_checked_now"]


def _draw_all(names: tuple[str, ...]) -> None:
    columns = st.columns(2)
    for i, name in enumerate(names):
        with columns[i % 2]:
            _draw(name)


def _work(card: pd.DataFrame) -> None:
    st.pills(
        phrase("Work done"), [work for work in WORK if work != "filter_kept"], selection_mode="multi",
        key="done", format_func=lambda work: phrase(WORK[work]), wrap=True,
    )  # fmt: skip
    check.draw(card, box)


def _rarely(circuit: tuple[str, ...]) -> None:
    _draw_all(circuit)
    box(phrase("Clamped at"), "clamp_point", phrase("grey wire at the tank"))
    st.number_input(phrase("Engine hours"), 0.0, None, None, 1.0, key="hours")
    check.how_read(box)
    box(phrase("Pump's serial number"), "serial")
    st.text_area(phrase("Note"), key="note")
