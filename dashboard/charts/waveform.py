"""One capture: the trace, its segments, and two turns laid over each other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.style import dressed, lettered, outlined, scale_to, y_axis
from dashboard.shell.palette import LIGHT, Palette
from ingest.wording.language import phrase


def trace(
    frame: pd.DataFrame,
    *,
    turn_ms: tuple[float, float] | None = None,
    specification_a: tuple[float | None, float | None] = (None, None),
    palette: Palette = LIGHT,
) -> Any:
    """Return the trace from envelope rows (time_ms, low_a, high_a), one revolution as a shaded band."""
    shown = (frame["time_ms"].min(), frame["time_ms"].max()) if len(frame) else (0, 1)
    x_scale = alt.Scale(domain=list(shown), nice=False, zero=False)
    x = alt.X("time_ms:Q", title=phrase("time, ms"), scale=x_scale)
    y_scale = scale_to(frame["low_a"].min(), frame["high_a"].max()) if len(frame) else alt.Scale()
    layers = []
    if turn_ms is not None and turn_ms[1] > shown[0] and turn_ms[0] < shown[1]:
        band = pd.DataFrame({"from_ms": [turn_ms[0]], "to_ms": [turn_ms[1]], "label": [phrase("one turn")]})
        layers.append(
            alt.Chart(band)
            .mark_rect(**outlined(palette), clip=True)
            .encode(x=alt.X("from_ms:Q", title=phrase("time, ms"), scale=x_scale), x2=alt.X2("to_ms:Q"))
        )
        if (turn_ms[1] - turn_ms[0]) > 0.04 * (shown[1] - shown[0]):
            layers.append(
                alt.Chart(band)
                .mark_text(align="left", baseline="top", dx=4, color=palette.faint, fontSize=12)
                .encode(x=alt.X("from_ms:Q", scale=x_scale), y=alt.value(2), text=alt.Text("label:N"))
            )
    y = alt.Y("low_a:Q", axis=y_axis(phrase("current, A")), scale=y_scale)
    layers.append(
        alt.Chart(frame)
        .mark_area(color=palette.main, line={"color": palette.main, "strokeWidth": 1}, clip=True)
        .encode(x=x, y=y, y2=alt.Y2("high_a:Q"))
    )
    limits = pd.DataFrame(
        [
            {"a": a, "label": phrase(label)}
            for a, label in zip(specification_a, ("specified low", "specified high"), strict=True)
            if a is not None and a == a
        ]
    )
    if len(limits) and len(frame):
        low, high = frame["low_a"].min(), frame["high_a"].max()
        reach = (high - low) * 0.5
        near = limits[(limits["a"] > low - reach) & (limits["a"] < high + reach)]
        if len(near):
            layers.append(
                alt.Chart(near).mark_rule(strokeDash=[2, 3], color=palette.faint).encode(y=alt.Y("a:Q"))
            )
            named = alt.Chart(near).encode(y=alt.Y("a:Q"), x=alt.value("width"))
            layers.append(lettered(named, palette, align="right", baseline="bottom", dy=-2))
    return dressed(alt.layer(*layers), palette, height=280)


def segments(profile_pct: Sequence[float], *, weakest: int | None = None, palette: Palette = LIGHT) -> Any:
    """Return the averaged height of each segment in percent of the average current; the weakest is named."""
    frame = pd.DataFrame(
        {
            "segment": range(1, len(profile_pct) + 1),
            "height_pct": list(profile_pct),
            "label": [phrase("weakest") if i == weakest else "" for i in range(1, len(profile_pct) + 1)],
        }
    )
    base = alt.Chart(frame).encode(
        x=alt.X("segment:O", title=phrase("segment"), axis=alt.Axis(labelAngle=0)),
        y=alt.Y(
            "height_pct:Q", axis=y_axis(phrase("height, % of average current")), scale=alt.Scale(zero=True)
        ),
        tooltip=[
            alt.Tooltip("segment:O"),
            alt.Tooltip("height_pct:Q", format=".2f", title=phrase("% of average")),
        ],
    )
    bars = base.mark_bar(color=palette.main).encode(
        fillOpacity=alt.condition("datum.label !== ''", alt.value(0.35), alt.value(0.9)),
        stroke=alt.value(palette.main),
    )
    return dressed(
        bars + base.mark_text(dy=-7, color=palette.ink).encode(text=alt.Text("label:N")), palette, height=200
    )


def turns(frame: pd.DataFrame, *, palette: Palette = LIGHT) -> Any:
    """Return turns laid over each other by angle; frame: angle_deg, current_a, capture (a label each)."""
    labels = list(dict.fromkeys(frame["capture"]))
    colours = [palette.wear, palette.main, palette.drag][: len(labels)]
    chart = (
        alt.Chart(frame)
        .mark_line(strokeWidth=1.8)
        .encode(
            x=alt.X(
                "angle_deg:Q",
                title="angle of the armature, degrees (start unknown)",
                scale=alt.Scale(domain=[0, 360]),
                axis=alt.Axis(values=list(range(0, 361, 45))),
            ),
            y=alt.Y(
                "current_a:Q",
                axis=y_axis(phrase("current, A")),
                scale=scale_to(*frame["current_a"].agg(["min", "max"])),
            ),
            color=alt.Color("capture:N", title=None, scale=alt.Scale(domain=labels, range=colours)),
            strokeDash=alt.StrokeDash(
                "capture:N", title=None, scale=alt.Scale(domain=labels, range=[[5, 3], [1, 0], [2, 2]])
            ),
        )
    )
    return dressed(chart, palette, height=260)


def segments_over_time(frame: pd.DataFrame, *, palette: Palette = LIGHT) -> Any:
    """Return the segment profile visit by visit; frame: visited_on (text), segment, height_pct.

    Each cell also holds its figure, so the picture reads without colour.
    """
    base = alt.Chart(frame).encode(
        x=alt.X("visited_on:O", title="visit", axis=alt.Axis(labelAngle=-40)),
        y=alt.Y("segment:O", title="segment"),
    )
    cells = base.mark_rect().encode(
        color=alt.Color(
            "height_pct:Q",
            title="height, % of average",
            scale=alt.Scale(
                domain=[frame["height_pct"].min(), frame["height_pct"].max()],
                range=[palette.paper, palette.filled],
            ),
            legend=None,
        )
    )
    words = base.mark_text(fontSize=12, color=palette.ink).encode(text=alt.Text("height_pct:Q", format=".1f"))
    return dressed(cells + words, palette, height=230)
