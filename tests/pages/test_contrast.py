"""Whatever a chart draws stands out from the page: marks 3 : 1, words 7 : 1, by day, by night and on paper.

WCAG 2.2 (read): 1.4.11 asks 3 : 1 of what is needed to understand a picture, 1.4.6 asks 7 : 1 of text. A pale
area has an outline that reaches it; lines of the grid, which a figure at their end names, are left out.
"""

import inspect
import json

import pandas as pd
import pytest
from altair.utils.schemapi import validate_jsonschema
from altair.vegalite.v6.schema.core import load_schema

from dashboard.charts import history, money, on_paper, plan, record, waveform
from dashboard.parts import envelope
from dashboard.shell.palette import DARK, LIGHT
from tests.ledger_fixture import small_capture
from tests.pages.test_palette import contrast

MODULES = (history, money, plan, record, waveform)
SEEN_THROUGH = {"point": 0.7, "tick": 0.7}  # what the grammar makes of these marks where nothing is said


def marks(spec: dict, above: dict | None = None) -> list[dict]:
    """Every mark of a chart, with what its own layer encodes over what the layers above it do."""
    encoding = (above or {}) | spec.get("encoding", {})
    inner = [*spec.get("layer", []), *spec.get("vconcat", [])]
    if inner:
        return [mark for part in inner for mark in marks(part, encoding)]
    own = spec["mark"] if isinstance(spec["mark"], dict) else {"type": spec["mark"]}
    return [own | {"encoding": encoding}]


def over(colour: str, opacity: float, page: str) -> str:
    """The colour that is seen of one laid thinly over the page."""
    mixed = (
        round(opacity * int(colour[i : i + 2], 16) + (1 - opacity) * int(page[i : i + 2], 16))
        for i in (1, 3, 5)
    )
    return "#" + "".join(f"{value:02x}" for value in mixed)


def colours(mark: dict, channel: str) -> list[str]:
    """The colours that a channel can take: encoded, each of a condition, or the mark's own."""
    told = mark["encoding"].get(channel, {})
    if "condition" in told:
        return [told["value"], told["condition"]["value"]]
    if "value" in told:
        return [told["value"]]
    if "field" in told:
        return list(told["scale"]["range"])
    return [mark[channel]] if channel in mark else []


def faintest(mark: dict, page: str) -> float:
    """How far the mark stands out where it does so least: the better of its fill and its outline."""
    kind, whole = mark["type"], mark.get("opacity", SEEN_THROUGH.get(mark["type"], 1.0))
    thin = mark["encoding"].get("fillOpacity", {"value": mark.get("fillOpacity", 1.0)})
    told = (
        thin["scale"]["range"] if "field" in thin else [thin["value"], thin.get("condition", thin)["value"]]
    )
    filled = colours(mark, "fill") or colours(mark, "color")
    fills = [contrast(over(c, whole * min(told), page), page) for c in filled]
    strokes = [contrast(over(c, whole, page), page) for c in colours(mark, "stroke") if c != page]
    assert fills or strokes, f"a {kind} without a colour of ours"
    return max(min(fills, default=0.0), min(strokes, default=0.0))


def drawn(palette) -> dict[str, dict]:
    """A chart of each kind with all that it can hold."""
    visits = pd.DataFrame(
        {"distance": [1.0, 2, 3], "mean_a": [5.0, 5.1, 5.2], "se": 0.02, "ref": [5.0, 5.2, 5.1],
         "state": ["idle", None, "prime"], "visited_on": ["2025-01-01", "2025-04-01", "2025-07-01"]}
    )  # fmt: skip
    events = pd.DataFrame({"distance": [1.5, 2.9], "event": ["filter", "pump removed"], "text": ["", ""]})
    line = pd.DataFrame({"distance": [1.0, 3], "value": [5.0, 5.2], "low": [4.9, 5], "high": [5.1, 5.4]})
    names = list(history.DAMAGE_WORDS.values())
    damages = pd.concat([line.assign(name=name, chance=0.5) for name in names])
    parts = pd.DataFrame({"part": ["wear", "drag", "hydraulic", "sudden"], "points": 5.0, "whole": 5})
    rows = envelope.envelope(small_capture(), 0.2, 0.25)
    turns = pd.DataFrame({"angle_deg": [0, 1, 0, 1, 0, 1], "current_a": 1.0, "capture": [*"aabbcc"]})
    profile = pd.DataFrame({"visited_on": ["2025-01-01"] * 2, "segment": [1, 2], "height_pct": [1.0, 2]})
    many = pd.DataFrame(
        {"policy": [*"abcd"], "pump_type": [*"abcd"], "cost": 1.0, "cost_low": 0.5, "cost_high": 2.0,
         "ratio": 1.0, "interval": 1.0, "saving": 2.0, "is_own": True}
    )  # fmt: skip
    moved = pd.DataFrame(
        {"driver": ["tow", "life"], "low": [1.0, 3.0], "high": [2.0, 1.0], "base": [1.5, 1.5],
         "best_low": ["a", "b"], "best_high": ["a", "a"], "best_base": ["a", "a"]}
    )  # fmt: skip
    month = pd.DataFrame(
        {"month": ["2025-01"], "changes_cost": 1.0, "failures_cost": 2.0, "cost_low": 1.0, "cost_high": 4.0}
    )
    told = pd.DataFrame({"stated": [0.1], "observed": [0.12], "low": [0.05], "high": [0.2], "pumps": [50]})
    when = pd.DataFrame({"as_of": ["2025-01-01"], "expected": 2.0, "low": 0, "high": 5, "counted": 3})
    week = pd.DataFrame({"week_of": ["01-06"], "depot": "N", "hours_planned": 5.0, "hours_free": 16.0})
    return {
        "metric_over_distance": history.metric_over_distance(
            visits, "mean_a", "A", distance_title="mi", normalised="ref", error="se", limits={"low": 4.9},
            baseline=(5.0, 5.1), events=events, drift=line, fan=line, domain=(1.0, 4.0), palette=palette,
        ),
        "work_and_events": history.work_and_events(events, domain=(1.0, 4.0), palette=palette),
        "damages": history.damages(damages, damages, domain=(1, 4), fails=(70, 130), now=2, palette=palette),
        "chances": history.chances(damages, domain=(1.0, 4.0), palette=palette),
        "risk_split": history.risk_split(parts, palette=palette),
        "survival_ahead": history.survival_ahead(
            pd.DataFrame({"distance": [0, 1] * 2, "running": [1.0, 0.5] * 2, "pump": [*"aabb"]}),
            distance_title="mi", marks={"next visit": 0.5}, palette=palette,
        ),
        "spent": money.spent(
            pd.DataFrame({"period": ["2025"] * 2, "kind": ["planned", "on the road"], "amount": [1.0, 2]}),
            "USD", palette=palette,
        ),
        "policies": money.policies(many, "USD", "a year", palette=palette),
        "cost_by_age": money.cost_by_age(
            many.assign(distance=[1.0, 2, 3, 4]), "USD", distance_title="mi", best=2.0, palette=palette
        ),
        "cost_by_ratio": money.cost_by_ratio(many, "USD", "a year", now=2.0, palette=palette),
        "budget": money.budget(month, "USD", palette=palette),
        "tornado": money.tornado(moved, "USD", "a year", names={"a": "x", "b": "y"}, palette=palette),
        "by_interval": money.by_interval(many, "USD", "mi", palette=palette),
        "hours_by_week": plan.hours_by_week(week, weeks=["01-06"], most=16.0, palette=palette),
        "reliability": record.reliability(told, palette=palette),
        "expected_and_counted": record.expected_and_counted(when, palette=palette),
        "trace": waveform.trace(
            rows, turn_ms=(220.0, 230.0), specification_a=(4.9, None), palette=palette
        ),
        "segments": waveform.segments([9, 4, 9], weakest=2, palette=palette),
        "turns": waveform.turns(turns, palette=palette),
        "segments_over_time": waveform.segments_over_time(profile, palette=palette),
    }  # fmt: skip


FIGURES_SAY_IT = {"segments_over_time": "rect"}  # a shade behind each figure, which says the same


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_mark_and_word_of_every_chart_stands_out(palette):
    charts = drawn(palette)
    ours = {
        name
        for module in MODULES
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == module.__name__ and "palette" in inspect.signature(function).parameters
    }
    assert set(charts) == {name for name in ours if not name.startswith("_")}
    too_faint = [
        (name, mark["type"], round(faintest(mark, palette.paper), 2))
        for name, spec in charts.items()
        for mark in marks(spec)
        if mark.get("stroke") != palette.paper or mark["type"] != "text"  # the edge of words, not the words
        if mark["type"] != FIGURES_SAY_IT.get(name)
        if faintest(mark, palette.paper) < (7 if mark["type"] == "text" else 3)
    ]
    assert too_faint == []


def test_every_chart_is_written_as_the_grammar_wants_it():
    for chart in drawn(LIGHT).values():
        for layer in chart.get("layer", []):
            del layer["data"]["values"][2:]  # whose schema is soon known
        validate_jsonschema(json.loads(json.dumps(chart)), load_schema())


def test_small_charts_stand_out_on_paper():
    for words in (on_paper.INK, on_paper.FAINT):
        assert contrast(words, "#ffffff") > 7
    for mark in (on_paper.DARK, on_paper.PALE, on_paper.HATCH):
        assert contrast(mark, "#ffffff") > 3
    for palette in (LIGHT, DARK):  # those beside the list stand on the page
        assert contrast(palette.ink, palette.paper) > 7
        assert contrast(palette.main, palette.paper) > 3
