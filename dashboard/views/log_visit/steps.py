"""The steps of logging a visit, one function each, in the order a technician takes them.

Everything typed is bound to the page's address (or kept for the session), so a lost connection, a slow file
picker or a reload loses nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from analytics.judging.safety import caution_lines
from dashboard.data import loaders, queries
from dashboard.parts import replacing
from dashboard.parts.entry_form import LABELS
from dashboard.shell import say
from dashboard.views.log_visit import check
from dashboard.words import formats
from dashboard.words.plain import plain
from dashboard.words.visit import REASONS, STATES, WORK
from ingest.capture import Capture
from ingest.reading import Reading
from ingest.visit.entry import VisitEntry

PROBES = ("as the file says", "10mV/A", "100mV/A", "another")
RARELY_ENTERED = (
    "drop_supply_v", "drop_ground_v", "delivery", "clamp", "clamp_point", "hours", "serial", "note",
    *check.HOW_READ,
)  # fmt: skip
USUAL = {"reason": "pm", "source": "file", "probe": PROBES[0]}  # what stands there untouched
# Typed text counts after this pause, not only once the box is left: a connection cut meanwhile would leave it
# standing there without being stored.
PAUSE = "500ms"
OF_THE_FILE = ("channel", "rate", "full_scale", "record")
TYPED = (
    "unit", "position", "odometer", "reason", "state", "done", "visited_on", "meter_a", "supply_v",
    "fuel_pressure", "fuel_temp", "fuel_level_pct", "probe", "probe_text", "source",
    "zero_checked", "commanded", "duty_pct", *RARELY_ENTERED, *OF_THE_FILE, *check.FIELDS,
)  # fmt: skip


@dataclass(frozen=True)
class Measured:
    """What this visit brings: a capture with its reading, or a meter's average alone."""

    entry: VisitEntry | None
    capture: Capture | None = None
    reading: Reading | None = None
    figures: pd.DataFrame | None = None


def bring_back() -> None:
    """Take up what was typed before another page was looked at: on the way there the address forgets it.

    Not where the page is opened with entries of its own.
    """
    state = st.session_state
    kept = state.get("typed_before")
    if not kept or not arrived() or any(name in st.query_params for name in TYPED):
        return
    if not state.pop("came_back", False):
        # Reached by the browser's Back, a run fills its boxes from the address alone; the next run doesn't.
        state["came_back"] = True
        st.rerun()
    state.update(kept)


def keep_typed() -> None:
    """Keep what was typed for `bring_back`."""
    st.session_state["typed_before"] = {
        name: value for name, value in typed().items() if value not in (None, "", [], USUAL.get(name))
    }


def forget_typed() -> None:
    """Drop what was typed, once its visit is stored or the next one begins."""
    st.query_params.pop("file", None)
    for name in (*TYPED, "technician", "typed_before", "file_name", "file_here"):
        st.session_state.pop(name, None)


def file_to_choose_again(upload: Any) -> str | None:
    """Return the name of a file that was here and is no longer, unless a person has taken it out.

    A file lies with the server's session alone; its name is kept in the address too.
    """
    state = st.session_state
    if upload is not None:
        state["file_here"], state["file_name"] = True, upload.name
        if st.query_params.get("file") != upload.name:
            st.query_params["file"] = upload.name
        return None
    if state.pop("file_here", False) and not arrived():
        state.pop("file_name", None)
        st.query_params.pop("file", None)
    return st.query_params.get("file") or state.get("file_name")


def arrived() -> bool:
    """Return whether the page is opened, not drawn again (the initials are kept on the page alone)."""
    return "technician" not in st.session_state


def cautions(*, folded: bool = False) -> None:
    """Show what to heed before anything is connected; open until it was read in this session.

    Once read it folds when the page is next opened, not under the reader's finger: on a phone the page would
    stay scrolled down, and the first box be out of sight above.
    """
    state = st.session_state
    read = folded or state.get("cautions_read", False)
    if arrived():
        state["cautions_open"] = not read
    with st.expander("Before you connect anything", expanded=state["cautions_open"] and not folded):
        say.points(caution_lines())
        say.note("[S] from public service and teaching texts · [P] common practice, no source found")
        if not read:
            st.button("Read it, go on", on_click=_mark_read, width="stretch")


def _mark_read() -> None:
    st.session_state["cautions_read"] = True


def choose_unit() -> tuple[str, pd.DataFrame]:
    """Return the unit typed and its card (one row per pump in place; empty when the unit is unknown)."""
    names = loaders.unit_names()
    if names is not None:
        unit = st.selectbox(
            "Unit",
            names,
            index=None,
            key="unit",
            placeholder="type the vehicle's number",
            accept_new_options=True,
            bind="query-params",
        )
    else:
        unit = st.text_input(
            "Unit",
            key="unit",
            placeholder="type the vehicle's number",
            bind="query-params",
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
        say.warn(f"Unit {unit} is not in the ledger. Did you mean {' or '.join(alike)}?")
        for column, other in zip(st.columns(len(alike)), alike, strict=True):
            column.button(
                plain(f"Use {other}"), on_click=_use_unit, args=(other,), key=f"use_{other}", width="stretch"
            )
    elif same := [name for name in alike if queries.same_but_for_zeros(unit, name)]:
        say.warn(f"Mind the number: there is also unit {' and unit '.join(same)}.")
    elif not known:
        say.warn(f"Unit {unit} is not in the ledger; saving will ask whether to add it.")
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
    say.line(f"· {', '.join(places) or 'no depot given'}", lead=vehicle or "Vehicle not described")
    if not formats.is_unknown(first["last_visited_on"]):
        say.note(
            f"Last visit {formats.day(first['last_visited_on'])} at "
            f"{formats.distance(first['last_odometer_km'], own)}."
        )
    replacing.ask_finding(str(first["unit"]))
    notes = loaders.ask("connection_notes", unit=first["unit"])
    if len(notes):
        note = notes.iloc[0]
        with st.expander("Where to clamp on this vehicle"):
            for label, column in (
                ("Clamp at", "clamp_point"), ("Fuse", "fuse"), ("Access", "access"), ("Note", "note")
            ):  # fmt: skip
                if not formats.is_unknown(note[column]):
                    say.line(note[column], lead=f"{label}.")
            if not formats.is_unknown(note["picture"]):
                st.image(bytes(note["picture"]), caption="Connection point")


def box(label: str, key: str, placeholder: str | None = None, *, where: Any = st, **more: Any) -> None:
    """Draw a box whose text counts, and stands in the page's address, a moment after it was typed."""
    where.text_input(label, key=key, placeholder=placeholder, bind="query-params", live=PAUSE, **more)


def where_and_when(card: pd.DataFrame) -> None:
    """Ask for position, odometer, day, reason and engine state."""
    own = loaders.settings()["distance_unit"] if loaders.ledger_path().exists() else "mi"
    positions = card["position"].dropna().unique().tolist() if len(card) else []
    if len(positions) > 1:
        st.selectbox("Which pump", positions, key="position", bind="query-params")
    box("Odometer", "odometer", f"88412 {own}", autocomplete="off")
    st.date_input("Day", key="visited_on", value="today", format="YYYY-MM-DD", bind="query-params")
    st.segmented_control("Reason", list(REASONS), default="pm", key="reason", format_func=REASONS.__getitem__,
                         width="stretch", bind="query-params", wrap=True)  # fmt: skip
    st.segmented_control("Engine", list(STATES), key="state", format_func=STATES.__getitem__, width="stretch",
                         bind="query-params", wrap=True)  # fmt: skip
    check.command(card)


def conditions(card: pd.DataFrame) -> None:
    """Ask for what was measured beside the current; nothing here is demanded."""
    volts, level = st.columns(2)
    with volts:
        box(LABELS["supply_v"], "supply_v", "13.5 V")
    with level:
        st.number_input(LABELS["fuel_level_pct"], 0, 100, None, 5, key="fuel_level_pct", placeholder="50",
                        bind="query-params")  # fmt: skip
    pressure, temperature = st.columns(2)
    with pressure:
        box(LABELS["fuel_pressure"], "fuel_pressure", "58 psi or 4 bar")
    with temperature:
        box(LABELS["fuel_temp"], "fuel_temp", "25 C or 77 F")
    st.pills(
        "Work done",
        [work for work in WORK if work != "filter_kept"],
        selection_mode="multi",
        key="done",
        format_func=WORK.__getitem__,
        bind="query-params",
        wrap=True,
    )
    folded("Circuit, delivery, clamp and a note", RARELY_ENTERED, _more_conditions)
    folded("Write down a check", check.FIELDS, lambda: check.draw(card, box))


def _more_conditions() -> None:
    supply, ground = st.columns(2)
    box(LABELS["drop_supply_v"], "drop_supply_v", "0.2", where=supply)
    box(LABELS["drop_ground_v"], "drop_ground_v", "0.05", where=ground)
    box(LABELS["delivery"], "delivery", "1.2 L/min")
    box("Clamp or meter", "clamp", "which one")
    box("Clamped at", "clamp_point", "grey wire at the tank")
    st.number_input("Engine hours", 0.0, None, None, 1.0, key="hours", bind="query-params")
    check.how_read(box)
    box("Pump's serial number", "serial")
    st.text_area("Note", key="note", bind="query-params")


def folded(label: str, fields: tuple[str, ...], draw: Callable[[], None]) -> None:
    """Draw boxes under a heading that folds, once it is opened or one of them holds something: a dozen boxes
    out of sight would double the time that the page takes on a phone."""
    box = st.expander(label, key=f"fold_{fields[0]}", on_change="rerun")
    held = any(st.session_state.get(f) not in (None, "") or f in st.query_params for f in fields)
    if box.open or held:
        with box:
            draw()


def typed() -> dict[str, Any]:
    """Return everything entered so far."""
    return {name: st.session_state.get(name) for name in TYPED}
