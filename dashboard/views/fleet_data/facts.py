"""Pump types and notes on where to clamp, on the fleet data page: listed, added and changed."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.parts import fact_forms
from dashboard.shell import access, frame, lists, say
from dashboard.words import formats
from ingest.errors import EntryRefused
from ingest.fleet_folder.one_fact import CONNECTION_NOTES, add_facts, change_facts, read_facts
from ingest.fleet_folder.tables import PUMP_TYPES

NEW = "+ a new one"
TYPE_COLUMNS = {
    "pump_type": "Type",
    "in_service": "In service",
    "lives": "Lives",
    "motor": "Motor",
    "supply": "Supply",
    "fuel": "Fuel",
    "segments": "Segments",
    "current_low_a": "Specified low, A",
    "current_high_a": "Specified high, A",
    "spec_at_v": "at V",
    "spec_at_kpa": "at kPa",
    "ripple_limit_pct": "Ripple limit, %",
    "rpm_low": "rpm low",
    "rpm_high": "rpm high",
    "rated_pressure_kpa": "Rated, kPa",
    "filter": "Filter",
    "lead_time_days": "Lead time, days",
    "price": "Price",
    "warranty_months": "Warranty, months",
    "warranty_distance_km": "Warranty",
    "spec_source": "Source",
}


def show_pump_types() -> None:
    """Draw pump types with their specification and a form to change or add one."""
    own = loaders.settings()["distance_unit"]
    types = loaders.ask("pump_types")
    table = types[list(TYPE_COLUMNS)].assign(
        warranty_distance_km=formats.in_unit(types["warranty_distance_km"], own).round(0)
    )
    if not access.may("money"):
        table = table.drop(columns="price")
    table = table.rename(columns=TYPE_COLUMNS | {"warranty_distance_km": f"Warranty, {own}"})
    lists.show(table, "Pump types with their specification.", "pump_types")
    lacking = types.loc[types["current_low_a"].isna(), "pump_type"].tolist()
    if lacking:
        say.line(
            f"Without a specified current: {', '.join(lacking)}. Their pumps are held against their own past."
        )
    if access.may("facts"):
        _change_type(types, own)


def _change_type(types: pd.DataFrame, own: str) -> None:
    with st.expander("Change a pump type, or add one"):
        names = [*types["pump_type"].tolist(), NEW]
        name = st.selectbox("Type to change", names, index=None, key="type_to_change", placeholder="choose")
        if not name:
            return
        row = None if name == NEW else types[types["pump_type"] == name].iloc[0].to_dict()
        with st.form(f"type_{name}"):
            typed = fact_forms.fields(
                PUMP_TYPES, row, key=f"type_{name}", own=own,
                leave_out=() if row is None else ("pump_type",),
            )  # fmt: skip
            say.note(
                "A specified current holds at a stated voltage and pressure; give both where the maker does. "
                "Changing a limit changes verdicts from now on; stored readings stay as they are."
            )
            reason, by = fact_forms.signature(f"type_{name}", "Reason or source of the change")
            if st.form_submit_button("Keep this type", type="primary", width="stretch"):

                def keep() -> None:
                    values = read_facts(PUMP_TYPES, typed, own)
                    signed: dict[str, Any] = {
                        "author": access.author(by),
                        "reason": reason,
                        "command": changes.COMMAND,
                    }
                    if row is None:
                        add_facts(loaders.ledger_path(), PUMP_TYPES, values, **signed)
                    else:
                        change_facts(loaders.ledger_path(), PUMP_TYPES, name, values, **signed)

                frame.attempt(keep, f"Type {typed.get('pump_type') or name} is kept as shown.")


def show_notes() -> None:
    """Draw where to clamp on each kind of vehicle, and a form to change or add a note with its picture."""
    say.line(
        "What a technician sees on choosing a unit: where to clamp, which fuse, how to get there. A note "
        "holds for every vehicle that matches what is filled in; the closest one is shown first."
    )
    notes = loaders.ask("notes_list")
    if len(notes):
        shown = notes.assign(vehicle=[note_name(n) for n in notes.to_dict("records")])
        table = pd.DataFrame(
            {
                "Vehicle": shown["vehicle"],
                "Clamp at": shown["clamp_point"].fillna(""),
                "Fuse": shown["fuse"].fillna(""),
                "Access": shown["access"].fillna(""),
                "Note": shown["note"].fillna(""),
                "Picture": shown["pictured"].map({True: "yes", False: "no"}),
            }
        )
        lists.show(table, "Where to clamp, by kind of vehicle.", "connection_notes")
    else:
        say.line("No note yet.")
    if access.may("notes"):
        _change_note(notes)


def note_name(note: dict[Any, Any]) -> str:
    """Return which vehicles a note is for, in words."""
    words = [str(note[c]) for c in ("make", "model", "engine") if not formats.is_unknown(note[c])]
    years = [None if formats.is_unknown(note[c]) else int(note[c]) for c in ("year_from", "year_to")]
    if any(years):
        words.append(f"{years[0] or 'up'} to {years[1] or 'now'}")
    return " ".join(words) or "every vehicle"


def _change_note(notes: pd.DataFrame) -> None:
    with st.expander("Change a note, or add one" if len(notes) else "Add a note"):
        rows = {int(n["note_id"]): n for n in notes.to_dict("records")}
        labels = {key: note_name(n) for key, n in rows.items()} | {0: NEW}
        note_id = 0 if not rows else st.selectbox(
            "Note to change", list(labels), index=None, key="note_to_change",
            format_func=labels.__getitem__, placeholder="choose",
        )  # fmt: skip
        if note_id is None:
            return
        row = rows.get(note_id)
        if row and row["pictured"]:
            kept = loaders.ask("note_picture", note_id=note_id).iloc[0]
            st.image(bytes(kept["picture"]), caption="Its picture now", width=320)
        with st.form(f"note_{note_id}"):
            typed = fact_forms.fields(CONNECTION_NOTES, row, key=f"note_{note_id}", own="")
            upload = st.file_uploader("Picture of the connection, JPEG, PNG or WebP, up to 10 MB",
                                      key=f"note_picture_{note_id}")  # fmt: skip
            reason, by = fact_forms.signature(f"note_{note_id}")
            if st.form_submit_button("Keep this note", type="primary", width="stretch"):

                def keep() -> None:
                    values = read_facts(CONNECTION_NOTES, typed, "")
                    if upload is not None:
                        values |= picture(upload.name, upload.getvalue())
                    if not any(values[name] for name in ("clamp_point", "fuse", "access", "note")):
                        raise EntryRefused("empty-note", "Say at least where to clamp.")
                    signed: dict[str, Any] = {
                        "author": access.author(by),
                        "reason": reason,
                        "command": changes.COMMAND,
                    }
                    if row is None:
                        add_facts(loaders.ledger_path(), CONNECTION_NOTES, values, **signed)
                    else:
                        change_facts(loaders.ledger_path(), CONNECTION_NOTES, note_id, values, **signed)

                frame.attempt(keep, "The note is kept.")


def picture(name: str, content: bytes) -> dict[str, Any]:
    """Return the columns of an uploaded picture, shrunk; raises EntryRefused for another kind or a large
    one."""
    from ingest.readers.photo import read_photo

    return {"picture": read_photo(name, content), "picture_type": "jpeg"}
