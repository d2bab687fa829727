"""Small charts for paper and mail: plain SVG, drawn here, that needs no script and nothing from outside."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import pandas as pd

from ingest.wording.language import phrase

WIDTH, HEIGHT = 660, 132
LEFT, RIGHT, TOP, BOTTOM = 52, 8, 8, 22
INK, FAINT, RULE = "#22303a", "#4d565f", "#dddddd"
DARK, PALE, HATCH = "#1d5c63", "#7d9a99", "#a85a00"
BAND = "#e3d9c0"
TRACE_BINS = 600


def bars(
    labels: Sequence[str],
    series: dict[str, Sequence[float]],
    *,
    words: str,
    marks: Sequence[float] | None = None,
    mark_name: str = "",
    ranges: Sequence[tuple[float, float]] | None = None,
) -> str:
    """Return stacked bars with a value axis from 0, each series named in its own shade.

    labels: under the bars; words: what it shows, for those who can't see it; marks: a short line over each
    bar (NaN: none), named mark_name; ranges: a thin upright line from low to high at each bar.
    """
    shades = dict(zip(series, (DARK, PALE, HATCH), strict=False))
    tops = [sum(max(v, 0.0) for v in column) for column in zip(*series.values(), strict=True)]
    beside = [v for v in (marks or []) if v == v] + [high for _, high in (ranges or [])]
    step, most = ticks(max([*tops, *beside, 0.0]))
    room, height = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM
    wide = room / max(len(labels), 1)

    def y(value: float) -> float:
        return TOP + height * (1 - value / most)

    parts = []
    at = 0.0
    while at <= most * 1.0001:
        parts.append(
            f"<line x1='{LEFT}' x2='{WIDTH - RIGHT}' y1='{y(at):.1f}' y2='{y(at):.1f}' stroke='{RULE}'/>"
            f"<text x='{LEFT - 5}' y='{y(at) + 3:.1f}' text-anchor='end'>{at:,.{places(step)}f}</text>"
        )
        at += step
    every = max(1, -(-len(labels) // 13))
    for i, label in enumerate(labels):
        x, base = LEFT + i * wide + wide * 0.15, 0.0
        for name, values in series.items():
            value = max(float(values[i]), 0.0) if values[i] == values[i] else 0.0
            if value:
                parts.append(
                    f"<rect x='{x:.1f}' y='{y(base + value):.1f}' width='{wide * 0.7:.1f}' "
                    f"height='{y(base) - y(base + value):.1f}' fill='{shades[name]}'/>"
                )
            base += value
        middle = x + wide * 0.35
        if ranges:
            low, high = ranges[i]
            parts.append(
                f"<line x1='{middle:.1f}' x2='{middle:.1f}' y1='{y(low):.1f}' y2='{y(high):.1f}' "
                f"stroke='{INK}' stroke-width='1.2'/>"
            )
        if marks is not None and marks[i] == marks[i]:
            parts.append(
                f"<line x1='{x - 2:.1f}' x2='{x + wide * 0.7 + 2:.1f}' y1='{y(marks[i]):.1f}' "
                f"y2='{y(marks[i]):.1f}' stroke='{HATCH}' stroke-width='2'/>"
            )
        if (len(labels) - 1 - i) % every == 0:
            place = f"x='{middle:.1f}' y='{HEIGHT - 8}' text-anchor='middle'"
            parts.append(f"<text {place}>{escape(label)}</text>")
    return (
        f"<svg viewBox='0 0 {WIDTH} {HEIGHT}' width='100%' role='img' "
        f"aria-label='{escape(words, quote=True)}' "
        f"xmlns='http://www.w3.org/2000/svg'><g font-family='DejaVu Sans, Arial, sans-serif' font-size='9' "
        f"fill='{FAINT}'>{''.join(parts)}</g></svg>{_key(shades, mark_name if marks is not None else '')}"
    )


def trace(rows: pd.DataFrame, *, words: str, turn_ms: tuple[float, float] | None = None) -> str:
    """Return a trace from rows of time_ms, low_a, high_a (parts.envelope), one turn as a shaded band."""
    from_ms, to_ms = float(rows["time_ms"].iloc[0]), float(rows["time_ms"].iloc[-1])
    low, high = float(rows["low_a"].min()), float(rows["high_a"].max())
    pad = 0.06 * (high - low or abs(high) or 1.0)
    low, high = low - pad, high + pad
    room, height = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM

    def x(ms: float) -> float:
        return LEFT + room * (min(max(ms, from_ms), to_ms) - from_ms) / (to_ms - from_ms)

    def y(amps: float) -> float:
        return TOP + height * (high - amps) / (high - low)

    parts = []
    if turn_ms is not None:
        a, b = x(turn_ms[0]), x(turn_ms[1])
        parts.append(
            f"<rect x='{a:.1f}' y='{TOP}' width='{b - a:.1f}' height='{height}' fill='{BAND}'/>"
            f"<text x='{a + 3:.1f}' y='{TOP + 9}'>{phrase('one turn')}</text>"
        )
    step = ticks(high - low)[0]
    at = step * -(-low // step)
    while at <= high:
        parts.append(
            f"<line x1='{LEFT}' x2='{WIDTH - RIGHT}' y1='{y(at):.1f}' y2='{y(at):.1f}' stroke='{RULE}'/>"
            f"<text x='{LEFT - 5}' y='{y(at) + 3:.1f}' text-anchor='end'>{at:,.{places(step)}f}</text>"
        )
        at += step
    drawn = rows[["time_ms", "low_a", "high_a"]].to_numpy()
    above = [f"{x(ms):.1f},{y(top):.1f}" for ms, _, top in drawn]
    below = [f"{x(ms):.1f},{y(bottom):.1f}" for ms, bottom, _ in drawn[::-1]]
    parts.append(
        f"<polygon points='{' '.join(above + below)}' fill='{DARK}' stroke='{DARK}' stroke-width='.8'/>"
        f"<text x='{LEFT}' y='{HEIGHT - 8}'>{from_ms:,.1f} ms</text>"
        f"<text x='{WIDTH - RIGHT}' y='{HEIGHT - 8}' text-anchor='end'>{to_ms:,.1f} ms, "
        f"{phrase('current in A')}</text>"
    )
    return (
        f"<svg viewBox='0 0 {WIDTH} {HEIGHT}' width='100%' role='img' "
        f"aria-label='{escape(words, quote=True)}' "
        f"xmlns='http://www.w3.org/2000/svg'><g font-family='DejaVu Sans, Arial, sans-serif' font-size='9' "
        f"fill='{FAINT}'>{''.join(parts)}</g></svg>"
    )


def _key(shades: dict[str, str], mark_name: str) -> str:
    named = [
        f"<span><i style='background:{shade}'></i>{escape(name)}</span>" for name, shade in shades.items()
    ]
    if mark_name:
        named.append(f"<span><i class='mark' style='background:{HATCH}'></i>{escape(mark_name)}</span>")
    return f"<p class='key'>{' '.join(named)}</p>"


def ticks(most: float) -> tuple[float, float]:
    """Return a round step and the top of an axis from 0 that holds `most` in three to six steps."""
    if not most > 0:
        return 1.0, 1.0
    power = 10.0 ** len(str(int(most))) / 10 if most >= 1 else 1.0
    while power > most:
        power /= 10
    for times in (0.2, 0.25, 0.5, 1.0, 2.0, 2.5, 5.0):
        step = power * times
        if most / step <= 5:
            break
    return step, step * -(-most // step)


def places(step: float) -> int:
    """Return the decimals that a step needs."""
    return next((n for n in range(4) if abs(round(step, n) - step) < 1e-9), 4)
