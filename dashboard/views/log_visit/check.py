"""Writing down a check: what was examined and what came of it, in a tap or two beside Save."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.parts.entry_form import LABELS
from dashboard.words import formats
from dashboard.words.visit import (
    CAUSES,
    COMMANDED,
    DELIVERY_AT,
    OUTCOMES,
    PART_FOUND,
    PARTS,
    REASONS,
    SUPPLY_AT,
)
from ingest.vocabulary import FAULT_REASONS
from ingest.wording.language import phrase

FIELDS = ("check_outcome", "check_cause", "check_why", "pressure_hold", *PARTS, "closes")
HOW_READ = ("supply_v_at", "delivery_at", "fuel")


def _choose(label: str, words: dict[str, str], key: str) -> str | None:
    def said(value: str) -> str:
        return phrase(words[value])

    return st.segmented_control(phrase(label), list(words), key=key, format_func=said, wrap=True)


def command(card: pd.DataFrame) -> None:
    """Ask for the commanded speed or duty where this unit's pump has such a supply."""
    supplies = set(card["supply"].dropna()) if "supply" in card else set()
    if "two-speed" in supplies:
        _choose("Commanded", COMMANDED, "commanded")
    if "pwm" in supplies:
        st.number_input(phrase("Commanded duty, %"), 0.0, 100.0, None, 1.0, key="duty_pct")


def how_read(box: Callable[..., None]) -> None:
    """Ask where the volts were read and how delivery was measured."""
    _choose("Volts read", SUPPLY_AT, "supply_v_at")
    _choose("Delivery measured", DELIVERY_AT, "delivery_at")
    box(phrase("Fuel in the tank"), "fuel", "E10")


def draw(card: pd.DataFrame, box: Callable[..., None]) -> None:
    """Ask what the check came to, and for what was examined."""
    outcome = _choose("The check", OUTCOMES, "check_outcome")
    if outcome == "mended":
        _choose("Cause", CAUSES, "check_cause")
    elif outcome == "unfinished":
        box(phrase("Because"), "check_why", phrase("tank full, part missing, …"))
    box(phrase(LABELS["pressure_hold"]), "pressure_hold", phrase("50 psi or 3.4 bar"))
    for part, label in PARTS.items():
        _choose(label, PART_FOUND, part)
    complaints = _complaints(card)
    if complaints:
        st.selectbox(phrase("Closes the complaint of"), list(complaints), index=None, key="closes",
                     format_func=lambda visit: complaints.get(visit, visit),
                     placeholder=phrase("none; say why in the note"))  # fmt: skip


def _complaints(card: pd.DataFrame) -> dict[str, str]:
    """The visit's number and a line for each complaint about the pumps in place, newest first."""
    found: dict[str, str] = {}
    for pump_id in card["pump_id"].dropna() if "pump_id" in card else ():
        visits = loaders.ask("visits_of_pump", pump_id=int(pump_id))
        for row in visits[visits["reason"].isin(FAULT_REASONS)].iloc[::-1].itertuples():
            found[str(row.visit_id)] = (
                f"{formats.day(row.visited_on)}, {phrase(REASONS[str(row.reason)]).lower()}"
            )
    return found
