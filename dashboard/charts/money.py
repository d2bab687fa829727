"""What pumps cost: by year, by policy, by age, and how the answer moves with a price."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.style import dressed, y_axis
from dashboard.palette import LIGHT, Palette


def spent(frame: pd.DataFrame, currency: str, *, palette: Palette = LIGHT) -> Any:
    """Return known spending by period; frame: period (text), kind ("planned", "on the road"), amount."""
    kinds = ["planned", "on the road"]
    chart = (
        alt.Chart(frame.assign(order=frame["kind"].map(kinds.index)))
        .mark_bar(stroke=palette.paper, strokeWidth=1)
        .encode(
            x=alt.X("period:O", title=None, axis=alt.Axis(labelAngle=0)),
            y=alt.Y("amount:Q", axis=y_axis(f"spent, {currency}", format=",.0f")),
            color=alt.Color(
                "kind:N", title=None, scale=alt.Scale(domain=kinds, range=[palette.main, palette.wear])
            ),
            order="order:O",
            tooltip=["period:O", "kind:N", alt.Tooltip("amount:Q", format=",.0f")],
        )
    )
    return dressed(chart, palette, height=240)


def policies(frame: pd.DataFrame, currency: str, per: str, *, palette: Palette = LIGHT) -> Any:
    """Return cost by policy with its interval; frame: policy, cost, cost_low, cost_high, in list order."""
    order = list(frame["policy"])
    base = alt.Chart(frame).encode(y=alt.Y("policy:N", sort=order, title=None))
    dots = base.mark_point(filled=True, size=90, color=palette.main, opacity=1).encode(
        x=alt.X("cost:Q", title=f"{currency} {per}", scale=alt.Scale(zero=True)),
        tooltip=["policy:N", alt.Tooltip("cost:Q", format=",.1f")],
    )
    lines = base.mark_rule(color=palette.main, strokeWidth=2).encode(x=alt.X("cost_low:Q"), x2="cost_high:Q")
    words = base.mark_text(align="left", dx=8, dy=-9, color=palette.ink, fontSize=12).encode(
        x="cost:Q", text=alt.Text("cost:Q", format=",.1f")
    )
    return dressed(lines + dots + words, palette, height=46 * max(len(frame), 2) + 40)


def cost_by_age(
    frame: pd.DataFrame,
    currency: str,
    *,
    distance_title: str,
    best: float | None = None,
    palette: Palette = LIGHT,
) -> Any:
    """Return long-run cost against replacement age; frame: distance, cost, optionally cost_low, cost_high."""
    x = alt.X("distance:Q", title=distance_title)
    layers: list[Any] = []
    if "cost_low" in frame:
        layers.append(
            alt.Chart(frame)
            .mark_area(color=palette.band, opacity=0.7)
            .encode(x=x, y=alt.Y("cost_low:Q"), y2="cost_high:Q")
        )
    layers.append(
        alt.Chart(frame)
        .mark_line(color=palette.main, strokeWidth=2)
        .encode(
            x=x, y=alt.Y("cost:Q", axis=y_axis(f"cost, {currency} per distance"), scale=alt.Scale(zero=False))
        )
    )
    if best is not None and best == best:
        mark = pd.DataFrame([{"distance": best, "label": "least cost"}])
        layers.append(
            alt.Chart(mark).mark_rule(color=palette.faint, strokeDash=[2, 3]).encode(x="distance:Q")
        )
        layers.append(
            alt.Chart(mark)
            .mark_text(align="left", dx=4, color=palette.faint, fontSize=11)
            .encode(x="distance:Q", y=alt.value(8), text="label:N")
        )
    return dressed(alt.layer(*layers), palette, height=240)
