"""The plan by week: hours wanted against hours free."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.charts.grammar import Layer, of
from dashboard.charts.style import dressed, y_axis
from dashboard.shell.palette import LIGHT, Palette

ROOM = 1.06  # above the highest tick, or its upper half is cut
HEIGHT_PX = 190  # the axis with its title takes some 60 of them


def hours_by_week(
    frame: pd.DataFrame, *, weeks: list[str], most: float, palette: Palette = LIGHT
) -> dict[str, Any]:
    """Return one depot's bay hours by week; frame: week_of (text), depot, hours_planned, hours_free.

    weeks: those drawn, and most: the top of the scale, the same for all depots.
    """
    base = Layer(frame).encode(
        x=of(
            "week_of:O",
            title="week from Monday",
            scale=dict(domain=weeks),
            axis=dict(labelAngle=0, labelOverlap=True, labelExpr="slice(datum.label, 5)"),
        )
    )
    bars = base.mark("bar", color=palette.main).encode(
        y=of(
            "hours_planned:Q",
            axis=y_axis(f"hours, {frame['depot'].iloc[0]}", tickCount=4),
            scale=dict(domain=[0, ROOM * most], nice=False),
        ),
        tooltip=[
            of("depot:N"),
            of("week_of:O"),
            of("hours_planned:Q", format=".1f"),
            of("hours_free:Q"),
        ],
    )
    ticks = base.mark("tick", color=palette.ink, thickness=2, width=18).encode(y=of("hours_free:Q"))
    return dressed([bars, ticks], palette, height=HEIGHT_PX)
