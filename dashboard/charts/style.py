"""What every chart shares: quiet axes, ruled-paper grid, colours of the palette in use.

Charts name what they encode as alt.X("distance:Q"), never as x="distance:Q": the library takes 3 ms of
processor time to find out what each such text may mean, up to half of a page's.
"""

from __future__ import annotations

from typing import Any

import altair as alt
from altair.utils import schemapi

from dashboard.shell.palette import Palette

# Tests hold our charts against the grammar's schema; doing so for each part of each chart that is drawn took
# a quarter of a page's time.
schemapi.disable_debug_mode()

FONT = "Source Sans, system-ui, sans-serif"
X_TICKS = 8  # at most about so many figures along, also on a wide screen


def dressed(chart: Any, palette: Palette, *, height: int | None = 260) -> Any:
    """Return the chart, which was made for this call, with our axes, grid and text; None leaves the height.

    Set in place: the library's configure_ methods each copy the whole chart, which took longer than all else.
    """
    if height is not None:
        chart.height = height
    chart.config = alt.Config(
        background="transparent",
        font=FONT,
        view=alt.ViewConfig(strokeWidth=0),
        axis=alt.AxisConfig(
            labelColor=palette.faint,
            titleColor=palette.faint,
            gridColor=palette.rule,
            domainColor=palette.rule,
            tickColor=palette.rule,
            labelFontSize=12,
            titleFontSize=12,
            titleFontWeight="normal",
            labelLimit=220,
        ),
        axisXQuantitative=alt.AxisConfig(
            tickCount=X_TICKS, labelOverlap="greedy", labelSeparation=10, labelFlush=True
        ),
        legend=alt.LegendConfig(
            labelColor=palette.ink,
            titleColor=palette.faint,
            labelFontSize=12,
            titleFontSize=12,
            titleFontWeight="normal",
            orient="bottom",
            labelLimit=260,
            columns=2,
        ),
        header=alt.HeaderConfig(labelColor=palette.ink, titleColor=palette.faint),
        text=alt.MarkConfig(color=palette.ink),
        mark=alt.MarkConfig(aria=False),  # each chart has its sentence; single marks without one say nothing
    )
    return chart


def lettered(base: Any, palette: Palette, *, size: int = 11, **mark: Any) -> Any:
    """Return the column `label` written where `base` encodes it, edged in the page's own colour.

    Drawn last, it stays legible over lines and areas.
    """
    written = base.encode(text=alt.Text("label:N"))
    edge = written.mark_text(
        fontSize=size, stroke=palette.paper, strokeWidth=4, strokeJoin="round", opacity=0.85, **mark
    )
    return edge + written.mark_text(fontSize=size, color=palette.faint, **mark)


def outlined(palette: Palette) -> dict[str, Any]:
    """Return what a pale area behind data is marked with: its outline is seen where its shade is not."""
    return {"color": palette.band, "stroke": palette.edge, "strokeWidth": 0.8}


def y_axis(title: str, **more: Any) -> alt.Axis:
    """Return a value axis with its title lying flat above it, easier to read than a turned one."""
    return alt.Axis(
        title=title, titleAngle=0, titleAlign="left", titleAnchor="end", titleY=-12, titleX=0, **more
    )


def scale_to(*values: Any, margin: float = 0.08, zero: bool = False) -> alt.Scale:
    """Return a scale that holds all given numbers (None and NaN left out) with a margin."""
    numbers = [float(v) for v in values if v is not None and v == v]
    if not numbers:
        return alt.Scale(zero=zero)
    low, high = min(numbers), max(numbers)
    pad = (high - low or abs(high) or 1) * margin
    return alt.Scale(domain=[0 if zero else low - pad, high + pad], nice=True, zero=zero)
