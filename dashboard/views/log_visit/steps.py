"""The first steps of logging a visit: which unit, its odometer, the engine's state, how it is taken."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders, queries
from dashboard.parts import replacing
from dashboard.parts.entry_form import LABELS
from dashboard.shell import say
from dashboard.views.log_visit import check
from dashboard.views.log_visit.typed import OF_THE_FILE, OF_THE_STOP, PROBES, UNIT_OF, UNITS, USUAL, arrived
from dashboard.words import formats
from dashboard.words.plain import plain
from dashboard.words.visit import REASONS, STATES
from ingest.wording.language import phrase

# Typed text counts after this pause, not only once the box is left: a connection cut meanwhile would leave it
# standing there without being stored.
PAUSE = "500ms"
ZEROED = "The clamp was zeroed before it went on"


def choose_unit() -> tuple[str, pd.DataFrame]:
    """Return the unit typed and its card (one row per pump in place; empty when the unit is unknown)."""
    names = loaders.unit_names()
    if names is not None:
        unit = st.selectbox(
            phrase("Unit"),
            names,
            index=None,
            key="unit",
            placeholder=phrase("type the vehicle's number"),
            accept_new_options=True,
        )
    else:
        unit = st.text_input(
            phrase("Unit"),
            key="unit",
            placeholder=phrase("type the vehicle's number"),
            autocomplete="off",
        )
    unit = (unit or "").strip()
    if not unit:
        return "", pd.DataFrame()
    alike = loaders.near_matches(unit)
    card = loaders.ask("unit_card", unit=unit) if loaders.ledger_path().exists() else pd.DataFrame()
    known = len(card) > 0
    if names is None and not known and len(unit) > 1:  # too many for a list that completes what is typed
        alike = list(dict.fromkeys([*alike, *loaders.ask("units_holding", part=unit)["unit"]]))[:4]
    if alike and not known:
        meant = phrase(" or ").join(alike)
        say.warn(phrase("Unit {unit} is not in the ledger. Did you mean {meant}?", unit=unit, meant=meant))
        for column, other in zip(st.columns(len(alike)), alike, strict=True):
            column.button(
                plain(phrase("Use {unit}", unit=other)),
                on_click=_use_unit,
                args=(other,),
                key=f"use_{other}",
                width="stretch",
            )
    elif same := [name for name in alike if queries.same_but_for_zeros(unit, name)]:
        also = phrase(" and unit ").join(same)
        say.warn(phrase("Mind the number: there is also unit {unit}.", unit=also))
    elif not known:
        say.warn(phrase("Unit {unit} is not in the ledger; saving will ask whether to add it.", unit=unit))
    if known:
        _show_card(card)
    return unit, card


def _use_unit(unit: str) -> None:
    st.session_state["unit"] = unit


def _show_card(card: pd.DataFrame) -> None:
    own = loaders.settings()["distance_unit"]
    first = card.iloc[0]
    vehicle = " ".join(
        str(int(v) if isinstance(v, float) else v)
        for v in (first["year"], first["make"], first["model"], first["engine"])
        if not formats.is_unknown(v)
    )
    places = [p for p in (first["class"], first["depot"]) if not formats.is_unknown(p)]
    known = ", ".join(places) or phrase("no depot given")
    say.line(f"· {known}", lead=vehicle or phrase("Vehicle not described"))
    if not formats.is_unknown(first["last_visited_on"]):
        day, odometer = (
            formats.day(first["last_visited_on"]),
            formats.distance(first["last_odometer_km"], own),
        )
        say.note(phrase("Last visit {day} at {odometer}.", day=day, odometer=odometer))
    replacing.ask_finding(str(first["unit"]))
    notes = loaders.ask("connection_notes", unit=first["unit"])
    if len(notes):
        note = notes.iloc[0]
        with st.expander(phrase("Where to clamp on this vehicle")):
            for label, column in (
                ("Clamp at", "clamp_point"), ("Fuse", "fuse"), ("Access", "access"), ("Note", "note")
            ):  # fmt: skip
                if not formats.is_unknown(note[column]):
                    say.line(note[column], lead=f"{phrase(label)}.")
            if not formats.is_unknown(note["picture"]):
                st.image(bytes(note["picture"]), caption=phrase("Connection point"))


def box(label: str, key: str, placeholder: str | None = None, *, where: Any = st, **more: Any) -> None:
    """Draw a box whose text counts a moment after it was typed, its unit beside it where it needs one."""
    if key not in UNITS or key == "pressure_hold":  # which goes by the unit of the pressure
        where.text_input(label, key=key, placeholder=placeholder, live=PAUSE, autocomplete="off", **more)
        return
    figure, unit = where.columns([3, 2], vertical_alignment="bottom")
    figure.text_input(label, key=key, placeholder=placeholder, live=PAUSE, autocomplete="off", **more)
    choice = UNIT_OF[key]
    if choice not in st.session_state:
        st.session_state[choice] = UNITS[key][own_unit() == "km" and key != "delivery"]
    unit.selectbox(
        phrase("Unit of {what}", what=label.lower()), UNITS[key], key=choice, label_visibility="collapsed"
    )


def own_unit() -> str:
    """Return the fleet's unit of distance."""
    return str(loaders.settings()["distance_unit"]) if loaders.ledger_path().exists() else "mi"


def odometer_and_state() -> None:
    """Ask for what places the reading in the pump's life, and what it may be compared with."""
    box(phrase(LABELS["odometer"]), "odometer", f"88412 {own_unit()}")
    st.segmented_control(
        phrase("Engine"), list(STATES), key="state", format_func=lambda state: phrase(STATES[state]),
        width="stretch", wrap=True,
    )  # fmt: skip


def the_stop(card: pd.DataFrame) -> None:
    """Ask how the capture was taken, folded under a line that says what stands there now."""
    positions = card["position"].dropna().unique().tolist() if len(card) else []
    if len(positions) > 1:
        st.selectbox(phrase("Which pump"), positions, key="position")
    check.command(card)
    folded(_stop_words(), (*OF_THE_STOP, *OF_THE_FILE), _draw_stop)


def _draw_stop() -> None:
    st.segmented_control(
        phrase("Reason"), list(REASONS), key="reason", format_func=lambda reason: phrase(REASONS[reason]),
        wrap=True,
    )  # fmt: skip
    st.date_input(phrase("Day"), key="visited_on", value="today", format="YYYY-MM-DD")
    box(phrase("Clamp or meter"), "clamp", phrase("which one"))
    st.segmented_control(phrase("Clamp's factor"), PROBES, key="probe", format_func=phrase, wrap=True)
    if st.session_state.get("probe") == "another":
        box(phrase("Factor"), "probe_text", "40 mV/A")
    st.checkbox(phrase(ZEROED), key="zero_checked")
    say.note(phrase("Only where the file doesn't say enough:"))
    box(phrase("Channel with the pump current"), "channel")
    box(phrase("Samples a second"), "rate", "100 kS/s")
    box(phrase("Amps at full scale (sound files)"), "full_scale", "10A")
    st.number_input(phrase("Record number (segmented files)"), 1, None, None, 1, key="record")


def _stop_words() -> str:
    state = st.session_state
    day = state.get("visited_on")
    said = [
        phrase(REASONS.get(str(state.get("reason") or USUAL["reason"]), "Planned stop")),
        phrase("today")
        if day is None or formats.day(day) == formats.day(pd.Timestamp.today())
        else formats.day(day),
        phrase("clamp {clamp}", clamp=state["clamp"]) if state.get("clamp") else phrase("clamp not named"),
    ]
    factor = state.get("probe_text") if state.get("probe") == "another" else state.get("probe")
    said += [phrase(str(factor))] if factor and factor != PROBES[0] else []
    said += [phrase("zeroed")] if state.get("zero_checked") else []
    return plain(", ".join(said))


def folded(label: str, fields: tuple[str, ...], draw: Callable[[], None]) -> None:
    """Draw boxes under a heading that folds, once it is opened or one of them holds something of its own: a
    dozen boxes out of sight would double the time that the page takes on a phone. A heading that changes with
    what was chosen under it shuts its fold; what is chosen there would be gone if it were not drawn."""
    key = f"fold_{fields[0]}"
    holds = any(st.session_state.get(f) not in (None, "", [], False, USUAL.get(f)) for f in fields)
    if holds and arrived():
        st.session_state[key] = True
    fold = st.expander(label, key=key, on_change="rerun")
    if fold.open or holds:
        with fold:
            draw()
