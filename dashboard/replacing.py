"""A pump changed at this stop: why it came off, what was found, what went in, what is due now."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard import formats, loaders
from ingest.errors import PumpledgerError

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


def show(visit: pd.Series, by: str) -> None:
    """Ask whether the pump was changed; on saving, close its life and begin the new one."""
    if text := st.session_state.get("replaced_text"):
        st.success(text)
        return
    with st.expander("The pump was changed at this stop"), st.form("replaced", border=False):
        removal = st.segmented_control("Why it came off", list(REMOVALS), format_func=REMOVALS.__getitem__,
                                       wrap=True, key="removal")  # fmt: skip
        found = st.segmented_control("What was found", list(FOUND), format_func=FOUND.__getitem__, wrap=True,
                                     key="found")  # fmt: skip
        cause = st.text_input("Cause, if known", placeholder="dirt, water, ran dry, wiring …")
        types = loaders.ask("pump_types")["pump_type"].tolist()
        old = types.index(visit["pump_type"]) if visit["pump_type"] in types else None
        new_type = st.selectbox("Type fitted", types, index=old, accept_new_options=True)
        serial = st.text_input("Its serial number")
        kept = st.checkbox("The old filter stayed in")
        if st.form_submit_button("Keep the change", width="stretch"):
            try:
                _replace(visit, str(removal or ""), found, cause, new_type, serial, kept, by)
            except PumpledgerError as refused:
                st.error(f"▲ {refused.text}")
            else:
                st.rerun()


def _replace(
    visit: pd.Series, removal: str, found: Any, cause: str, new_type: Any, serial: str, kept: bool, by: str
) -> None:
    from ingest.errors import EntryRefused
    from ingest.pump_lives import NewPump, Removal, replace_pump

    if not removal:
        raise EntryRefused("removal-missing", "Say why the pump came off.")
    odometer = visit["odometer_km"]
    replace_pump(
        loaders.ledger_path(),
        visit["unit"],
        Removal(removal, found=found, cause=cause.strip() or None),
        NewPump(pump_type=new_type, serial=serial.strip() or None),
        position=visit["position"],
        on=pd.Timestamp(visit["visited_on"]).date(),
        odometer_km=None if formats.is_unknown(odometer) else float(odometer),
        filter_kept=kept,
        by=by,
    )
    st.session_state["replaced_text"] = (
        "The old pump's life is closed and the new one begins. Capture the new pump now, with the reason "
        "After repair: that is its baseline."
    )
