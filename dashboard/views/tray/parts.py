"""Taking a folder in, and the tables of the tray."""

from __future__ import annotations

import json
from collections.abc import Collection
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.data.queries import records
from dashboard.shell import access, frame, initials, lists, say
from dashboard.words import formats
from dashboard.words.plain import plain
from dashboard.words.taking import state_unsaid
from ingest.errors import PumpledgerError
from ingest.harmless import as_file_name
from ingest.units import parse_quantity, read_quantity
from ingest.wording.options import without_options

# Columns of the table that a person may write in.
TYPED = ("Store", "Unit", "Odometer", "Engine", "Volts")
STATES = ("prime", "idle", "loaded")


def show_taking() -> None:
    """Take the captures of a folder on this machine into the tray."""
    with st.expander("Take captures from a folder"), st.form("taking", border=False):
        text = st.text_input("Folder on this machine", key="take_folder", placeholder="path to the folder")
        clamp = st.text_input(
            "Clamp they were taken with", key="take_clamp", placeholder="its name, if on record"
        )
        rate, scale = st.columns(2)
        rate_text = rate.text_input(
            "Samples a second, where files don't say", key="take_rate", placeholder="such as 100 kS/s"
        )
        scale_text = scale.text_input(
            "Full scale of audio files", key="take_full_scale", placeholder="such as 10A"
        )
        by = initials.ask("take_by")
        if st.form_submit_button("Take them in", type="primary", width="stretch"):
            frame.attempt(lambda: _take(text, clamp, by, rate_text, scale_text))


def _take(text: str, clamp: str, by: str, rate: str = "", scale: str = "") -> str:
    from ingest.intake.taking import left_alone, take_folder
    from ingest.readers.options import parse_full_scale, parse_rate

    changes.demand(text, "the folder")
    bar = st.progress(0.0, "Reading the captures …")

    def progress(done: int, of: int, name: str) -> None:
        share = min(1.0, done / of) if of else 1.0
        bar.progress(share, plain(f"{as_file_name(Path(name).name)}: {done:,} of {of:,}"))

    folder = Path(text.strip()).expanduser()
    arrivals = take_folder(
        loaders.ledger_path(), folder, author=access.author(by),
        clamp=clamp.strip() or None, progress=progress,
        sample_rate=parse_rate(rate) if rate.strip() else None,
        full_scale=parse_full_scale(scale) if scale.strip() else None,
    )  # fmt: skip
    bar.empty()
    told = pd.Series([a.status for a in arrivals], dtype="object").value_counts()
    words = {"matched": "with their unit", "waiting": "wait for one", "refused": "can't be read",
             "longer": "longer than the visit stored of them, which was measured again",
             "known": "were there before"}  # fmt: skip
    said = [f"{told[status]:,} {word}" for status, word in words.items() if told.get(status)]
    looked_at = f"{formats.count(len(arrivals), 'file')} looked at: {', '.join(said) or 'no captures'}."
    return f"{looked_at} {left_alone(folder)}".strip()


def show_waiting(rows: pd.DataFrame) -> None:
    """Draw what waits as a table to confirm: units are corrected in it, what is ticked is stored."""
    own = loaders.settings()["distance_unit"]
    table = waiting_table(rows)
    columns: dict[str, Any] = {
        "Trace": st.column_config.AreaChartColumn("Trace, A", width="small"),
        "Odometer": st.column_config.TextColumn("Odometer", help=f"such as 88412 {own}"),
        "Engine": st.column_config.SelectboxColumn("Engine", options=("", *STATES)),
        "Volts": st.column_config.TextColumn("Volts at the pump", help="such as 13.6"),
        "Current, A": st.column_config.NumberColumn(format="%.2f"),
        "No": None,
    }
    edited = st.data_editor(
        table,
        key="tray_rows",
        hide_index=True,
        width="stretch",
        disabled=[str(name) for name in table if name not in TYPED],
        column_config=columns,
        placeholder=formats.UNKNOWN,
    )
    ticks = table["Store"].map({True: "☑", False: ""})
    lists.on_paper(table.drop(columns=["No", "Trace"]).assign(Store=ticks))
    state, who = st.columns(2)
    ran = state.selectbox("How the engine ran, where a row doesn't say", ("", *STATES), key="tray_state")
    by = initials.ask("tray_by", who)
    ticked = edited[edited["Store"]].assign(
        Engine=lambda rows: rows["Engine"].where(rows["Engine"].fillna("") != "", ran)
    )
    unsaid = int((ticked["Engine"] == "").sum())
    if unsaid:
        say.note(f"{state_unsaid(formats.count(unsaid, 'ticked file'))}.")
    label = f"Store {formats.count(len(ticked), 'ticked file')} as visits"
    if st.button(label, type="primary", width="stretch", disabled=ticked.empty):
        frame.attempt(lambda: store_ticked(ticked, own, by))


def waiting_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows of tray.sql as the table to confirm, filled with what a sidecar told; ticked where nothing
    is left to ask."""
    told = [json.loads(entry) if isinstance(entry, str) else {} for entry in rows["entry"]]
    return pd.DataFrame(
        {
            "No": rows["tray_id"],
            "Store": rows["unit"].notna() & rows["reason"].isna(),
            "Unit": rows["unit"].astype("object").where(rows["unit"].notna(), ""),
            "Odometer": list(map(_odometer, told)),  # beside the unit, so that a phone shows both
            "File": rows["file_name"],
            "Trace": rows["picture"].map(lambda p: list(p) if isinstance(p, Collection) else []),
            "Engine": [entry.get("state") or "" for entry in told],
            "Volts": [f"{entry['supply_v']:g}" if entry.get("supply_v") else "" for entry in told],
            "Day": rows["captured_on"].map(formats.day),
            "Current, A": pd.to_numeric(rows["mean_a"]).round(2),
            "rpm": [formats.UNKNOWN if formats.is_unknown(rpm) else f"{rpm:,.0f}" for rpm in rows["rpm"]],
            "Clamp": rows["clamp"],
            "Waits, days": rows["age_days"],
            "Why": rows["reason"].where(
                rows["reason"].notna(), "unit told by its " + rows["matched_by"].astype("str")
            ),
        }
    ).reset_index(drop=True)


def _odometer(entry: dict[str, Any]) -> str:
    shown = entry.get("odometer_entered")
    return f"{shown:.10g} {entry.get('odometer_unit') or ''}".strip() if shown else ""


def store_ticked(ticked: pd.DataFrame, own: str, by: str) -> str:
    """Store the ticked rows of the table; returns what became of them. Raises where none could be stored."""
    from ingest.intake.tray import Named, store_named

    author = access.author(by)
    named = [Named(int(row["No"]), str(row["Unit"] or ""), None, _more(row, own)) for row in records(ticked)]
    stored, failed, shifts = store_named(loaders.ledger_path(), named, author=author)
    new = sum(logged.stored for logged in stored)
    said = f"{formats.count(new, 'visit')} stored." if stored else ""
    asked = sum(len(logged.left_open) for logged in stored)
    if asked:
        said += f" {formats.count(asked, 'question')} about them to settle."
    said += "".join(f" {shift.text}" for shift in shifts)
    for tray_id, why in failed.items():
        said += f" File {tray_id}: {why}"
    if not stored:
        raise PumpledgerError("not-stored", said.strip())
    return said


def _more(row: dict[str, Any], own: str) -> dict[str, Any]:
    more: dict[str, Any] = {}
    if str(row["Odometer"] or "").strip():
        read = read_quantity(
            str(row["Odometer"]), "distance", default_unit=own, field=f"{row['File']}: Odometer"
        )
        more |= {"odometer_km": read.value, "odometer_entered": read.entered, "odometer_unit": read.unit}
    if isinstance(row["Engine"], str) and row["Engine"]:
        more["state"] = row["Engine"]
    if str(row["Volts"] or "").strip():
        volts = parse_quantity(str(row["Volts"]), "voltage", default_unit="V", field=f"{row['File']}: Volts")
        more["supply_v"] = volts
    return more


def show_refused(rows: pd.DataFrame) -> None:
    """List what can't be read as it is."""
    st.subheader("Can't be read as they are", anchor=False)
    say.points(_refusal(row["file_name"], str(row["reason"])) for row in records(rows))


def _refusal(name: str, reason: str) -> str:
    said = without_options(reason)
    return said if said.startswith(name) else f"{name}: {said}"


def show_dropping(rows: pd.DataFrame) -> None:
    """Let a file go, with a reason."""
    from ingest.intake.tray import drop

    names = dict(zip(rows["tray_id"].astype(int), rows["file_name"], strict=True))
    with st.expander("Let a file go"), st.form("dropping", border=False):
        tray_id = st.selectbox(
            "File", list(names), index=None, format_func=names.__getitem__, key="drop_file"
        )
        why = st.text_input("Why it is no visit", key="drop_why")
        by = initials.ask("drop_by")
        if st.form_submit_button("Let it go", width="stretch"):
            if tray_id is None:
                say.refuse("Choose the file first.")
                return
            frame.attempt(
                lambda: drop(loaders.ledger_path(), tray_id, why, author=access.author(by)),
                f"{names[tray_id]} no longer waits.",
            )
