"""One pump over its distance: metrics with limits and events, drift, the risk split and the years ahead."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.style import dressed, lettered, scale_to, y_axis
from dashboard.palette import LIGHT, Palette

EVENT_SHAPES = {
    "filter": "triangle-down",
    "filter_kept": "triangle-right",
    "wiring": "square",
    "tank_cleaned": "diamond",
    "other": "cross",
    "breakdown": "triangle-up",
    "pump fitted": "arrow",
    "pump removed": "triangle-left",
}
EVENT_WORDS = {
    "pump fitted": "pump fitted",
    "filter": "filter changed",
    "filter_kept": "old filter kept",
    "wiring": "wiring mended",
    "tank_cleaned": "tank cleaned",
    "other": "other work",
    "breakdown": "breakdown",
    "pump removed": "pump removed",
}
NAMED_FROM = 0.2  # share of the bar from which a part has room for its name
STATE_SHAPES = {"idle": "circle", "prime": "square", "loaded": "triangle-up", "not told": "cross"}


def metric_over_distance(
    visits: pd.DataFrame,
    metric: str,
    title: str,
    *,
    distance_title: str,
    normalised: str | None = None,
    raw: bool = True,
    error: str | None = None,
    limits: Mapping[str, float | None] | None = None,
    baseline: tuple[float, float] | None = None,
    events: pd.DataFrame | None = None,
    drift: pd.DataFrame | None = None,
    fan: pd.DataFrame | None = None,
    palette: Palette = LIGHT,
) -> Any:
    """Return one metric over distance.

    visits: columns distance, `metric`, state, visited_on (text), optionally `normalised` and `error` (se);
    raw: whether the readings as taken are drawn; baseline: low and high of the pump's own first readings;
    events: distance, event, text; drift: distance, value; fan: distance, value, low, high, ahead of today.
    """
    rows = visits[visits[metric].notna() & visits["distance"].notna()]
    lines = {name: value for name, value in (limits or {}).items() if value is not None and value == value}
    values = list(rows[metric]) if raw else []
    if normalised:
        values += list(rows[normalised].dropna())
    if fan is not None:
        values += [*fan["low"], *fan["high"]]
    spread = (max(values) - min(values)) if values else 0
    close = {
        n: v
        for n, v in lines.items()
        if values
        and min(values) - 3 * max(spread, 0.02 * abs(v)) <= v <= max(values) + 3 * max(spread, 0.02 * abs(v))
    }
    scale = scale_to(*values, *close.values(), *(baseline or ()))
    y = alt.Y(f"{metric}:Q", axis=y_axis(title), scale=scale)
    x = alt.X("distance:Q", title=distance_title, scale=alt.Scale(zero=False, nice=True))
    layers: list[Any] = []
    if baseline:
        band = pd.DataFrame([{"low": baseline[0], "high": baseline[1]}])
        layers.append(
            alt.Chart(band).mark_rect(color=palette.band, opacity=0.6).encode(y=alt.Y("low:Q"), y2="high:Q")
        )
    if close:
        ruled = pd.DataFrame([{"value": v, "label": n} for n, v in close.items()])
        layers.append(alt.Chart(ruled).mark_rule(strokeDash=[2, 3], color=palette.faint).encode(y="value:Q"))
    if events is not None and len(events):
        layers.append(_events(events, palette))
    if fan is not None and len(fan):
        ahead = alt.Chart(fan).encode(x="distance:Q")
        layers.append(ahead.mark_area(color=palette.wear, opacity=0.22).encode(y="low:Q", y2="high:Q"))
        layers.append(
            ahead.mark_line(color=palette.wear, strokeDash=[6, 4], strokeWidth=2).encode(y="value:Q")
        )
    if drift is not None and len(drift):
        layers.append(
            alt.Chart(drift)
            .mark_line(color=palette.wear, strokeDash=[6, 4], strokeWidth=2)
            .encode(x="distance:Q", y="value:Q")
        )
    if error and raw:
        bars = rows.assign(_low=rows[metric] - 2 * rows[error], _high=rows[metric] + 2 * rows[error])
        layers.append(
            alt.Chart(bars[bars[error].notna()])
            .mark_rule(color=palette.main, opacity=0.6)
            .encode(x=x, y=alt.Y("_low:Q"), y2="_high:Q")
        )
    if normalised and rows[normalised].notna().any():
        layers.append(
            alt.Chart(rows[rows[normalised].notna()])
            .mark_line(color=palette.drag, strokeWidth=1.5, point={"filled": True, "size": 28})
            .encode(x=x, y=alt.Y(f"{normalised}:Q", axis=y_axis(title), scale=scale))
        )
    if raw:
        layers.append(
            alt.Chart(rows.assign(state=rows["state"].fillna("not told")))
            .mark_point(size=70, filled=False, strokeWidth=2, color=palette.main)
            .encode(
                x=x,
                y=y,
                shape=alt.Shape(
                    "state:N",
                    title="engine",
                    scale=alt.Scale(domain=list(STATE_SHAPES), range=list(STATE_SHAPES.values())),
                    legend=None,
                ),
                tooltip=[
                    alt.Tooltip("visited_on:N", title="visit"),
                    alt.Tooltip("distance:Q", format=",.0f", title=distance_title),
                    alt.Tooltip(f"{metric}:Q", format=",.2f", title=title),
                    alt.Tooltip("state:N", title="engine"),
                ],
            )
        )
    if close:
        named = alt.Chart(ruled).encode(y="value:Q", x=alt.value("width"))
        layers.append(lettered(named, palette, align="right", baseline="bottom", dx=-2, dy=-2))
    return dressed(alt.layer(*layers).resolve_scale(shape="independent"), palette, height=230)


def _events(events: pd.DataFrame, palette: Palette) -> Any:
    """Return a rule and a shape for each event; the legend names the shapes, so that no words collide."""
    shown = events.assign(event=events["event"].map(lambda name: EVENT_WORDS.get(name, name)))
    kinds = [word for name, word in EVENT_WORDS.items() if word in set(shown["event"])]
    shapes = {EVENT_WORDS[name]: shape for name, shape in EVENT_SHAPES.items()}
    base = alt.Chart(shown).encode(x="distance:Q", tooltip=["event:N", "text:N"])
    rules = base.mark_rule(color=palette.rule, strokeWidth=1.5)
    marks = base.mark_point(size=80, color=palette.other, filled=True, opacity=1, yOffset=-8).encode(
        y=alt.value("height"),
        shape=alt.Shape(
            "event:N",
            legend=alt.Legend(title=None, columns=4, symbolFillColor=palette.other, symbolStrokeWidth=0),
            scale=alt.Scale(domain=kinds, range=[shapes[kind] for kind in kinds]),
        ),
    )
    return rules + marks


def risk_split(parts: pd.DataFrame, *, palette: Palette = LIGHT) -> Any:
    """Return the risk as one bar in points, each part of some width named above it; parts: part (wear, drag,
    sudden), points."""
    names = {"wear": "brush and commutator wear", "drag": "drag", "sudden": "unpredictable"}
    order = list(names)
    rows = parts.assign(order=parts["part"].map(order.index), name=parts["part"].map(names))
    rows = rows.sort_values("order")
    rows = rows.assign(begins=rows["points"].cumsum() - rows["points"])
    base = alt.Chart(rows)
    bars = base.mark_bar(size=24, stroke=palette.paper, strokeWidth=1).encode(
        x=alt.X("points:Q", title="points of risk, %", stack="zero"),
        y=alt.value(32),
        color=alt.Color(
            "name:N",
            title=None,
            legend=alt.Legend(columns=3),
            scale=alt.Scale(domain=list(names.values()), range=[palette.wear, palette.drag, palette.sudden]),
        ),
        order=alt.Order("order:O"),
        tooltip=["name:N", alt.Tooltip("points:Q", format=".1f")],
    )
    wide = rows[rows["points"] >= NAMED_FROM * rows["points"].sum()]
    named = wide.assign(label=[f"{n} {p:.1f}" for n, p in zip(wide["name"], wide["points"], strict=True)])
    words = alt.Chart(named).encode(x=alt.X("begins:Q", title="points of risk, %"), y=alt.value(12))
    return dressed(bars + lettered(words, palette, size=12, align="left", dx=1), palette, height=150)


def survival_ahead(
    curve: pd.DataFrame,
    *,
    distance_title: str,
    marks: dict[str, float] | None = None,
    palette: Palette = LIGHT,
) -> Any:
    """Return the chance that the pump still runs over the distance ahead.

    curve: distance, running (0-1), pump ("this pump", "a new pump"); marks: label -> distance.
    """
    labels = list(dict.fromkeys(curve["pump"]))
    layers: list[Any] = [
        alt.Chart(curve)
        .mark_line(strokeWidth=2.2)
        .encode(
            x=alt.X("distance:Q", title=distance_title, scale=alt.Scale(nice=False)),
            y=alt.Y(
                "running:Q",
                axis=y_axis("chance it still runs", format="%"),
                scale=alt.Scale(domain=[0, 1]),
            ),
            color=alt.Color(
                "pump:N", title=None, scale=alt.Scale(domain=labels, range=[palette.main, palette.faint])
            ),
            strokeDash=alt.StrokeDash(
                "pump:N", title=None, scale=alt.Scale(domain=labels, range=[[1, 0], [4, 4]])
            ),
        )
    ]
    if marks:
        ruled = pd.DataFrame([{"distance": v, "label": k} for k, v in marks.items() if v == v])
        if len(ruled):
            layers.append(alt.Chart(ruled).mark_rule(color=palette.rule).encode(x="distance:Q"))
            named = alt.Chart(ruled).encode(x="distance:Q", y=alt.value("height"))
            layers.append(lettered(named, palette, align="left", baseline="bottom", dx=4, dy=-4))
    return dressed(alt.layer(*layers), palette, height=240)
