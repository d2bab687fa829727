"""What has been typed of a visit: in the session while the page is looked at, as a draft for a day.

A box that is folded away, a cut connection, another page, a reload or a server started anew lose nothing.
"""

from __future__ import annotations

import re
from typing import Any

import streamlit as st

from dashboard.data import drafts, loaders
from dashboard.shell import access, address
from dashboard.views.log_visit import check
from ingest.harmless import as_file_name

PROBES = ("as the file says", "10mV/A", "100mV/A", "another")
OF_THE_FILE = ("channel", "rate", "full_scale", "record")
CONDITIONS = ("supply_v", "fuel_pressure", "fuel_level_pct", "fuel_temp")
CIRCUIT = ("drop_supply_v", "drop_ground_v", "delivery")
RARELY = ("clamp_point", "hours", "serial", "note", *check.HOW_READ)
OF_THE_STOP = ("reason", "visited_on", "position", "clamp", "probe", "probe_text", "zero_checked",
               "commanded", "duty_pct")  # fmt: skip
# Boxes whose figure needs a unit, which is chosen beside it: number keys have no letters.
UNITS = {
    "fuel_pressure": ("psi", "bar", "kPa"),
    "pressure_hold": ("psi", "bar", "kPa"),
    "fuel_temp": ("°F", "°C"),
    "delivery": ("L/min", "gal/h"),
}
UNIT_OF = {
    "fuel_pressure": "pressure_unit",
    "pressure_hold": "pressure_unit",
    "fuel_temp": "temp_unit",
    "delivery": "flow_unit",
}
TYPED = (
    "unit", "odometer", "state", "source", "meter_a", "done", *OF_THE_STOP, *CONDITIONS, *CIRCUIT, *RARELY,
    *OF_THE_FILE, *check.FIELDS, "technician", *dict.fromkeys(UNIT_OF.values()),
)  # fmt: skip
USUAL = {"reason": "pm", "source": "file", "probe": PROBES[0]}  # what stands there untouched
# What is as it was at the last visit, until somebody says otherwise.
STAYS = ("state", "clamp", "probe", "probe_text", "technician", *dict.fromkeys(UNIT_OF.values()))
READ = "cautions_read"  # the day, and who has read the cautions that day


def begin() -> None:
    """Note, before anything is drawn, whether the page has just been opened."""
    st.session_state["just_arrived"] = "technician" not in st.session_state


def arrived() -> bool:
    """Return whether the page is opened, not drawn again."""
    return bool(st.session_state["just_arrived"])


def bring_back() -> None:
    """Fill the boxes with what was typed before: of this session, else of the draft that the address names.

    Not where the page is opened for a unit of its own.
    """
    state = st.session_state
    named = address.text("draft")
    if arrived():
        if named and named != state.get("draft_key"):
            state["draft"], state["draft_key"] = drafts.read(loaders.ledger_path(), named, _owner()), named
            if not state["draft"]:
                address.in_vain("draft", named)
        unit = address.text("unit")
        if unit and unit != state.get("draft", {}).get("unit"):
            if not named:  # a link to another unit
                state["draft"] = dict(state.get("stays", {}))
                state.pop("draft_key", None)
            state["unit"] = unit
    kept = state.get("draft", {})
    state.setdefault("file_name", kept.get("file"))
    if READ in kept:
        state.setdefault(READ, kept[READ])
    for name, usual in USUAL.items():
        if name not in state:
            state[name] = kept.get(name, usual)
    for name in TYPED:
        if name in kept and name not in state:
            state[name] = kept[name]


def keep() -> None:
    """Keep what stands in the boxes now."""
    state = st.session_state
    now = {
        name: value for name, value in values().items() if value not in (None, "", [], False, USUAL.get(name))
    }
    if state.get("file_name"):
        now["file"] = state["file_name"]
    if READ in state:
        now[READ] = list(state[READ])
    if not now:
        state.pop("draft", None)
        return
    key = state.setdefault("draft_key", drafts.new_key())
    unit = now.get("unit")
    if unit and st.query_params.get("unit") != unit:
        st.query_params["unit"] = unit
    if st.query_params.get("draft") != key:
        st.query_params["draft"] = key
    if now != state.get("draft"):
        state["draft"] = now
        drafts.write(loaders.ledger_path(), key, _owner(), now)


def forget() -> None:
    """Drop what was typed, once its visit is stored; what stays from visit to visit is kept for the next."""
    state = st.session_state
    if draft := state.pop("draft", None):
        state["stays"] = {name: draft[name] for name in STAYS if name in draft}
    if key := state.pop("draft_key", None):
        drafts.drop(loaders.ledger_path(), key)
    for name in ("draft", "unit"):
        st.query_params.pop(name, None)
    for name in (*TYPED, "file_name", "file_here"):
        state.pop(name, None)


def begin_next() -> None:
    """Begin the next visit with what stays from the last one."""
    st.session_state["draft"] = dict(st.session_state.get("stays", {}))


def values() -> dict[str, Any]:
    """Return everything entered so far, by box."""
    return {name: st.session_state.get(name) for name in TYPED}


def with_units() -> dict[str, Any]:
    """Return everything entered so far, with the unit chosen beside a box after a figure that has none."""
    told = values()
    for name, unit in UNIT_OF.items():
        text = str(told[name] or "").strip()
        if told[unit] and re.fullmatch(r"[-+\d.,' ]+", text):
            told[name] = f"{text} {told[unit]}"
    return told


def file_to_choose_again(upload: Any) -> str | None:
    """Return the name of a file that was here and is no longer, unless a person has taken it out.

    A file lies with the server's session alone; its name is kept in the draft too.
    """
    state = st.session_state
    if upload is not None:
        state["file_here"], state["file_name"] = True, as_file_name(upload.name)
        return None
    if state.pop("file_here", False) and not arrived():
        state["file_name"] = None
    return state.get("file_name")


def _owner() -> str:
    return access.current_person().name or ""
