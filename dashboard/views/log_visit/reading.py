"""A visit's reading before it is stored: file or meter, finding first, judged with the pump's history."""

from __future__ import annotations

from dataclasses import dataclass, replace
from secrets import token_hex
from typing import Any

import pandas as pd
import streamlit as st

from dashboard.data import loaders
from dashboard.parts import reading_panel
from dashboard.parts.entry_form import LABELS, baseline_words, entry_from, label_here, probe_from
from dashboard.shell import say
from dashboard.views.log_visit import asked_of_file, steps, typed, uploads
from dashboard.words import formats
from ingest.capture import Capture
from ingest.errors import PumpledgerError
from ingest.ledger.clamps import read_as
from ingest.reading import Reading
from ingest.trade_numbers import DEFAULTS
from ingest.visit.entry import VisitEntry
from ingest.wording.language import phrase

CHOOSE_AGAIN = (
    "Choose {file} again: a cut connection, a reload or a look at another page drops the file. "
    "What was typed is still here."
)
SOURCES = {"file": "Capture file", "meter": "Meter only"}


@dataclass(frozen=True)
class Measured:
    """What this visit brings: a capture with its reading, or a meter's average alone, and what they mean."""

    entry: VisitEntry | None
    capture: Capture | None = None
    reading: Reading | None = None
    verdict: Any = None


@dataclass(frozen=True)
class Chosen:
    """What was entered so far, and the file, if there is one."""

    entry: VisitEntry | None
    upload: Any = None


def choose(unit: str, card: pd.DataFrame) -> Chosen:
    """Ask for the file or the meter's figure."""
    source = st.segmented_control(
        phrase("From"), list(SOURCES), key="source", required=True, width="stretch",
        format_func=lambda source: phrase(SOURCES[source]), label_visibility="collapsed",
    )  # fmt: skip
    upload = None
    if source == "meter":
        steps.box(phrase(LABELS["meter_a"]), "meter_a", "5.4")
    else:
        uploads.get_ready()
        upload = st.file_uploader(
            phrase("Capture from the scope or logger"),
            # A key of the session's own: else a server started anew would be shown a file it doesn't have.
            key=f"upload_{st.session_state.setdefault('upload_key', token_hex(4))}",
        )
        if again := typed.file_to_choose_again(upload):
            say.warn(phrase(CHOOSE_AGAIN, file=again))
    entry = _entry(unit, quiet=source == "file")
    pump = _pump_row(card, entry)
    words = baseline_words(pump, entry.odometer_km if entry else None, loaders.settings()) if pump else ""
    if words:
        say.note(words)
    return Chosen(entry, upload)


def show(chosen: Chosen, card: pd.DataFrame) -> Measured:
    """Show the finding, the next test and the trace; figures and notes below them."""
    entry = chosen.entry
    pump = _pump_row(card, entry)
    if chosen.upload is None:
        told = entry is not None and (entry.meter_a is not None or entry.examined)
        verdict = _judged(entry, None, pump) if told else None
        if verdict is not None:
            reading_panel.show_verdict(verdict)
        return Measured(entry, verdict=verdict)
    try:
        return _read(chosen.upload, entry, pump, known=len(card) > 0)
    except PumpledgerError as refused:
        asked_of_file.show_refusal(refused)
        return Measured(entry)


def _entry(unit: str, *, quiet: bool = False) -> VisitEntry | None:
    try:
        return entry_from(
            typed.with_units() | {"unit": unit}, distance_unit=steps.own_unit(), called=label_here
        )
    except PumpledgerError as refused:
        if not quiet or unit:
            say.refuse(f"{refused.text}")
        return None


def _read(upload: Any, entry: VisitEntry | None, pump: dict[str, Any], *, known: bool) -> Measured:
    from ingest.known_pump import UNKNOWN_PUMP
    from ingest.visit.clamp_factor import scaled
    from ingest.visit.logging_visit import known_before_measuring

    state = st.session_state
    clamp = loaders.clamp(str(state.get("clamp") or "").strip())
    if clamp and entry and entry.visited_on and (late := clamp.overdue(entry.visited_on)):
        say.warn(late)
    probe, channel = read_as(clamp, probe_from(typed.values()), state.get("channel"))
    if entry and not entry.probe and probe:
        entry = replace(entry, probe=probe)
    capture = uploads.read_upload(
        upload.name,
        upload.getvalue(),
        {
            "probe": probe,
            "channel": channel,
            "sample_rate_hz": state.get("rate"),
            "full_scale": state.get("full_scale"),
            "record": state.get("record"),
        },
    )
    state["as_read"] = capture.identity
    if times := state.get("times_as_read", {}).get(capture.identity):
        capture = scaled(capture, times)
    told = known_before_measuring(loaders.ledger_path(), entry) if entry and known else UNKNOWN_PUMP
    early = st.empty()  # the trace alone at once, while a capture seen for the first time is measured
    if state.get("measured") != capture.identity:
        with early.container():
            reading_panel.show_trace(capture, None, (None, None), key="early")
    reading = uploads.measure_upload(capture, told)
    state["measured"] = capture.identity
    verdict = _judged(entry, reading, pump)
    early.empty()
    reading_panel.show_average_only(reading)
    reading_panel.show_verdict(verdict)
    reading_panel.show_figures(reading)
    reading_panel.show_candidates(reading)
    reading_panel.show_trace(
        capture, reading, (pump.get("current_low_a"), pump.get("current_high_a")), key="log"
    )
    reading_panel.show_notes(reading.notes, levels=("warning", "ask"))
    with st.expander(phrase("Figures beside specification and earlier visits")):
        _show_all_figures(reading, pump)
    return Measured(entry, capture, reading, verdict)


def _show_all_figures(reading: Reading, pump: dict[str, Any]) -> None:
    visits = (
        loaders.ask("visits_of_pump", pump_id=int(pump["pump_id"])) if "pump_id" in pump else pd.DataFrame()
    )
    specification = {k: v for k, v in pump.items() if not formats.is_unknown(v)}
    settings = loaders.settings() if loaders.ledger_path().exists() else DEFAULTS
    limit = specification.get("ripple_limit_pct") or settings["ripple_limit_pct"]
    reading_panel.show_comparison(reading_panel.comparison(reading, specification, visits, limit))
    reading_panel.show_notes(reading.notes, levels=("info",))
    reading_panel.show_segments(reading)


def _judged(entry: VisitEntry | None, reading: Reading | None, pump: dict[str, Any]) -> Any:
    """Return the verdict as it will be once saved: against this pump's own history where it has one."""
    from analytics.judging.verdict import judge_entry, judge_reading

    if entry and "pump_id" in pump:
        # Each tap draws the page anew, Save too, and what was judged a moment ago stands.
        of = loaders.state_shown(), int(pump["pump_id"]), entry
        kept = st.session_state.get("judged")
        if kept is None or kept[0] != of or kept[1] is not reading:
            with loaders.reading() as connection:
                kept = of, reading, judge_entry(connection, int(pump["pump_id"]), entry, reading)
            st.session_state["judged"] = kept
        return kept[2]
    if reading is None:
        return None
    known = {k: v for k, v in pump.items() if not formats.is_unknown(v)}
    settings = loaders.settings() if loaders.ledger_path().exists() else None
    return judge_reading(reading, entry=entry, specification=known, settings=settings)


def _pump_row(card: pd.DataFrame, entry: VisitEntry | None) -> dict[str, Any]:
    if not len(card) or card["pump_id"].isna().all():
        return {}
    rows = card
    if entry and entry.position:
        rows = card[card["position"] == entry.position]
    return {str(k): v for k, v in rows.iloc[0].items()} if len(rows) else {}
