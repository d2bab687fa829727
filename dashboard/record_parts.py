"""The parts of the forecast record."""

from __future__ import annotations

from typing import Any

import pandas as pd
import streamlit as st

from dashboard import formats, frame, lists
from dashboard.charts import record


def show(result: Any) -> None:
    """Draw what may be concluded, stated against observed risk, expected against counted, and the scores."""
    st.write(result.text)
    if not len(result.forecasts):
        return
    groups = reliability_rows(result.reliability)
    if len(groups):
        st.header("Stated risk against what happened", anchor=False)
        frame.chart(
            record.reliability(groups, palette=frame.palette()),
            "Share of pumps that failed against the risk stated, in groups, with 95 % intervals.",
        )
        st.caption("On the broken line, what was said is what happened. Bars: 95 % intervals.")
    st.header("Expected and counted failures", anchor=False)
    frame.chart(
        record.expected_and_counted(expected_rows(result.forecasts), palette=frame.palette()),
        "Failures expected, with their likely range, and failures counted, by past day.",
    )
    st.header("Against simpler rules", anchor=False)
    lists.show(result.scores.round(3), "Scores of each method.", "scores")
    st.caption(
        "AUC: chance that a pump that fails is ranked above one that doesn't. Skill: against the base rate."
    )
    if len(result.coverage):
        st.header("Did the stated ranges hold?", anchor=False)
        lists.show(result.coverage.round(3), "Coverage of life ranges by readings.", "coverage")
    if result.acted:
        st.header("Acted on", anchor=False)
        st.markdown("\n".join(f"- {k.replace('_', ' ')}: {v:,}" for k, v in result.acted.items()))
    lists.download(result.forecasts, "past_forecasts", "Save every past forecast as CSV")


def reliability_rows(groups: list[dict[str, float]]) -> pd.DataFrame:
    """Return groups as the chart takes them: stated, observed, low, high, pumps."""
    rows = pd.DataFrame(groups)
    return rows.rename(columns={"forecast": "stated", "happened": "observed", "n": "pumps"})


def expected_rows(forecasts: pd.DataFrame) -> pd.DataFrame:
    """Return by past day: failures expected (sum of risks), its 90 % range, failures counted."""
    judged = forecasts[forecasts["judged"].astype(bool)] if "judged" in forecasts else forecasts
    by_day = judged.groupby("as_of")
    expected = by_day["risk"].sum()
    sd = by_day["risk"].apply(lambda p: float((p * (1 - p)).sum()) ** 0.5)
    return pd.DataFrame(
        {
            "as_of": pd.to_datetime(expected.index),
            "expected": expected.to_numpy(),
            "low": (expected - 1.645 * sd).clip(lower=0).to_numpy(),
            "high": (expected + 1.645 * sd).to_numpy(),
            "counted": by_day["happened"].sum().to_numpy(),
        }
    ).assign(day=[formats.day(d) for d in expected.index])
