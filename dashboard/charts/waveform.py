"""One capture: the trace, its segments, and two turns laid over each other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from dashboard.charts.grammar import Layer, of, to, value, where
from dashboard.charts.style import dressed, lettered, outlined, scale_to, y_axis
from dashboard.shell.palette import LIGHT, Palette
from ingest.wording.language import phrase


def trace(
    frame: pd.DataFrame,
    *,
    turn_ms: tuple[float, float] | None = None,
    specification_a: tuple[float | None, float | None] = (None, None),
    palette: Palette = LIGHT,
) -> dict[str, Any]:
    """Return the trace from envelope rows (time_ms, low_a, high_a), one revolution as a shaded band."""
    shown = (frame["time_ms"].min(), frame["time_ms"].max()) if len(frame) else (0, 1)
    x_scale = dict(domain=list(shown), nice=False, zero=False)
    x = of("time_ms:Q", title=phrase("time, ms"), scale=x_scale)
    y_scale = scale_to(frame["low_a"].min(), frame["high_a"].max()) if len(frame) else dict()
    layers: list[Layer] = []
    if turn_ms is not None and turn_ms[1] > shown[0] and turn_ms[0] < shown[1]:
        band = pd.DataFrame({"from_ms": [turn_ms[0]], "to_ms": [turn_ms[1]], "label": [phrase("one turn")]})
        layers.append(
            Layer(band)
            .mark("rect", **outlined(palette), clip=True)
            .encode(x=of("from_ms:Q", title=phrase("time, ms"), scale=x_scale), x2=to("to_ms"))
        )
        if (turn_ms[1] - turn_ms[0]) > 0.04 * (shown[1] - shown[0]):
            layers.append(
                Layer(band)
                .mark("text", align="left", baseline="top", dx=4, color=palette.faint, fontSize=12)
                .encode(x=of("from_ms:Q", scale=x_scale), y=value(2), text=of("label:N"))
            )
    y = of("low_a:Q", axis=y_axis(phrase("current, A")), scale=y_scale)
    layers.append(
        Layer(frame)
        .mark("area", color=palette.main, line={"color": palette.main, "strokeWidth": 1}, clip=True)
        .encode(x=x, y=y, y2=to("high_a"))
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
                Layer(near).mark("rule", strokeDash=[2, 3], color=palette.faint).encode(y=of("a:Q"))
            )
            named = Layer(near).encode(y=of("a:Q"), x=value("width"))
            layers += lettered(named, palette, align="right", baseline="bottom", dy=-2)
    return dressed(layers, palette, height=280)


def segments(
    profile_pct: Sequence[float], *, weakest: int | None = None, palette: Palette = LIGHT
) -> dict[str, Any]:
    """Return the averaged height of each segment in percent of the average current; the weakest is named."""
    frame = pd.DataFrame(
        {
            "segment": range(1, len(profile_pct) + 1),
            "height_pct": list(profile_pct),
            "label": [phrase("weakest") if i == weakest else "" for i in range(1, len(profile_pct) + 1)],
        }
    )
    base = Layer(frame).encode(
        x=of("segment:O", title=phrase("segment"), axis=dict(labelAngle=0)),
        y=of("height_pct:Q", axis=y_axis(phrase("height, % of average current")), scale=dict(zero=True)),
        tooltip=[
            of("segment:O"),
            of("height_pct:Q", format=".2f", title=phrase("% of average")),
        ],
    )
    bars = base.mark("bar", color=palette.main).encode(
        fillOpacity=where("datum.label !== ''", 0.35, 0.9),
        stroke=value(palette.main),
    )
    return dressed(
        [bars, base.mark("text", dy=-7, color=palette.ink).encode(text=of("label:N"))], palette, height=200
    )


def turns(frame: pd.DataFrame, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return turns laid over each other by angle; frame: angle_deg, current_a, capture (a label each)."""
    labels = list(dict.fromkeys(frame["capture"]))
    colours = [palette.wear, palette.main, palette.drag][: len(labels)]
    chart = (
        Layer(frame)
        .mark("line", strokeWidth=1.8)
        .encode(
            x=of(
                "angle_deg:Q",
                title="angle of the armature, degrees (start unknown)",
                scale=dict(domain=[0, 360]),
                axis=dict(values=list(range(0, 361, 45))),
            ),
            y=of(
                "current_a:Q",
                axis=y_axis(phrase("current, A")),
                scale=scale_to(*frame["current_a"].agg(["min", "max"])),
            ),
            color=of("capture:N", title=None, scale=dict(domain=labels, range=colours)),
            strokeDash=of("capture:N", title=None, scale=dict(domain=labels, range=[[5, 3], [1, 0], [2, 2]])),
        )
    )
    return dressed([chart], palette, height=260)


def segments_over_time(frame: pd.DataFrame, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return the segment profile visit by visit; frame: visited_on (text), segment, height_pct.

    Each cell also holds its figure, so the picture reads without colour.
    """
    base = Layer(frame).encode(
        x=of("visited_on:O", title="visit", axis=dict(labelAngle=-40)),
        y=of("segment:O", title="segment"),
    )
    cells = base.mark("rect").encode(
        color=of(
            "height_pct:Q",
            title="height, % of average",
            scale=dict(
                domain=[frame["height_pct"].min(), frame["height_pct"].max()],
                range=[palette.paper, palette.filled],
            ),
            legend=None,
        )
    )
    words = base.mark("text", fontSize=12, color=palette.ink).encode(text=of("height_pct:Q", format=".1f"))
    return dressed([cells, words], palette, height=230)
