"""A pump changed at this stop: why it came off, what was found, what went in, what is due now."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import changes, loaders
from dashboard.shell import access, initials, say
from dashboard.words import formats
from dashboard.words.warranty import warranty_line
from ingest.errors import PumpledgerError
from ingest.wording.language import phrase

REMOVALS = {
    "failed": "It failed",
    "on_condition": "Its readings called for it",
    "opportunity": "The tank was open anyway",
    "other": "Another reason",
}
FOUND = {
    "worn": "Worn",
    "seized": "Seized",
    "electrical": "Electrical fault",
    "tested_good": "Tested good",
    "not_examined": "Not examined",
}


REPLACED = (
    "The old pump's life is closed and the new one begins. Its baseline is due: capture the new pump now, "
    "with the reason After repair. Brushes may bed in over the first {bedded}, so early readings are marked."
)
FINDING_DAYS = 366  # a pump taken off longer ago is no longer asked about


def finding_due(unit: str) -> pd.Series | None:
    """Return the pump lately taken off a unit of which nobody has said what was found, or None."""
    if not unit or not loaders.ledger_path().exists():
        return None
    rows = loaders.ask("finding_due", unit=unit, since=date.today() - timedelta(days=FINDING_DAYS))
    return rows.iloc[0] if len(rows) else None


def ask_finding(unit: str) -> None:
    """Ask what was found in the pump last taken off this unit, where that is still open."""
    pump = finding_due(unit)
    if pump is None:
        return
    place = "" if pump["position"] == "main" else f" ({pump['position']})"
    with st.form(f"finding_{pump['pump_id']}"):
        asked = "? The pump taken off on {day}{place}: what was found in it? Forecasts learn from the answer."
        say.line(phrase(asked, day=formats.day(pump["removed_on"]), place=place))
        found = st.segmented_control(phrase("What was found"), list(FOUND), format_func=_found, wrap=True,
                                     key="found_before", label_visibility="collapsed")  # fmt: skip
        who, keep = st.columns([1, 2], vertical_alignment="bottom")
        by = initials.ask("found_before_by", who)
        if keep.form_submit_button(phrase("Keep the finding"), width="stretch"):
            try:
                _keep_finding(int(pump["pump_id"]), found, by)
            except PumpledgerError as refused:
                say.refuse(f"{refused.text}")
            else:
                st.rerun()


def _found(code: str) -> str:
    return phrase(FOUND[code])


def _keep_finding(pump_id: int, found: Any, by: str) -> None:
    from ingest.fleet_folder.one_fact import change_facts
    from ingest.fleet_folder.tables import PUMPS

    changes.demand(str(found or ""), "what was found")
    change_facts(
        loaders.ledger_path(), PUMPS, pump_id, {"found": found}, author=access.author(by),
        reason="asked at the next visit",
        command=changes.COMMAND,
    )  # fmt: skip


def show(visit: pd.Series, by: str) -> None:
    """Ask whether the pump was changed; on saving, close its life and begin the new one."""
    if text := st.session_state.get("replaced_text"):
        say.done(text)
        return
    with st.expander(phrase("The pump was changed at this stop")), st.form("replaced", border=False):
        warranty_note(int(visit["pump_id"]), visit["odometer_km"])
        removed = removal_fields()
        new = new_pump_fields(visit["pump_type"])
        kept = st.checkbox(phrase("The old filter stayed in"), key="old_filter_kept")
        if st.form_submit_button(phrase("Keep the change"), width="stretch"):
            try:
                _replace(visit, removed, new, kept, by)
            except PumpledgerError as refused:
                say.refuse(f"{refused.text}")
            else:
                st.rerun()


def warranty_note(pump_id: int, odometer_km: Any = None) -> None:
    """Say whether the pump that comes off is in warranty, and what is on hold."""
    km = None if formats.is_unknown(odometer_km) else float(odometer_km)
    own = loaders.settings()["distance_unit"]
    if line := warranty_line(loaders.warranty(pump_id), own, date.today(), km):
        say.note(line)
    for sentence in loaders.holds(pump_id):
        say.note(sentence)


def removal_fields(key: str = "") -> dict[str, Any]:
    """Ask why a pump came off, what was found and the cause; what `removal_of` takes."""
    return {
        "removal": st.segmented_control(
            phrase("Why it came off"), list(REMOVALS), format_func=lambda code: phrase(REMOVALS[code]),
            wrap=True, key=f"{key}removal",
        ),
        "found": st.segmented_control(
            phrase("What was found"), list(FOUND), format_func=_found, wrap=True, key=f"{key}found"
        ),
        "cause": st.text_input(
            phrase("Cause, if known"), placeholder=phrase("dirt, water, ran dry, wiring …"),
            key=f"{key}removal_cause",
        ),
    }  # fmt: skip


def removal_of(told: dict[str, Any]) -> Any:
    """Return the ingest.visit.pump_lives.Removal told; raises EntryRefused without the reason."""
    from ingest.errors import EntryRefused
    from ingest.visit.pump_lives import Removal

    if not told["removal"]:
        raise EntryRefused("removal-missing", "Say why the pump came off.")
    return Removal(told["removal"], found=told["found"], cause=told["cause"].strip() or None)


def new_pump_fields(usual_type: Any = None, key: str = "") -> dict[str, Any]:
    """Ask for type and serial number of the pump that went in."""
    types = loaders.ask("pump_types")["pump_type"].tolist()
    return {
        "pump_type": st.selectbox(
            phrase("Type fitted"), types, index=types.index(usual_type) if usual_type in types else None,
            accept_new_options=True, key=f"{key}new_type", placeholder=phrase("its part number"),
        ),
        "serial": st.text_input(phrase("Its serial number"), key=f"{key}new_serial").strip() or None,
    }  # fmt: skip


def _replace(visit: pd.Series, removed: dict[str, Any], new: dict[str, Any], kept: bool, by: str) -> None:
    from ingest.visit.pump_lives import NewPump, replace_pump

    odometer = visit["odometer_km"]
    _, fitted = replace_pump(
        loaders.ledger_path(),
        visit["unit"],
        removal_of(removed),
        NewPump(**new),
        position=visit["position"],
        on=pd.Timestamp(visit["visited_on"]).date(),
        odometer_km=None if formats.is_unknown(odometer) else float(odometer),
        filter_kept=kept,
        author=access.author(by),
    )
    bedded = formats.distance(loaders.settings()["baseline_bedding_km"], loaders.settings()["distance_unit"])
    said = [phrase(REPLACED, bedded=bedded), *loaders.holds(fitted)]
    st.session_state["replaced_text"] = " ".join(said)
