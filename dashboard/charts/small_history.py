"""A pump's last visits as three low lines beside a list, drawn anew at every filter."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.charts.style import config_of
from dashboard.shell.palette import LIGHT, Palette

SMALL = (("mean_a", "A", ".2f"), ("ripple_pct", "% ripple", ".1f"), ("rpm", "rpm", ",.0f"))
LAST_VISITS = 12
HEIGHT_PX = 52
_X = {"field": "visited_on", "type": "temporal"}


def small(visits: pd.DataFrame, *, palette: Palette = LIGHT) -> dict[str, Any] | None:
    """Return the last visits' current, ripple and speed as three low lines, each on its own scale, the first
    and the last figure written at its ends; None under two readings. visits: rows of visits_of_pump."""
    rows = visits[visits["in_trend"] & visits["mean_a"].notna()].tail(LAST_VISITS)
    lines: list[dict[str, Any]] = []
    for metric, unit, form in SMALL:
        told = rows[rows[metric].notna()]
        if len(told) < 2:
            continue
        days = pd.to_datetime(told["visited_on"]).dt.strftime("%Y-%m-%dT00:00:00")
        values = [
            {"visited_on": day, metric: float(value)} for day, value in zip(days, told[metric], strict=True)
        ]
        first, last = (values[i] | {"label": f"{values[i][metric]:{form}}"} for i in (0, -1))
        axis = {"format": "%Y-%m", "grid": False, "tickCount": 3} if not lines else None
        x = _X | {"axis": axis, "title": None}
        y = {"axis": None, "field": metric, "type": "quantitative"}
        line = {
            "data": {"values": values},
            "mark": {
                "type": "line", "color": palette.main, "strokeWidth": 1.8,
                "point": {"size": 24, "filled": True},
            },
            "encoding": {"x": x, "y": y | {"scale": {"padding": 8, "zero": False}}},
        }  # fmt: skip
        run = told[metric].to_list()
        words = [
            _written(first, "left", y, palette, below=run[1] > run[0]),
            _written(last | {"label": f"{last['label']} {unit}"}, "right", y, palette,
                     below=run[-2] > run[-1]),
        ]  # fmt: skip
        lines.append({"layer": [line, *words], "height": HEIGHT_PX, "width": "container"})
    if not lines:
        return None
    config = config_of(palette)
    return {
        "config": config, "vconcat": lines[::-1], "spacing": 14, "resolve": {"scale": {"x": "shared"}},
    }  # fmt: skip


def _written(
    end: dict[str, Any], align: str, y: dict[str, Any], palette: Palette, *, below: bool
) -> dict[str, Any]:
    """A figure at an end of a line, on the side that the line leaves free, edged in the page's own colour."""
    side = {"baseline": "top", "dy": 5} if below else {"baseline": "bottom", "dy": -5}
    mark = {"type": "text", "align": align, "fontSize": 12} | side
    edge = {"stroke": palette.paper, "strokeWidth": 4, "strokeJoin": "round", "opacity": 0.85}
    return {
        "data": {"values": [end]},
        "encoding": {"text": {"field": "label", "type": "nominal"}, "x": _X, "y": y},
        "layer": [{"mark": mark | edge}, {"mark": mark | {"color": palette.faint}}],
    }
