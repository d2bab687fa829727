"""How past forecasts did: stated risk against what happened, and expected against counted failures."""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from dashboard.charts.style import dressed, outlined, y_axis
from dashboard.shell.palette import LIGHT, Palette


def reliability(frame: pd.DataFrame, *, palette: Palette = LIGHT) -> Any:
    """Return stated against observed risk by group, both by tenfolds; frame: stated, observed, low, high
    (0-1), pumps. What is 0 stands at the foot."""
    told = [*frame["stated"], *frame["observed"]] if len(frame) else [0.01]
    foot = 10.0 ** np.floor(np.log10(max(min((v for v in told if v > 0), default=0.01), 1e-4)))
    scale = alt.Scale(type="log", domain=[foot, 1.0], nice=False, clamp=True)
    frame = frame.assign(
        **{name: frame[name].clip(lower=foot) for name in ("stated", "observed", "low", "high")}
    )
    even = alt.Chart(pd.DataFrame({"stated": [foot, 1.0], "observed": [foot, 1.0]})).mark_line(
        color=palette.faint, strokeDash=[4, 4]
    )
    even = even.encode(x=alt.X("stated:Q", scale=scale), y=alt.Y("observed:Q", scale=scale))
    base = alt.Chart(frame).encode(
        x=alt.X("stated:Q", title="risk as stated", axis=alt.Axis(format="~%"), scale=scale),
        tooltip=[
            alt.Tooltip("stated:Q", format=".1%"),
            alt.Tooltip("observed:Q", format=".1%"),
            alt.Tooltip("pumps:Q", format=","),
        ],
    )
    bars = base.mark_rule(color=palette.main, strokeWidth=2).encode(
        y=alt.Y("low:Q", scale=scale), y2=alt.Y2("high:Q")
    )
    dots = base.mark_point(filled=True, color=palette.main, opacity=1).encode(
        y=alt.Y("observed:Q", axis=y_axis("share that failed", format="~%"), scale=scale),
        size=alt.Size(
            "pumps:Q",
            title="pumps in the group",
            legend=alt.Legend(columns=5),
            scale=alt.Scale(range=[40, 300]),
        ),
    )
    return dressed(even + bars + dots, palette, height=320)


def expected_and_counted(frame: pd.DataFrame, *, palette: Palette = LIGHT) -> Any:
    """Return failures expected and counted over time; frame: as_of (date), expected, low, high, counted."""
    x = alt.X(
        "as_of:T", title="forecast made on", axis=alt.Axis(format="%Y-%m", labelOverlap=True, tickCount=6),
        scale=alt.Scale(padding=8),  # room for the first and last mark
    )  # fmt: skip
    band = alt.Chart(frame).mark_area(**outlined(palette)).encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
    line = (
        alt.Chart(frame)
        .mark_line(color=palette.main, strokeWidth=2)
        .encode(x=x, y=alt.Y("expected:Q", axis=y_axis("failures until the next visit")))
    )
    dots = (
        alt.Chart(frame)
        .mark_point(color=palette.wear, size=80, shape="diamond", filled=True, opacity=1)
        .encode(
            x=x,
            y=alt.Y("counted:Q"),
            tooltip=[
                alt.Tooltip("as_of:T"),
                alt.Tooltip("expected:Q", format=".1f"),
                alt.Tooltip("counted:Q"),
            ],
        )
    )
    return dressed(band + line + dots, palette, height=260)
