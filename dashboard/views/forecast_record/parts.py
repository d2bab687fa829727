"""The parts of the forecast record."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard.charts import record
from dashboard.shell import frame, lists, say
from dashboard.words import formats
from dashboard.words import record as record_text


def show(result: Any) -> None:
    """Draw the verdict, what acting would have brought, stated against observed risk, expected against
    counted, and the scores."""
    say.line(result.told.text)
    if result.verdict:
        say.line(result.verdict, lead="In short:")
    for sentence in result.outside:
        say.line(sentence)
    if result.verdict:
        say.line(record_text.acting_line(result))
    say.line(result.text)
    if not len(result.forecasts):
        return
    groups = reliability_rows(result.reliability)
    if len(groups):
        st.header("Stated risk against what happened", anchor=False)
        frame.chart(
            record.reliability(groups, palette=frame.palette()),
            "Share of pumps that failed against the risk stated, in groups, with 95 % intervals.",
        )
        say.note(
            "On the broken line, what was said is what happened. Bars: 95 % intervals. Both scales go by "
            "tenfolds, "
            "so that small risks have room; a group in which none failed stands at the foot."
        )
        st.header("Expected and counted failures", anchor=False)
        frame.chart(
            record.expected_and_counted(expected_rows(result.by_day), palette=frame.palette()),
            "Failures expected, with their likely range, and failures counted, by past day.",
        )
        say.note("Line: expected. Shaded: where 9 in 10 counts would lie. Diamonds: counted.")
    if len(result.scores):
        st.header(record_text.methods_heading(result.scores), anchor=False)
        lists.show(record_text.method_table(result.scores), "Scores of each method.", "scores")
        say.note(record_text.METHODS)
    if len(result.coverage):
        st.header("Did the 80 % range of the distance left hold?", anchor=False)
        lists.show(
            record_text.coverage_table(result.coverage), "Coverage of life ranges by readings.", "coverage"
        )
        say.note(record_text.LIFE_RANGES)
    acted = record_text.acted_lines(result.acted)
    if acted:
        st.header("What people did", anchor=False)
        say.points(acted)
    lists.download(
        lambda: record_text.forecast_rows(result.forecasts, result.distance_unit), "past_forecasts",
        "Save every past forecast as CSV",
    )  # fmt: skip


def reliability_rows(groups: list[dict[str, float]]) -> pd.DataFrame:
    """Return groups as the chart takes them: stated, observed, low, high, pumps."""
    rows = pd.DataFrame(groups)
    return rows.rename(columns={"forecast": "stated", "happened": "observed", "n": "pumps"})


def expected_rows(by_day: pd.DataFrame) -> pd.DataFrame:
    """Return failures expected and counted by past day, with the day in words."""
    return by_day.rename(columns={"failed": "counted"}).assign(
        as_of=pd.to_datetime(by_day["as_of"]), day=[formats.day(d) for d in by_day["as_of"]]
    )
