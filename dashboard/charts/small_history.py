"""A pump's last visits as three low lines beside a list: plain SVG, for they are drawn anew at every filter,
and a chart of the grammar takes the browser longer than the list does."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import pandas as pd

from dashboard.shell.palette import LIGHT, Palette

SMALL = (("rpm", "rpm", ",.0f"), ("ripple_pct", "% ripple", ".1f"), ("mean_a", "A", ".2f"))
LAST_VISITS = 12
WIDE, EACH, GAP, FOOT = 360, 58, 8, 18  # px of the picture, of a line's strip, between strips, for the days
PAD_X, PAD_Y, FEWEST = 6, 19, 2


def small(visits: pd.DataFrame, *, palette: Palette = LIGHT) -> str | None:
    """Return the last visits' current, ripple and speed as three low lines in SVG, each on its own scale, the
    first and the last figure written at its ends; None under two readings.

    visits: rows of visits_of_pump.
    """
    rows = visits[visits["in_trend"] & visits["mean_a"].notna()].tail(LAST_VISITS)
    told = [(rows[rows[metric].notna()], metric, unit, form) for metric, unit, form in SMALL]
    told = [line for line in told if len(line[0]) >= FEWEST]
    if not told:
        return None
    days = pd.to_datetime(rows["visited_on"])
    first, span_s = days.iloc[0], max((days.iloc[-1] - days.iloc[0]).total_seconds(), 1.0)
    parts = []
    for place, (line, metric, unit, form) in enumerate(told):
        since_s = (pd.to_datetime(line["visited_on"]) - first).dt.total_seconds()
        x = (PAD_X + (WIDE - 2 * PAD_X) * since_s / span_s).to_list()
        values = line[metric].astype(float).to_list()
        y = _heights(values, place * (EACH + GAP))
        run = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
        parts.append(f"<polyline points='{run}' fill='none' stroke='{palette.main}' stroke-width='1.8'/>")
        parts += [
            f"<circle cx='{a:.1f}' cy='{b:.1f}' r='2.6' fill='{palette.main}'/>"
            for a, b in zip(x, y, strict=True)
        ]
        ends = f"{values[0]:{form}}", f"{values[-1]:{form}} {unit}"
        parts.append(_written(ends[0], x[0], y[0], "start", below=values[1] > values[0]))
        parts.append(_written(ends[1], x[-1], y[-1], "end", below=values[-2] > values[-1]))
    high = len(told) * (EACH + GAP) + FOOT
    for text, x_px, anchor in (
        (f"{first:%Y-%m}", PAD_X, "start"),
        (f"{days.iloc[-1]:%Y-%m}", WIDE - PAD_X, "end"),
    ):
        parts.append(f"<text x='{x_px}' y='{high - 4}' text-anchor='{anchor}'>{text}</text>")
    return (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDE} {high}' font-size='12'"
        f" font-family='sans-serif' fill='{palette.ink}'>{''.join(parts)}</svg>"
    )


def _heights(values: Sequence[float], top_px: float) -> list[float]:
    """Return each value's place in its strip, the highest at its top; level values in the middle."""
    low, high = min(values), max(values)
    room = EACH - 2 * PAD_Y
    return [
        top_px + PAD_Y + room * ((high - value) / (high - low) if high > low else 0.5) for value in values
    ]


def _written(text: str, x: float, y: float, anchor: str, *, below: bool) -> str:
    """A figure at an end of a line, on the side that the line leaves free."""
    return (
        f"<text x='{x:.1f}' y='{y + (16 if below else -7):.1f}' text-anchor='{anchor}'>{escape(text)}</text>"
    )
