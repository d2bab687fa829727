"""How past forecasts did: stated risk against what happened, and expected against counted failures."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from dashboard.charts.grammar import Layer, of, to
from dashboard.charts.style import dressed, outlined, y_axis
from dashboard.shell.palette import LIGHT, Palette


def reliability(frame: pd.DataFrame, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return stated against observed risk by group, both by tenfolds; frame: stated, observed, low, high
    (0-1), pumps. What is 0 stands at the foot."""
    told = [*frame["stated"], *frame["observed"]] if len(frame) else [0.01]
    foot = 10.0 ** np.floor(np.log10(max(min((v for v in told if v > 0), default=0.01), 1e-4)))
    scale = dict(type="log", domain=[foot, 1.0], nice=False, clamp=True)
    frame = frame.assign(
        **{name: frame[name].clip(lower=foot) for name in ("stated", "observed", "low", "high")}
    )
    even = Layer(pd.DataFrame({"stated": [foot, 1.0], "observed": [foot, 1.0]})).mark(
        "line", color=palette.faint, strokeDash=[4, 4]
    )
    even = even.encode(x=of("stated:Q", scale=scale), y=of("observed:Q", scale=scale))
    base = Layer(frame).encode(
        x=of("stated:Q", title="risk as stated", axis=dict(format="~%"), scale=scale),
        tooltip=[
            of("stated:Q", format=".1%"),
            of("observed:Q", format=".1%"),
            of("pumps:Q", format=","),
        ],
    )
    bars = base.mark("rule", color=palette.main, strokeWidth=2).encode(
        y=of("low:Q", scale=scale), y2=to("high")
    )
    dots = base.mark("point", filled=True, color=palette.main, opacity=1).encode(
        y=of("observed:Q", axis=y_axis("share that failed", format="~%"), scale=scale),
        size=of(
            "pumps:Q",
            title="pumps in the group",
            legend=dict(columns=5),
            scale=dict(range=[40, 300]),
        ),
    )
    return dressed([even, bars, dots], palette, height=320)


def expected_and_counted(frame: pd.DataFrame, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return failures expected and counted over time; frame: as_of (date), expected, low, high, counted."""
    x = of(
        "as_of:T", title="forecast made on", axis=dict(format="%Y-%m", labelOverlap=True, tickCount=6),
        scale=dict(padding=8),  # room for the first and last mark
    )  # fmt: skip
    band = Layer(frame).mark("area", **outlined(palette)).encode(x=x, y=of("low:Q"), y2=to("high"))
    line = (
        Layer(frame)
        .mark("line", color=palette.main, strokeWidth=2)
        .encode(x=x, y=of("expected:Q", axis=y_axis("failures until the next visit")))
    )
    dots = (
        Layer(frame)
        .mark("point", color=palette.wear, size=80, shape="diamond", filled=True, opacity=1)
        .encode(
            x=x,
            y=of("counted:Q"),
            tooltip=[
                of("as_of:T"),
                of("expected:Q", format=".1f"),
                of("counted:Q"),
            ],
        )
    )
    return dressed([band, line, dots], palette, height=260)
