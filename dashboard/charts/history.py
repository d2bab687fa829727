"""One pump over its distance: metrics with limits and events, drift, the risk split and the years ahead."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from dashboard.charts.grammar import Layer, of, to, value
from dashboard.charts.style import apart, dressed, lettered, outlined, scale_to, y_axis
from dashboard.shell.palette import LIGHT, Palette

EVENT_SHAPES = {
    "filter": "triangle-down", "filter_kept": "triangle-right", "wiring": "square", "tank_cleaned": "diamond",
    "strainer": "diamond", "hose": "square", "regulator": "square", "connector": "square", "fuel": "circle",
    "other": "cross", "breakdown": "triangle-up", "pump fitted": "arrow", "pump removed": "triangle-left",
}  # fmt: skip
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
# The damages that the risk follows, as charts name them.
DAMAGE_WORDS = {
    "wear": "slow wear",
    "drag": "drag",
    "hydraulic": "hydraulic wear",
    "commutator": "commutator damage",
    "brush": "brush damage",
}
DAMAGE_COLOURS = ("wear", "drag", "other", "main", "faint")
AXIS_PX = 46  # room left of each chart over distance, so that they line up
LATE_SHARE = 0.75  # beyond it a name is written left of its mark
WORD_SHARE, LOW_WORD_SHARE = 0.07, 0.3  # of a high and of a low chart's height that a line of words takes
LETTER = 0.02  # share of the bar that a letter takes on a phone
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
    domain: tuple[float, float] | None = None,
    palette: Palette = LIGHT,
) -> dict[str, Any]:
    """Return one metric over distance; domain: the stretch shown, so that charts below each other line up.

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
    x = of("distance:Q", title=distance_title, scale=along(domain))
    axis = y_axis(title, minExtent=AXIS_PX, maxExtent=AXIS_PX)
    ruled = pd.DataFrame([{"value": v, "label": n} for n, v in close.items()])
    layers: list[Layer] = []
    if baseline:
        band = Layer(pd.DataFrame([{"low": baseline[0], "high": baseline[1]}]))
        layers.append(
            band.mark("rect", **outlined(palette), fillOpacity=0.6).encode(y=of("low:Q"), y2=to("high"))
        )
    if close:
        layers.append(
            Layer(ruled).mark("rule", strokeDash=[2, 3], color=palette.faint).encode(y=of("value:Q"))
        )
    if events is not None and len(events):
        rules = Layer(events).mark("rule", color=palette.edge)
        layers.append(rules.encode(x=x))
    if fan is not None and len(fan):
        spread = Layer(fan).mark(
            "area", color=palette.wear, fillOpacity=0.22, stroke=palette.wear, strokeWidth=0.8
        )
        layers += [
            spread.encode(x=x, y=of("low:Q"), y2=to("high")),
            _dashed(fan, x, palette),
        ]
    if drift is not None and len(drift):
        layers.append(_dashed(drift, x, palette))
    if error and raw:
        layers.append(_error_bars(rows, metric, error, x, palette))
    if normalised and rows[normalised].notna().any():
        line = Layer(rows[rows[normalised].notna()]).mark(
            "line", color=palette.drag, strokeWidth=1.5, point={"filled": True, "size": 28}
        )
        layers.append(line.encode(x=x, y=of(f"{normalised}:Q", axis=axis, scale=scale)))
    if raw:
        y = of(f"{metric}:Q", axis=axis, scale=scale)
        layers.append(_readings(rows, x, y, (metric, title), distance_title, palette))
    if close:
        named = Layer(ruled).encode(y=of("value:Q"), x=value("width"))
        layers += lettered(named, palette, align="right", baseline="bottom", dx=-2, dy=-2)
    return dressed(layers, palette, height=230, resolve={"scale": {"shape": "independent"}})


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


def _dashed(line: pd.DataFrame, x: dict[str, Any], palette: Palette) -> Layer:
    chart = Layer(line).mark("line", color=palette.wear, strokeDash=[6, 4], strokeWidth=2)
    return chart.encode(x=x, y=of("value:Q"))


def _error_bars(rows: pd.DataFrame, metric: str, error: str, x: dict[str, Any], palette: Palette) -> Layer:
    """Two standard errors either way."""
    told = rows[rows[error].notna()]
    ends = told.assign(_low=told[metric] - 2 * told[error], _high=told[metric] + 2 * told[error])
    return (
        Layer(ends).mark("rule", color=palette.main, opacity=0.7).encode(x=x, y=of("_low:Q"), y2=to("_high"))
    )


def _readings(
    rows: pd.DataFrame, x: Any, y: Any, named: tuple[str, str], distance_title: str, palette: Palette
) -> Layer:
    """The readings as taken, a shape for each state of the engine; named: the metric's column and title."""
    metric, title = named
    state = dict(domain=list(STATE_SHAPES), range=list(STATE_SHAPES.values()))
    return (
        Layer(rows.assign(state=rows["state"].fillna("not told")))
        .mark("point", size=70, filled=False, strokeWidth=2, color=palette.main)
        .encode(
            x=x,
            y=y,
            shape=of("state:N", title="engine", scale=state, legend=None),
            tooltip=[
                of("visited_on:N", title="visit"),
                of("distance:Q", format=",.0f", title=distance_title),
                of(f"{metric}:Q", format=",.2f", title=title),
                of("state:N", title="engine"),
            ],
        )
    )


def along(domain: tuple[float, float] | None) -> dict[str, Any]:
    """Return the scale along the distance.

    Every layer of a chart takes it: one that leaves it to the grammar brings nought in for all.
    """
    if domain is None:
        return dict(zero=False, nice=True)
    return dict(domain=list(domain), nice=False, zero=False)


def work_and_events(
    events: pd.DataFrame, *, domain: tuple[float, float], palette: Palette = LIGHT
) -> dict[str, Any] | None:
    """Return work and events over distance, a row for each kind with its name beside its first mark; None
    without any.

    events: distance, event, text; those outside the domain are left out.
    """
    shown = events[events["distance"].between(*domain)].sort_values("distance")
    shown = shown.assign(event=shown["event"].map(lambda name: EVENT_WORDS.get(name, name)))
    kinds = [word for word in EVENT_WORDS.values() if word in set(shown["event"])]
    if not kinds:
        return None
    shapes = {EVENT_WORDS[name]: shape for name, shape in EVENT_SHAPES.items()}
    base = Layer(shown).encode(
        x=of("distance:Q", title=None, scale=along(domain), axis=dict(labels=False, ticks=False)),
        y=of("event:N", sort=kinds, title=None,
             axis=dict(labels=False, ticks=False, domain=False, minExtent=AXIS_PX, maxExtent=AXIS_PX)),
    )  # fmt: skip
    marks = base.mark("point", size=80, color=palette.other, filled=True, opacity=1).encode(
        shape=of("event:N", legend=None, scale=dict(domain=kinds, range=[shapes[kind] for kind in kinds])),
        tooltip=[of("event:N"), of("text:N")],
    )
    late = domain[0] + LATE_SHARE * (domain[1] - domain[0])
    first = shown.drop_duplicates("event").assign(label=lambda rows: rows["event"])
    layers: list[Layer] = [marks]
    for rows, align, dx in (
        (first[first["distance"] < late], "left", 9),
        (first[first["distance"] >= late], "right", -9),
    ):
        if len(rows):
            named = Layer(rows).encode(x=of("distance:Q", scale=along(domain)), y=of("event:N", sort=kinds))
            layers += lettered(named, palette, align=align, baseline="middle", dx=dx, size=12)
    return dressed(layers, palette, height=24 * len(kinds) + 8)


def damages(
    visits: pd.DataFrame,
    ahead: pd.DataFrame,
    *,
    domain: tuple[float, float],
    fails: tuple[float, float],
    now: float,
    now_words: str = "today",
    palette: Palette = LIGHT,
) -> dict[str, Any]:
    """Return how far each damage has come, in percent of the level at which such pumps fail on average.

    visits, ahead: name, distance, value, low, high; fails: the stretch in which 8 in 10 such pumps fail, in
    percent; now: where the pump stands today, or stood when it was removed, as now_words say.
    """
    names = list(dict.fromkeys(visits["name"]))
    scale = dict(domain=names, range=_of_damages(names, palette))
    colour = of("name:N", legend=None, scale=scale)
    outline = of("name:N", legend=None, scale=scale)
    dash = of("name:N", legend=None, scale=dict(domain=names, range=_dashes(names)))
    top = max(130.0, min(float(ahead["high"].max()), 220.0))
    x = of("distance:Q", title=None, scale=along(domain))
    axis = y_axis("damage, % of what such pumps fail at", minExtent=AXIS_PX, maxExtent=AXIS_PX)
    y = of("value:Q", scale=dict(domain=[0, top], clamp=True), axis=axis)
    band = Layer(pd.DataFrame([{"low": fails[0], "high": min(fails[1], top)}]))
    level = Layer(pd.DataFrame([{"value": 100.0, "label": "half of such pumps have failed here"}]))
    today = Layer(pd.DataFrame([{"distance": now, "label": now_words}]))
    late = now > domain[0] + LATE_SHARE * (domain[1] - domain[0])
    fan = Layer(ahead).mark("area", fillOpacity=0.25, strokeWidth=0.8, clip=True)
    line = Layer(visits).mark("line", strokeWidth=2.2, clip=True, point={"size": 26, "filled": True})
    on = Layer(ahead).mark("line", strokeWidth=1.6, opacity=0.8, clip=True)
    last = ahead.groupby("name", sort=False).tail(1).assign(label=lambda rows: rows["name"])
    last["at"] = apart(last["value"].clip(upper=top).tolist(), WORD_SHARE * top, 0.0, (1 - WORD_SHARE) * top)
    day = today.encode(x=of("distance:Q"), y=value(0))
    height = level.encode(y=of("value:Q"), x=value(4))
    layers = [
        band.mark("rect", **outlined(palette), fillOpacity=0.55).encode(y=of("low:Q"), y2=to("high")),
        level.mark("rule", color=palette.faint, strokeDash=[2, 3]).encode(y=of("value:Q")),
        fan.encode(x=x, y=of("low:Q"), y2=to("high"), color=colour, stroke=outline),
        on.encode(x=x, y=y, color=colour, strokeDash=dash),
        line.encode(x=x, y=y, color=colour, strokeDash=dash),
        today.mark("rule", color=palette.faint).encode(x=of("distance:Q")),
        *lettered(day, palette, align="right" if late else "left", baseline="top", dx=-4 if late else 4),
        *lettered(height, palette, align="left", baseline="bottom", dy=-3),
        *lettered(
            Layer(last).encode(x=of("distance:Q"), y=y | {"field": "at"}), palette, size=12, align="right",
            baseline="bottom", dx=-3, dy=-4,
        ),
    ]  # fmt: skip
    return dressed(layers, palette, height=250)


def chances(visits: pd.DataFrame, *, domain: tuple[float, float], palette: Palette = LIGHT) -> dict[str, Any]:
    """Return the chance that each damage has started, as it stood after each visit; visits: name, distance,
    chance (0-1)."""
    names = list(dict.fromkeys(visits["name"]))
    last = visits.groupby("name", sort=False).tail(1)
    last = last.assign(label=[f"{n} {c:.0%}" for n, c in zip(last["name"], last["chance"], strict=True)])
    x = of("distance:Q", title=None, scale=along(domain))
    y = of("chance:Q", scale=dict(domain=[0, 1]),
           axis=y_axis("chance that it has started", format="%", values=[0, 0.5, 1], minExtent=AXIS_PX,
                       maxExtent=AXIS_PX))  # fmt: skip
    line = Layer(visits).mark("line", interpolate="step-after", strokeWidth=2, point={"size": 26})
    drawn = line.encode(
        x=x, y=y,
        color=of("name:N", legend=None, scale=dict(domain=names, range=_of_damages(names, palette))),
        strokeDash=of("name:N", legend=None, scale=dict(domain=names, range=_dashes(names))),
        tooltip=[of("name:N"), of("chance:Q", format=".0%")],
    )  # fmt: skip
    late = domain[0] + LATE_SHARE * (domain[1] - domain[0])
    layers: list[Layer] = [drawn]
    for rows, mark in (
        (last[last["distance"] < late], {"align": "left", "baseline": "middle", "dx": 6}),
        (last[last["distance"] >= late], {"align": "right", "baseline": "bottom", "dy": -5}),
    ):
        if len(rows):
            beside = rows.assign(at=apart(rows["chance"].tolist(), LOW_WORD_SHARE, 0.0, 1.0))
            named = Layer(beside).encode(x=x, y=y | {"field": "at"})
            layers += lettered(named, palette, size=12, **mark)
    return dressed(layers, palette, height=110)


def _of_damages(names: list[str], palette: Palette) -> list[str]:
    colours = dict(zip(DAMAGE_WORDS.values(), DAMAGE_COLOURS, strict=True))
    return [getattr(palette, colours[name]) for name in names]


def _dashes(names: list[str]) -> list[list[int]]:
    dashes = dict(zip(DAMAGE_WORDS.values(), ([1, 0], [7, 3], [3, 3], [9, 3, 2, 3], [2, 2]), strict=True))
    return [dashes[name] for name in names]


def risk_split(parts: pd.DataFrame, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return the risk as one bar in points, above each part its points, with its name where both have room on
    a phone; parts: part (wear, drag, hydraulic, sudden), points, whole (as the reason tells them)."""
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
    seen = set(rows.loc[rows["whole"] > 0, "part"])
    drawn = {names[part]: colour for part, colour in zip(order, colours, strict=True) if part in seen}
    rows = rows[rows["part"].isin(seen)]
    base = Layer(rows)
    bars = base.mark("bar", size=24, stroke=palette.paper, strokeWidth=1).encode(
        x=of("points:Q", title="points of risk, %", stack="zero"),
        y=value(32),
        color=of(
            "name:N",
            title=None,
            legend=dict(columns=2),
            scale=dict(domain=list(drawn), range=list(drawn.values())),
        ),
        order=of("order:O"),
        tooltip=[of("name:N"), of("points:Q", format=".1f")],
    )
    room = (rows["points"] / rows["points"].sum() / LETTER).fillna(0.0)
    told = [
        next((text for text in (f"{name} {whole}", f"{whole}") if len(text) <= letters), "")
        for name, whole, letters in zip(rows["name"], rows["whole"], room, strict=True)
    ]
    named = rows.assign(label=told)
    named = named[named["label"] != ""]
    words = Layer(named).encode(x=of("begins:Q", title="points of risk, %"), y=value(12))
    return dressed([bars, *lettered(words, palette, size=12, align="left", dx=1)], palette, height=170)


def survival_ahead(
    curve: pd.DataFrame,
    *,
    distance_title: str,
    marks: dict[str, float] | None = None,
    palette: Palette = LIGHT,
) -> dict[str, Any]:
    """Return the chance that the pump still runs over the distance ahead.

    curve: distance, running (0-1), pump ("this pump", "a new pump"); marks: label -> distance.
    """
    labels = list(dict.fromkeys(curve["pump"]))
    layers: list[Layer] = [
        Layer(curve)
        .mark("line", strokeWidth=2.2)
        .encode(
            x=of("distance:Q", title=distance_title, scale=dict(nice=False)),
            y=of("running:Q", axis=y_axis("chance it still runs", format="%"), scale=dict(domain=[0, 1])),
            color=of("pump:N", title=None, scale=dict(domain=labels, range=[palette.main, palette.faint])),
            strokeDash=of("pump:N", title=None, scale=dict(domain=labels, range=[[1, 0], [4, 4]])),
        )
    ]
    if marks:
        ruled = pd.DataFrame([{"distance": v, "label": k} for k, v in marks.items() if v == v])
        if len(ruled):
            layers.append(Layer(ruled).mark("rule", color=palette.edge).encode(x=of("distance:Q")))
            named = Layer(ruled).encode(x=of("distance:Q"), y=value("height"))
            layers += lettered(named, palette, align="left", baseline="bottom", dx=4, dy=-4)
    return dressed(layers, palette, height=240)
