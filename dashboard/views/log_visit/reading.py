"""A visit's reading before it is stored: file or meter, figures at once, judged with the pump's history."""

from __future__ import annotations

from secrets import token_hex
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.parts import reading_panel
from dashboard.parts.entry_form import LABELS, baseline_words, entry_from, probe_from
from dashboard.shell import say
from dashboard.views.log_visit import steps, uploads
from dashboard.views.log_visit.steps import Measured
from dashboard.words import formats
from ingest.errors import PumpledgerError
from ingest.reading import Reading
from ingest.visit.entry import VisitEntry


def measure_it(unit: str, card: pd.DataFrame) -> Measured:
    """Take the file or the meter's figure and show the reading at once."""
    st.header("The reading", anchor=False)
    source = st.segmented_control("From", ["file", "meter"], default="file", key="source", required=True,
                                  format_func={"file": "Capture file", "meter": "Meter only"}.__getitem__,
                                  bind="query-params")  # fmt: skip
    due = st.container()  # what today's capture is to the baseline, once the odometer is known
    if source == "meter":
        steps.box(LABELS["meter_a"], "meter_a", "5.4")
        entry = _entry(unit)
        _say_baseline(due, card, entry)
        if entry and (entry.meter_a is not None or entry.examined):
            _judge(entry, None, _pump_row(card, entry))
        return Measured(entry)
    uploads.get_ready()
    upload = st.file_uploader(
        "Capture from the scope or logger (if the picker closes empty, choose again: nothing typed is lost)",
        # A key of the session's own: else the page would show a server started anew a file it doesn't have.
        key=f"upload_{st.session_state.setdefault('upload_key', token_hex(4))}",
    )
    st.segmented_control(
        "Clamp's factor", steps.PROBES, default=steps.PROBES[0], key="probe", bind="query-params", wrap=True
    )
    st.checkbox("The clamp was zeroed before it went on", key="zero_checked", bind="query-params")
    if st.session_state.get("probe") == "another":
        steps.box("Factor", "probe_text", "40 mV/A")
    steps.folded("If the file doesn't say enough", steps.OF_THE_FILE, _about_the_file)
    entry = _entry(unit, quiet=True)
    _say_baseline(due, card, entry)
    if again := steps.file_to_choose_again(upload):
        say.warn(
            f"Choose {again} again: a cut connection, a reload or a look at another page drops the file. "
            "What was typed is still here."
        )
    if upload is None:
        if entry and entry.examined:
            _judge(entry, None, _pump_row(card, entry))
        return Measured(entry)
    try:
        return _read(upload, entry, card)
    except PumpledgerError as refused:
        say.refuse(f"{refused.text}")
        return Measured(entry)


def _about_the_file() -> None:
    steps.box("Channel with the pump current", "channel")
    steps.box("Samples a second", "rate", "100 kS/s")
    steps.box("Amps at full scale (sound files)", "full_scale", "10A")
    st.number_input("Record number (segmented files)", 1, None, None, 1, key="record", bind="query-params")


def _say_baseline(place: Any, card: pd.DataFrame, entry: VisitEntry | None) -> None:
    pump = _pump_row(card, entry)
    words = baseline_words(pump, entry.odometer_km if entry else None, loaders.settings()) if pump else ""
    if words:
        place.info(words)


def _entry(unit: str, *, quiet: bool = False) -> VisitEntry | None:
    own = loaders.settings()["distance_unit"] if loaders.ledger_path().exists() else "mi"
    try:
        return entry_from(steps.typed() | {"unit": unit}, distance_unit=own)
    except PumpledgerError as refused:
        if not quiet or unit:
            say.refuse(f"{refused.text}")
        return None


def _read(upload: Any, entry: VisitEntry | None, card: pd.DataFrame) -> Measured:
    from ingest.known_pump import UNKNOWN_PUMP
    from ingest.visit.logging_visit import known_before_measuring

    state = st.session_state
    capture = uploads.read_upload(
        upload.name,
        upload.getvalue(),
        {
            "probe": probe_from(steps.typed()),
            "channel": state.get("channel"),
            "sample_rate_hz": state.get("rate"),
            "full_scale": state.get("full_scale"),
            "record": state.get("record"),
        },
    )
    pump = _pump_row(card, entry)
    known = known_before_measuring(loaders.ledger_path(), entry) if entry and len(card) else UNKNOWN_PUMP
    early = st.empty()  # the trace alone at once, while a capture seen for the first time is measured
    if state.get("measured") != capture.identity:
        with early.container():
            reading_panel.show_trace(capture, None, (None, None), key="early")
    reading = uploads.measure_upload(capture, known)
    state["measured"] = capture.identity
    early.empty()
    reading_panel.show_average_only(reading)
    visits = (
        loaders.ask("visits_of_pump", pump_id=int(pump["pump_id"])) if "pump_id" in pump else pd.DataFrame()
    )
    specification = {k: v for k, v in pump.items() if not formats.is_unknown(v)}
    settings = loaders.settings() if loaders.ledger_path().exists() else {}
    limit = specification.get("ripple_limit_pct") or settings.get("ripple_limit_pct", 15)
    table = reading_panel.comparison(reading, specification, visits, limit)
    reading_panel.show_trace(
        capture,
        reading,
        (specification.get("current_low_a"), specification.get("current_high_a")),
        key="log",
    )
    reading_panel.show_comparison(table)
    reading_panel.show_candidates(reading)
    reading_panel.show_notes(reading.notes)
    reading_panel.show_segments(reading)
    _judge(entry, reading, pump)
    return Measured(entry, capture, reading, table)


def _judge(entry: VisitEntry | None, reading: Reading | None, pump: dict[str, Any]) -> None:
    """Show the verdict before anything is saved: against this pump's own history where it has one."""
    from analytics.judging.verdict import judge_entry, judge_reading

    if entry and "pump_id" in pump:
        with loaders.reading() as connection:
            reading_panel.show_verdict(judge_entry(connection, int(pump["pump_id"]), entry, reading))
    elif reading is not None:
        known = {k: v for k, v in pump.items() if not formats.is_unknown(v)}
        settings = loaders.settings() if loaders.ledger_path().exists() else None
        reading_panel.show_verdict(
            judge_reading(reading, entry=entry, specification=known, settings=settings)
        )


def _pump_row(card: pd.DataFrame, entry: VisitEntry | None) -> dict[str, Any]:
    if not len(card) or card["pump_id"].isna().all():
        return {}
    rows = card
    if entry and entry.position:
        rows = card[card["position"] == entry.position]
    return {str(k): v for k, v in rows.iloc[0].items()} if len(rows) else {}
