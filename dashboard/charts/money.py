"""What pumps cost: by year, by policy, by age, and how the answer moves with a price."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.charts.grammar import Layer, of, to, value, where
from dashboard.charts.style import dressed, outlined, y_axis
from dashboard.shell.palette import LIGHT, Palette

TURNED = "▸"  # before the name of a policy that takes another's place


def spent(frame: pd.DataFrame, currency: str, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return known spending by period; frame: period (text), kind ("planned", "on the road"), amount."""
    kinds = ["planned", "on the road"]
    chart = (
        Layer(frame.assign(order=frame["kind"].map(kinds.index)))
        .mark("bar", strokeWidth=1.5)
        .encode(
            x=of("period:O", title=None, axis=dict(labelAngle=0)),
            y=of("amount:Q", axis=y_axis(f"spent, {currency}", format=",.0f")),
            **_pale_and_full(kinds, palette),
            order=of("order:O"),
            tooltip=[of("period:O"), of("kind:N"), of("amount:Q", format=",.0f")],
        )
    )
    return dressed([chart], palette, height=240)


def _pale_and_full(kinds: list[str], palette: Palette) -> dict[str, Any]:
    """Return what marks planned money by an outline with a pale filling and that on the road by a full one,
    which are told apart in grey too."""
    colours = dict(domain=kinds, range=[palette.main, palette.wear])
    pale, full = kinds
    legend = dict(labelExpr=f"datum.label == '{pale}' ? '{pale} (pale)' : '{full} (full)'")
    return {
        "fill": of("kind:N", title=None, scale=colours, legend=legend),
        "stroke": of("kind:N", title=None, scale=colours, legend=legend),
        "fillOpacity": of("kind:N", title=None, scale=dict(domain=kinds, range=[0.25, 1])),
    }


def policies(frame: pd.DataFrame, currency: str, per: str, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return cost by policy with its interval; frame: policy, cost, cost_low, cost_high, in list order."""
    order = list(frame["policy"])
    base = Layer(frame).encode(y=of("policy:N", sort=order, title=None))
    dots = base.mark("point", filled=True, size=90, color=palette.main, opacity=1).encode(
        x=of("cost:Q", title=f"{currency} {per}", scale=dict(zero=True)),
        tooltip=[of("policy:N"), of("cost:Q", format=",.3r")],
    )
    lines = base.mark("rule", color=palette.main, strokeWidth=2).encode(
        x=of("cost_low:Q"), x2=to("cost_high")
    )
    words = base.mark("text", align="left", dx=8, dy=-9, color=palette.ink, fontSize=12).encode(
        x=of("cost:Q"), text=of("cost:Q", format=",.3r")
    )
    return dressed([lines, dots, words], palette, height=46 * max(len(frame), 2) + 40)


def cost_by_age(
    frame: pd.DataFrame,
    currency: str,
    *,
    distance_title: str,
    best: float | None = None,
    palette: Palette = LIGHT,
) -> dict[str, Any]:
    """Return long-run cost against replacement age; frame: distance, cost, optionally cost_low, cost_high."""
    x = of("distance:Q", title=distance_title)
    layers: list[Layer] = []
    if "cost_low" in frame:
        layers.append(
            Layer(frame)
            .mark("area", **outlined(palette), fillOpacity=0.7)
            .encode(x=x, y=of("cost_low:Q"), y2=to("cost_high"))
        )
    layers.append(
        Layer(frame)
        .mark("line", color=palette.main, strokeWidth=2)
        .encode(x=x, y=of("cost:Q", axis=y_axis(f"cost, {currency}"), scale=dict(zero=False)))
    )
    if best is not None and best == best:
        mark = pd.DataFrame([{"distance": best, "label": "least cost"}])
        layers.append(
            Layer(mark).mark("rule", color=palette.faint, strokeDash=[2, 3]).encode(x=of("distance:Q"))
        )
        layers.append(
            Layer(mark)
            .mark("text", align="left", dx=4, color=palette.faint, fontSize=11)
            .encode(x=of("distance:Q"), y=value(8), text=of("label:N"))
        )
    return dressed(layers, palette, height=240)


def cost_by_ratio(
    frame: pd.DataFrame, currency: str, per: str, *, now: float, palette: Palette = LIGHT
) -> Any:
    """Return cost by policy over the ratio of on-failure to planned cost; frame: ratio, policy, cost."""
    names = list(dict.fromkeys(frame["policy"]))
    colours = [palette.faint, palette.wear, palette.other, palette.main][: len(names)]
    dashes = [[1, 0], [6, 3], [2, 2], [12, 3, 2, 3]][: len(names)]
    lines = (
        Layer(frame)
        .mark("line", strokeWidth=2)
        .encode(
            x=of("ratio:Q", title="on-failure cost over planned cost", scale=dict(zero=False)),
            y=of("cost:Q", axis=y_axis(f"{currency} {per}")),
            color=of("policy:N", title=None, scale=dict(domain=names, range=colours)),
            strokeDash=of("policy:N", title=None, scale=dict(domain=names, range=dashes)),
        )
    )
    mark = pd.DataFrame([{"ratio": now, "label": "prices now"}])
    rule = Layer(mark).mark("rule", color=palette.faint, strokeDash=[2, 3]).encode(x=of("ratio:Q"))
    words = (
        Layer(mark)
        .mark("text", align="left", dx=4, color=palette.faint, fontSize=11)
        .encode(x=of("ratio:Q"), y=value(8), text=of("label:N"))
    )
    return dressed([lines, rule, words], palette, height=260)


def budget(frame: pd.DataFrame, currency: str, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return money expected by month with its range; frame: month, changes_cost, failures_cost, cost_low,
    cost_high."""
    kinds = {"changes_cost": "planned", "failures_cost": "on the road"}
    parts = pd.concat(
        [frame[["month"]].assign(kind=kind, amount=frame[name]) for name, kind in kinds.items()]
    )
    parts["order"] = parts["kind"].map(list(kinds.values()).index)
    x = of("month:O", title=None, axis=dict(labelAngle=0, labelOverlap=True))
    bars = (
        Layer(parts)
        .mark("bar", strokeWidth=1.5)
        .encode(
            x=x,
            y=of("amount:Q", axis=y_axis(f"expected, {currency}", format=",.0f")),
            **_pale_and_full(list(kinds.values()), palette),
            order=of("order:O"),
            tooltip=[of("month:O"), of("kind:N"), of("amount:Q", format=",.0f")],
        )
    )  # fmt: skip
    reach = Layer(frame).mark("rule", color=palette.ink, strokeWidth=1.5)
    return dressed([bars, reach.encode(x=x, y=of("cost_low:Q"), y2=to("cost_high"))], palette, height=260)


def tornado(
    frame: pd.DataFrame, currency: str, per: str, *, names: dict[str, str], palette: Palette = LIGHT
) -> Any:
    """Return how far the saving moves with each driver, and at each end which policy then costs least.

    frame: driver, low, high, base, best_low, best_high, best_base; names: of the policies, as shown.
    """
    rows = frame.assign(
        span=(frame["high"] - frame["low"]).abs(),
        driver=frame["driver"].str.removesuffix(" ∓25 %").str.removesuffix(", 80 % range"),
    ).sort_values("span", ascending=False)
    order = rows["driver"].tolist()
    ends = pd.concat(
        [
            rows[["driver", "best_base"]].assign(saving=rows[end], best=rows[f"best_{end}"])
            for end in ("low", "high")
        ]
    )
    ends["turned"] = ends["best"] != ends["best_base"]
    ends["choice"] = ends["turned"].map({True: f"{TURNED} ", False: ""}) + ends["best"].map(names)
    middle = ends.groupby("driver")["saving"].transform("mean")
    ends["side"] = (ends["saving"] >= middle).map({True: "right", False: "left"})
    y = of("driver:N", sort=order, title=None, axis=dict(labelLimit=220))
    low, high = float(ends["saving"].min()), float(ends["saving"].max())
    room = max(high - low, 1e-9) * 0.6
    x = of(
        "low:Q", title=f"saved, {currency} {per}",
        scale=dict(domain=[low - room, high + room], nice=False),
    )  # fmt: skip
    base = Layer(rows).encode(y=y)
    bars = base.mark("bar", size=14, color=palette.main, opacity=0.8).encode(
        x=x, x2=to("high"),
        tooltip=[
            of("driver:N"),
            *(of(f"{end}:Q", format=",.0f") for end in ("low", "high")),
        ],
    )  # fmt: skip
    rule = base.mark("tick", color=palette.ink, thickness=2, size=20).encode(x=of("base:Q"))
    sides: tuple[tuple[str, Any, int], ...] = (("left", "right", -5), ("right", "left", 5))
    words = [
        Layer(ends[ends["side"] == side])
        .mark("text", align=align, dx=dx, fontSize=11)
        .encode(
            y=y, x=of("saving:Q"), text=of("choice:N"),
            color=where("datum.turned", palette.ink, palette.faint),
        )
        for side, align, dx in sides
    ]  # fmt: skip
    return dressed([bars, rule, *words], palette, height=34 * max(len(rows), 2) + 40)


def by_interval(frame: pd.DataFrame, currency: str, unit: str, *, palette: Palette = LIGHT) -> dict[str, Any]:
    """Return the saving a year over the distance between captures; frame: pump_type, interval, saving,
    is_own."""
    names = list(dict.fromkeys(frame["pump_type"]))
    colours = [palette.ink, palette.main, palette.wear, palette.other, palette.faint]
    dashes = [[1, 0], [6, 3], [2, 2], [12, 3, 2, 3], [4, 1], [1, 4], [10, 6]]
    scale = dict(domain=names, range=[colours[i % 5] for i in range(len(names))])
    dash = dict(domain=names, range=[dashes[i % 7] for i in range(len(names))])
    # Of the lines, with their dash.
    legend = dict(symbolType="stroke", symbolSize=600, symbolStrokeWidth=2)
    base = Layer(frame).encode(
        x=of("interval:Q", title=f"{unit} between captures"),
        y=of("saving:Q", axis=y_axis(f"saved a year, {currency}", format=",.0f")),
        color=of("pump_type:N", title=None, scale=scale, legend=legend),
    )
    lines = base.mark("line", strokeWidth=2).encode(
        strokeDash=of("pump_type:N", title=None, scale=dash, legend=legend)
    )
    own = Layer(frame[frame["is_own"].astype(bool)]).mark("point", filled=True, size=60, opacity=1)
    dots = own.encode(
        x=of("interval:Q"), y=of("saving:Q"),
        color=of("pump_type:N", title=None, scale=scale, legend=legend),
        tooltip=[of("pump_type:N"), of("interval:Q"), of("saving:Q")],
    )  # fmt: skip
    return dressed([lines, dots], palette, height=280)
