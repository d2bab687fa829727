"""The plan by week: hours wanted against hours free."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.style import dressed, y_axis
from dashboard.shell.palette import LIGHT, Palette

ROOM = 1.06  # above the highest tick, or its upper half is cut
HEIGHT_PX = 190  # the axis with its title takes some 60 of them


def hours_by_week(frame: pd.DataFrame, *, weeks: list[str], most: float, palette: Palette = LIGHT) -> Any:
    """Return one depot's bay hours by week; frame: week_of (text), depot, hours_planned, hours_free.

    weeks: those drawn, and most: the top of the scale, the same for all depots.
    """
    base = alt.Chart(frame).encode(
        x=alt.X(
            "week_of:O",
            title="week from Monday",
            scale=alt.Scale(domain=weeks),
            axis=alt.Axis(labelAngle=0, labelOverlap=True, labelExpr="slice(datum.label, 5)"),
        )
    )
    bars = base.mark_bar(color=palette.main).encode(
        y=alt.Y(
            "hours_planned:Q",
            axis=y_axis(f"hours, {frame['depot'].iloc[0]}", tickCount=4),
            scale=alt.Scale(domain=[0, ROOM * most], nice=False),
        ),
        tooltip=[
            alt.Tooltip("depot:N"),
            alt.Tooltip("week_of:O"),
            alt.Tooltip("hours_planned:Q", format=".1f"),
            alt.Tooltip("hours_free:Q"),
        ],
    )
    ticks = base.mark_tick(color=palette.ink, thickness=2, width=18).encode(y=alt.Y("hours_free:Q"))
    return dressed(bars + ticks, palette, height=HEIGHT_PX)
