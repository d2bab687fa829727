"""One pump over its distance: metrics with limits and events, drift, the risk split and the years ahead."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import altair as alt
import pandas as pd

from dashboard.charts.style import dressed, lettered, scale_to, y_axis
from dashboard.shell.palette import LIGHT, Palette

EVENT_SHAPES = {
    "filter": "triangle-down",
    "filter_kept": "triangle-right",
    "wiring": "square",
    "tank_cleaned": "diamond",
    "strainer": "diamond",
    "hose": "square",
    "regulator": "square",
    "connector": "square",
    "fuel": "circle",
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
    "strainer": "strainer renewed",
    "hose": "hose renewed",
    "regulator": "regulator renewed",
    "connector": "connector renewed",
    "fuel": "fuel renewed",
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
    values = [*rows[metric]] if raw else []
    values += [*rows[normalised].dropna()] if normalised else []
    values += [*fan["low"], *fan["high"]] if fan is not None else []
    close = _within_sight(limits or {}, values)
    scale = scale_to(*values, *close.values(), *(baseline or ()))
    x = alt.X("distance:Q", title=distance_title, scale=alt.Scale(zero=False, nice=True))
    axis = y_axis(title)
    ruled = pd.DataFrame([{"value": v, "label": n} for n, v in close.items()])
    layers: list[Any] = []
    if baseline:
        band = alt.Chart(pd.DataFrame([{"low": baseline[0], "high": baseline[1]}]))
        layers.append(band.mark_rect(color=palette.band, opacity=0.6).encode(y=alt.Y("low:Q"), y2="high:Q"))
    if close:
        layers.append(alt.Chart(ruled).mark_rule(strokeDash=[2, 3], color=palette.faint).encode(y="value:Q"))
    if events is not None and len(events):
        layers.append(_events(events, palette))
    if fan is not None and len(fan):
        spread = alt.Chart(fan).mark_area(color=palette.wear, opacity=0.22)
        layers += [spread.encode(x="distance:Q", y="low:Q", y2="high:Q"), _dashed(fan, palette)]
    if drift is not None and len(drift):
        layers.append(_dashed(drift, palette))
    if error and raw:
        layers.append(_error_bars(rows, metric, error, x, palette))
    if normalised and rows[normalised].notna().any():
        line = alt.Chart(rows[rows[normalised].notna()]).mark_line(
            color=palette.drag, strokeWidth=1.5, point={"filled": True, "size": 28}
        )
        layers.append(line.encode(x=x, y=alt.Y(f"{normalised}:Q", axis=axis, scale=scale)))
    if raw:
        y = alt.Y(f"{metric}:Q", axis=axis, scale=scale)
        layers.append(_readings(rows, x, y, (metric, title), distance_title, palette))
    if close:
        named = alt.Chart(ruled).encode(y="value:Q", x=alt.value("width"))
        layers.append(lettered(named, palette, align="right", baseline="bottom", dx=-2, dy=-2))
    return dressed(alt.layer(*layers).resolve_scale(shape="independent"), palette, height=230)


def _within_sight(limits: Mapping[str, float | None], values: list[float]) -> dict[str, float]:
    """Return the limits near enough to the values to be drawn without flattening them."""
    if not values:
        return {}
    low, high = min(values), max(values)
    near = {}
    for name, limit in limits.items():
        if limit is not None and limit == limit:
            room = 3 * max(high - low, 0.02 * abs(limit))
            if low - room <= limit <= high + room:
                near[name] = limit
    return near


def _dashed(line: pd.DataFrame, palette: Palette) -> Any:
    chart = alt.Chart(line).mark_line(color=palette.wear, strokeDash=[6, 4], strokeWidth=2)
    return chart.encode(x="distance:Q", y="value:Q")


def _error_bars(rows: pd.DataFrame, metric: str, error: str, x: Any, palette: Palette) -> Any:
    """Two standard errors either way."""
    told = rows[rows[error].notna()]
    ends = told.assign(_low=told[metric] - 2 * told[error], _high=told[metric] + 2 * told[error])
    return (
        alt.Chart(ends)
        .mark_rule(color=palette.main, opacity=0.6)
        .encode(x=x, y=alt.Y("_low:Q"), y2="_high:Q")
    )


def _readings(
    rows: pd.DataFrame, x: Any, y: Any, named: tuple[str, str], distance_title: str, palette: Palette
) -> Any:
    """The readings as taken, a shape for each state of the engine; named: the metric's column and title."""
    metric, title = named
    state = alt.Scale(domain=list(STATE_SHAPES), range=list(STATE_SHAPES.values()))
    return (
        alt.Chart(rows.assign(state=rows["state"].fillna("not told")))
        .mark_point(size=70, filled=False, strokeWidth=2, color=palette.main)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape("state:N", title="engine", scale=state, legend=None),
            tooltip=[
                alt.Tooltip("visited_on:N", title="visit"),
                alt.Tooltip("distance:Q", format=",.0f", title=distance_title),
                alt.Tooltip(f"{metric}:Q", format=",.2f", title=title),
                alt.Tooltip("state:N", title="engine"),
            ],
        )
    )


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
    hydraulic, sudden), points."""
    names = {
        "wear": "brush and commutator wear",
        "drag": "drag",
        "hydraulic": "hydraulic wear",
        "sudden": "unpredictable",
    }
    colours = [palette.wear, palette.drag, palette.other, palette.sudden]
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
            legend=alt.Legend(columns=4),
            scale=alt.Scale(domain=list(names.values()), range=colours),
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
