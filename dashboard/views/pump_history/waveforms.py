"""The pump history page: first and latest turn over each other, segments over time, any one trace."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from dashboard.charts import waveform
from dashboard.data import loaders
from dashboard.parts import envelope
from dashboard.shell import frame, say
from dashboard.views.pump_history import comparing
from dashboard.words import formats


def show_waveforms(pump: pd.Series, visits: pd.DataFrame) -> None:
    """Draw first and latest turn over each other, the segments visit by visit, and any one capture."""
    shown = visits[visits["capture_hash"].notna()]
    if len(shown):
        _show_turns(shown)
    _show_profiles(visits)
    comparing.show(pump)
    if not len(shown):
        say.line("No waveform of this pump is stored; its readings came from a meter or another program.")


def _show_turns(shown: pd.DataFrame) -> None:
    ledger = str(loaders.ledger_path())
    turns: list[pd.DataFrame] = []
    timed = shown[shown["revolution_ms"].notna()]
    picks = timed.iloc[[0, -1]] if len(timed) > 1 else timed
    for row in picks.to_dict("records"):
        capture = loaders.waveform(ledger, row["capture_hash"])
        turn = envelope.averaged_turn(capture, row["revolution_ms"], *_steady(row))
        if turns:
            turn = envelope.turned_onto(turn, turns[0])
        turns.append(turn.assign(capture=formats.day(row["visited_on"])))
    if turns:
        st.subheader("First and latest turn" if len(turns) > 1 else "The averaged turn", anchor=False)
        frame.chart(
            waveform.turns(pd.concat(turns), palette=frame.palette()),
            "Averaged revolutions by angle, laid over each other.",
        )
    days = dict(zip(shown["visit_id"], shown["visited_on"].map(formats.day), strict=True))
    choice = st.selectbox("Trace of visit", list(days)[::-1], format_func=days.__getitem__)
    picked = shown[shown["visit_id"] == choice].iloc[0]
    capture = loaders.waveform(ledger, picked["capture_hash"])
    whole = envelope.envelope(capture)
    turn_ms = None
    if not formats.is_unknown(picked["revolution_ms"]):
        from_s, to_s = _steady(picked)
        start = capture.start_s if from_s is None else from_s
        end = capture.start_s + capture.duration_s if to_s is None else to_s
        middle = (start + end) / 2 * 1000
        turn_ms = (middle, middle + float(picked["revolution_ms"]))
        zoom = st.segmented_control("Show", ["Whole record", "Ten turns", "Two turns"], default="Ten turns",
                                    key="history_range", label_visibility="collapsed")  # fmt: skip
        reach = {"Ten turns": 4.5, "Two turns": 0.5}.get(zoom or "Ten turns")
        if reach is not None:
            length = (turn_ms[1] - turn_ms[0]) * reach
            whole = envelope.envelope(capture, (turn_ms[0] - length) / 1000, (turn_ms[1] + length) / 1000)
    frame.chart(
        waveform.trace(whole, turn_ms=turn_ms, palette=frame.palette()),
        f"Current over time of the capture of {formats.day(picked['visited_on'])}.",
    )


def _steady(row: Any) -> tuple[float | None, float | None]:
    """Return the seconds between which a stored record ran steadily, None where that was not kept."""
    from_s, to_s = row["steady_from_s"], row["steady_to_s"]
    return (None, None) if formats.is_unknown(from_s) or formats.is_unknown(to_s) else (from_s, to_s)


def _show_profiles(visits: pd.DataFrame) -> None:
    told = [
        v
        for v in visits.tail(12).to_dict("records")
        if isinstance(v["segment_profile_pct"], list | np.ndarray)
    ]
    turned = envelope.profiles_in_step([v["segment_profile_pct"] for v in told])
    rows = [
        {"visited_on": formats.day(v["visited_on"]), "segment": i + 1, "height_pct": float(h)}
        for v, profile in zip(told, turned, strict=True)
        for i, h in enumerate(profile)
    ]
    if not rows:
        return
    st.subheader("Segments, visit by visit", anchor=False)
    frame.chart(
        waveform.segments_over_time(pd.DataFrame(rows), palette=frame.palette()),
        "Averaged height of each segment at each visit, in percent of the average current.",
    )
    say.note(
        "Height of each segment in percent of the average. Every record begins at another segment, so each "
        "visit's are turned to match those of the visits before; a segment's number means nothing by itself."
    )
