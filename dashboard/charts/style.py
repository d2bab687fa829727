"""What every chart shares: quiet axes, ruled-paper grid, colours of the palette in use."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboard.charts.grammar import Layer, of
from dashboard.shell.palette import Palette

FONT = "Source Sans, system-ui, sans-serif"
NEAR_END_PX = 22  # a figure so near the end of its axis ends at its tick, or a narrow screen cuts it
X_TICKS = 8  # at most about so many figures along, also on a wide screen


def dressed(layers: Sequence[Layer], palette: Palette, *, height: int, **more: Any) -> dict[str, Any]:
    """Return layers, the first at the bottom, as a chart with our axes, grid and text.

    height: px; more: what else the grammar is told of the whole.
    """
    return {
        "layer": [layer.written() for layer in layers],
        "height": height,
        "config": config_of(palette),
    } | more


def config_of(palette: Palette) -> dict[str, Any]:
    """Return how axes, grid, legend and text look."""
    return {
        "background": "transparent",
        "font": FONT,
        "view": {"strokeWidth": 0},
        "axis": {
            "labelColor": palette.faint,
            "titleColor": palette.faint,
            "gridColor": palette.rule,
            "domainColor": palette.rule,
            "tickColor": palette.rule,
            "labelFontSize": 12,
            "titleFontSize": 12,
            "titleFontWeight": "normal",
            "labelLimit": 220,
        },
        "axisXQuantitative": {
            "tickCount": X_TICKS, "labelOverlap": "greedy", "labelSeparation": 10,
            "labelFlush": NEAR_END_PX,
        },
        "legend": {
            "labelColor": palette.ink,
            "titleColor": palette.faint,
            "labelFontSize": 12,
            "titleFontSize": 12,
            "titleFontWeight": "normal",
            "orient": "bottom",
            "labelLimit": 260,
            "columns": 2,
        },
        "header": {"labelColor": palette.ink, "titleColor": palette.faint},
        "text": {"color": palette.ink},
        "mark": {"aria": False},  # each chart has its sentence; single marks without one say nothing
    }  # fmt: skip


def lettered(base: Layer, palette: Palette, *, size: int = 11, **mark: Any) -> list[Layer]:
    """Return the layers that write the column `label` where `base` encodes it, edged in the page's own
    colour.

    Drawn last, they stay legible over lines and areas.
    """
    written = base.encode(text=of("label:N"))
    edge = {"stroke": palette.paper, "strokeWidth": 4, "strokeJoin": "round", "opacity": 0.85}
    return [
        written.mark("text", fontSize=size, **edge, **mark),
        written.mark("text", fontSize=size, color=palette.faint, **mark),
    ]


def apart(heights: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return where words for marks at these heights stand so that none lies on another: each at its mark or
    as little beside it as the gap asks, between low and high, all in units of the scale."""
    order = sorted(range(len(heights)), key=lambda i: heights[i])
    placed, floor = list(heights), low
    for i in order:
        placed[i] = floor = max(heights[i], floor)
        floor += gap
    ceiling = high
    for i in reversed(order):
        placed[i] = ceiling = min(placed[i], ceiling)
        ceiling -= gap
    return placed


def outlined(palette: Palette) -> dict[str, Any]:
    """Return what a pale area behind data is marked with: its outline is seen where its shade is not."""
    return {"color": palette.band, "stroke": palette.edge, "strokeWidth": 0.8}


def y_axis(title: str, **more: Any) -> dict[str, Any]:
    """Return a value axis with its title lying flat above it, easier to read than a turned one."""
    return dict(title=title, titleAngle=0, titleAlign="left", titleAnchor="end", titleY=-12, titleX=0, **more)


def scale_to(*values: Any, margin: float = 0.08, zero: bool = False) -> dict[str, Any]:
    """Return a scale that holds all given numbers (None and NaN left out) with a margin."""
    numbers = [float(v) for v in values if v is not None and v == v]
    if not numbers:
        return dict(zero=zero)
    low, high = min(numbers), max(numbers)
    pad = (high - low or abs(high) or 1) * margin
    return dict(domain=[0 if zero else low - pad, high + pad], nice=True, zero=zero)
