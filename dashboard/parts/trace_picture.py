"""A stored capture as a picture for paper: a stretch about the middle of its run."""

from __future__ import annotations

import pandas as pd

from dashboard.charts import on_paper
from dashboard.parts import envelope
from dashboard.words import formats
from ingest.capture import Capture
from ingest.wording.language import phrase

TURNS_DRAWN = 10


def trace_picture(visit: pd.Series, capture: Capture | None) -> list[tuple[str, str]]:
    """Return the trace about the middle of the run, one turn marked where its length is known."""
    if capture is None:
        return []
    turn_s = None if formats.is_unknown(visit["revolution_ms"]) else float(visit["revolution_ms"]) / 1000
    from_s, to_s = visit["steady_from_s"], visit["steady_to_s"]
    start = capture.start_s if formats.is_unknown(from_s) else float(from_s)
    end = capture.start_s + capture.duration_s if formats.is_unknown(to_s) else float(to_s)
    turn = None
    if turn_s is not None:
        middle = (start + end) / 2
        turn = (middle * 1000, (middle + turn_s) * 1000)
        half = TURNS_DRAWN / 2 * turn_s
        start, end = max(start, middle - half), min(end, middle + half)
    rows = envelope.envelope(capture, start, end, bins=on_paper.TRACE_BINS)
    if len(rows) < 2:
        return []
    title = phrase("Trace, one turn shaded" if turn else "Trace")
    return [(title, on_paper.trace(rows, turn_ms=turn, words=phrase("Current over time.")))]
