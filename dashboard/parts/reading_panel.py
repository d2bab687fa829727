"""A reading on the page: figures with their uncertainty, the trace, its segments, notes and the verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from analytics.judging.segments import below_others_pct
from dashboard.charts import waveform
from dashboard.parts import envelope
from dashboard.shell import frame, say
from dashboard.words import formats
from dashboard.words.plain import plain
from dashboard.words.reading import candidates
from ingest import metrics
from ingest.capture import Capture
from ingest.measuring.sampling import AVERAGE_ONLY
from ingest.metrics import Metric
from ingest.reading import Reading
from ingest.wording.language import phrase
from ingest.wording.sentence import said_of

if TYPE_CHECKING:
    from analytics.judging.verdict import Verdict
    from analytics.scheduling.in_the_bay import BayDecision

TRACE = (
    "Current over time, {samples} samples at {rate} a second; each point keeps the lowest and highest of its "
    "samples, so no spike is lost."
)
LOWEST = (
    "Segment {number} lies lowest, {below} % of the average current below the middle of the others. "
    "Segment 1 is wherever the record began."
)
LEVEL_WORDS = {"warning": "▲ Warning", "ask": "? Please check", "info": "· Note"}


def show_trace(
    capture: Capture, reading: Reading | None, specification: tuple[Any, Any], *, key: str
) -> None:
    """Draw the trace with its range choice; one turn is a shaded band."""
    choices = envelope.zoom_choices(capture, reading)
    names = list(choices)
    start = "Ten turns" if "Ten turns" in names else names[-1]
    chosen = None
    if len(names) > 1:
        chosen = st.segmented_control(
            phrase("Show"),
            names,
            default=start,
            key=f"{key}_range",
            format_func=phrase,
            label_visibility="collapsed",
            wrap=True,
        )
    from_s, to_s = choices[chosen or start]
    turn = envelope.one_turn_s(capture, reading) if reading else None
    rows = envelope.envelope(capture, from_s, to_s)
    rate = f"{capture.sample_rate_hz:,.0f}"
    words = phrase(TRACE, samples=f"{len(capture.current_a):,}", rate=rate)
    frame.chart(
        waveform.trace(
            rows,
            turn_ms=(turn[0] * 1000, turn[1] * 1000) if turn else None,
            specification_a=specification,
            palette=frame.palette(),
        ),
        words,
    )


def show_segments(reading: Reading) -> None:
    """Draw the averaged height of each segment, or say why there is none."""
    if not reading.segment_profile_pct:
        return
    weakest = reading.weakest_segment
    frame.chart(
        waveform.segments(reading.segment_profile_pct, weakest=weakest, palette=frame.palette()),
        phrase("Averaged height of each commutator segment in percent of the average current."),
    )
    below_pct = below_others_pct(reading.segment_profile_pct, weakest)
    if below_pct is not None:
        say.note(phrase(LOWEST, number=weakest, below=f"{below_pct:.1f}"))


def comparison(
    reading: Reading | pd.Series,
    specification: dict[Any, Any],
    visits: pd.DataFrame,
    ripple_limit_pct: float,
) -> pd.DataFrame:
    """Return the figures beside specification and this pump's last and first visits, as text.

    reading: one being taken, or a stored visit (a row of visit_detail); visits: those before it.
    """

    def from_visit(row: pd.Series | None, column: str, unit: str, digits: int) -> str:
        if row is None or formats.is_unknown(row.get(column)):
            return formats.UNKNOWN
        return formats.with_error(float(row[column]), None, phrase(unit), digits)

    last = visits.iloc[-1] if len(visits) else None
    first = visits.iloc[0] if len(visits) > 1 else None
    limits = specification | {"ripple_limit_pct": ripple_limit_pct}

    def specified(metric: Metric) -> str:
        low, high = (limits.get(name) if name else None for name in (metric.low, metric.high))
        if formats.is_unknown(high) or (metric.low and formats.is_unknown(low)):
            return formats.UNKNOWN
        said = {"low": f"{low:,g}" if metric.low else "", "high": f"{high:,g}", "unit": phrase(metric.unit)}
        return phrase("{low} to {high} {unit}" if metric.low else "up to {high} {unit}", **said)

    def now(metric: Metric) -> str:
        if metric.name == "mean_a":
            return average_words(reading)
        value, error = (getattr(reading, name, None) for name in (metric.name, metric.error))
        unit = phrase(metric.unit)
        return formats.with_error(value, error if metric.name == "rpm" else None, unit, metric.digits)

    rows = [
        (
            phrase(m.words).capitalize(),
            now(m),
            specified(m),
            from_visit(last, m.name, m.unit, m.digits),
            from_visit(first, m.name, m.unit, m.digits),
        )
        for m in metrics.METRICS
    ]
    names = [phrase(name) for name in ("Figure", "Now", "Specified", "Last visit", "First visit")]
    for i, visit in ((3, last), (4, first)):
        names[i] += f", {formats.day(visit['visited_on'])}" if visit is not None else ""
    return pd.DataFrame(rows, columns=names)


def average_words(reading: Reading | pd.Series) -> str:
    """Return the average with what the clamp may be off by where that is known, else with its scatter."""
    accuracy = reading.mean_a_accuracy_a
    if formats.is_unknown(reading.mean_a) or formats.is_unknown(accuracy):
        return formats.with_error(reading.mean_a, reading.mean_a_se, "A")
    return f"{formats.with_error(reading.mean_a, accuracy, 'A')} ({phrase('clamp')})"


def show_figures(reading: Reading) -> None:
    """Say average, ripple and speed in one line; what can't be told is left out."""
    told = [average_words(reading)]
    if not formats.is_unknown(reading.ripple_pct):
        told.append(phrase("ripple {pct} % of it", pct=f"{reading.ripple_pct:.1f}"))
    if not formats.is_unknown(reading.rpm):
        told.append(f"{reading.rpm:,.0f} rpm")
    say.line(" · ".join(told))


def show_comparison(table: pd.DataFrame) -> None:
    """Draw the figures as a plain table, readable by screen readers and on paper."""
    # Its cells are read as Markdown, unlike those of a list.
    st.table(
        table.set_index(table.columns[0]).map(lambda cell: plain(cell) if isinstance(cell, str) else cell)
    )


def show_average_only(reading: Reading) -> None:
    """Say before any figure where the record can tell nothing but the average."""
    for note in reading.notes:
        if note.code == AVERAGE_ONLY:
            say.warn(said_of(note))


def show_notes(notes: tuple[Any, ...], *, levels: tuple[str, ...] = ("warning", "ask", "info")) -> None:
    """Draw quality notes of these levels, warnings first, each by a word before the sentence."""
    order = {"warning": 0, "ask": 1, "info": 2}
    later = (n for n in notes if n.code != AVERAGE_ONLY and n.level in levels)  # that one comes first
    once = dict.fromkeys(sorted(later, key=lambda n: order.get(n.level, 3)))
    if once:
        say.points(f"{phrase(LEVEL_WORDS[n.level])}: {said_of(n)}" for n in once)


def show_candidates(reading: Reading) -> None:
    """Say which speeds the trace allows when it can't tell."""
    if reading.rpm is None and (told := candidates(reading)):
        say.line(phrase("The speed can't be told from this trace. It allows {speeds}.", speeds=told))


def action_sentence(verdict: Verdict) -> tuple[str, str]:
    """Return (lead, what to do); where that is nothing, which the heading says, when to capture next."""
    when = verdict.action_text.removeprefix(phrase("No action; next capture "))
    if verdict.action == "none" and when != verdict.action_text:
        return phrase("Next capture"), when
    return phrase("Action."), verdict.action_text


def show_decision(decision: BayDecision | None) -> None:
    """Draw what pays while the vehicle still stands in the bay, and the steps of that job."""
    if decision is None:
        return
    say.line(decision.text, lead=phrase("In the bay."))
    if decision.steps:
        say.points(phrase(step) for step in decision.steps)


def show_verdict(verdict: Verdict) -> None:
    """Draw the verdict, the next test and the action, with the rule cited."""
    with st.container(border=True):
        st.subheader(formats.action(verdict.action), anchor=False)
        say.line(verdict.text)
        for other in verdict.also:
            say.line(phrase("Also: {other}", other=other))
        say.line(verdict.next_test, lead=phrase("Next test."))
        if verdict.action == "none":  # else the heading and the next test say it
            lead, sentence = action_sentence(verdict)
            say.line(sentence, lead=lead)
        rule = phrase("Rule: {rule}.", rule=verdict.rule)
        say.note(f"{verdict.compared_with} {rule}")
