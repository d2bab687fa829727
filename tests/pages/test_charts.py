"""Charts say what they should: units, limits, bands, shapes, and no more data than can be drawn."""

import json
from xml.etree import ElementTree

import pandas as pd
import pytest

from dashboard.charts import history, money, plan, record, waveform
from dashboard.charts.small_history import small
from dashboard.charts.style import apart
from dashboard.parts import envelope
from dashboard.shell.palette import DARK
from tests.ledger_fixture import small_capture


def marks(spec: dict) -> list[str]:
    return [layer["mark"]["type"] for layer in spec["layer"]]


def values(spec: dict) -> list[list[dict]]:
    return [layer["data"]["values"] for layer in spec["layer"]]


def titles(spec: object) -> set[str]:
    if isinstance(spec, dict):
        own = {spec["title"]} if isinstance(spec.get("title"), str) else set()
        return own.union(*(titles(v) for v in spec.values()))
    if isinstance(spec, list):
        return set().union(*(titles(v) for v in spec))
    return set()


def test_trace_shades_one_turn_and_draws_no_paired_lines():
    rows = envelope.envelope(small_capture(), 0.2, 0.25)
    spec = waveform.trace(rows, turn_ms=(220.0, 230.0), specification_a=(4.9, None))
    assert {"time, ms", "current, A"} <= titles(spec)
    assert marks(spec).count("rect") == 1
    assert marks(spec).count("rule") == 1  # the specified low alone
    domain = spec["layer"][0]["encoding"]["x"]["scale"]["domain"]
    assert domain == [rows["time_ms"].min(), rows["time_ms"].max()]


def test_trace_far_from_its_specification_is_not_squeezed_by_it():
    rows = envelope.envelope(small_capture(), 0.2, 0.25)
    assert marks(waveform.trace(rows, specification_a=(1.0, 30.0))) == ["area"]


def test_trace_of_a_million_samples_stays_small():
    rows = envelope.envelope(small_capture(seconds=20))
    assert len(rows) <= envelope.BINS
    assert len(json.dumps(waveform.trace(rows))) < 400_000


def test_segments_name_the_weakest():
    spec = waveform.segments([9, 9, 4, 9], weakest=3)
    words = spec["layer"][1]["data"]["values"]
    assert [row["label"] for row in words] == ["", "", "weakest", ""]


def test_turns_differ_by_dash_as_well_as_colour():
    frame = pd.DataFrame(
        {"angle_deg": [0, 1] * 2, "current_a": [1.0, 2, 1, 3], "capture": ["a", "a", "b", "b"]}
    )
    encoding = waveform.turns(frame)["layer"][0]["encoding"]
    assert encoding["strokeDash"]["scale"]["range"] != encoding["strokeDash"]["scale"]["range"][:1] * 2
    assert encoding["color"]["scale"]["domain"] == ["a", "b"]


def history_rows() -> pd.DataFrame:
    return pd.DataFrame(
        {"distance": [1.0, 2, 3], "mean_a": [5.0, 5.1, None], "mean_a_se": [0.02] * 3,
         "state": ["idle", None, "idle"], "visited_on": ["2025-01-01", "2025-04-01", "2025-07-01"]}
    )  # fmt: skip


def test_metric_has_limits_baseline_events_and_error_bars():
    spec = history.metric_over_distance(
        history_rows(), "mean_a", "average current, A", distance_title="mi on this pump", error="mean_a_se",
        limits={"low end": 4.9, "high end": 900.0}, baseline=(5.0, 5.1),
        events=pd.DataFrame({"distance": [1.5], "event": ["filter"], "text": ["2025-02-01"]}),
        drift=pd.DataFrame({"distance": [1.0, 2], "value": [5.0, 5.1]}),
    )  # fmt: skip
    assert {"average current, A", "mi on this pump"} <= titles(spec)
    assert {"rect", "rule", "line", "point"} <= set(marks(spec))
    text = str(values(spec))
    assert "low end" in text
    assert "high end" not in text  # far outside the data: it would flatten them


def test_charts_over_distance_show_the_stretch_they_are_given_and_nought_only_within_it():
    """A layer along the distance that leaves its scale to the grammar brings nought into all of them."""
    spec = history.metric_over_distance(
        history_rows(), "mean_a", "average current, A", distance_title="mi", domain=(100.0, 160.0),
        events=pd.DataFrame({"distance": [1.5], "event": ["filter"], "text": [""]}),
        drift=pd.DataFrame({"distance": [1.0, 2], "value": [5.0, 5.1]}),
        fan=pd.DataFrame({"distance": [2.0, 3], "value": [5.0, 5.1], "low": [4.9, 5], "high": [5.1, 5.2]}),
    )  # fmt: skip
    along = [part["encoding"]["x"] for part in spec["layer"] if "field" in part["encoding"].get("x", {})]
    assert len(along) == 5
    for x in along:
        assert x["scale"] == {"domain": [100.0, 160.0], "nice": False, "zero": False}


def test_an_unread_visit_is_not_drawn():
    spec = history.metric_over_distance(history_rows(), "mean_a", "average current, A", distance_title="mi")
    assert max(map(len, values(spec))) == 2


def test_the_last_visits_in_small_are_lines_with_their_first_and_last_figure():
    days = pd.to_datetime(["2025-01-06", "2025-04-06", "2025-07-05"])
    visits = pd.DataFrame({"visited_on": days, "in_trend": True, "mean_a": [5.0, 5.1, 5.3]})
    drawn = small(visits.assign(ripple_pct=[7.0, None, None], rpm=[6000.0, 5900.0, None]))
    picture = ElementTree.fromstring(drawn)
    svg = "{http://www.w3.org/2000/svg}"
    texts = [text.text for text in picture.iter(f"{svg}text")]
    assert texts == ["6,000", "5,900 rpm", "5.00", "5.30 A", "2025-01", "2025-07"]
    speed, current = ([point.split(",") for point in line.get("points").split()]
                      for line in picture.iter(f"{svg}polyline"))  # fmt: skip
    assert [float(x) for x, _ in current] == pytest.approx([6.0, 6 + 348 * 90 / 180, 354.0], abs=0.06)
    assert [float(y) for _, y in speed] == [19.0, 39.0]  # the first, the higher one, at the top
    assert small(visits.head(1).assign(ripple_pct=None, rpm=None)) is None


def test_risk_split_stacks_in_a_fixed_order():
    parts = pd.DataFrame({"part": ["sudden", "wear", "drag"], "points": [1.0, 9, 7], "whole": [1, 9, 7]})
    spec = history.risk_split(parts)
    bars, *words = spec["layer"]
    assert bars["encoding"]["color"]["scale"]["domain"][0] == "brush and commutator wear"
    assert [row["points"] for row in bars["data"]["values"]] == [9.0, 7.0, 1.0]
    named = words[0]["data"]["values"]
    assert [(row["label"], row["begins"]) for row in named] == [
        ("9", 0.0), ("drag 7", 9.0), ("1", 16.0)  # on a phone the first name would lie over the second
    ]  # fmt: skip


def test_survival_runs_from_nought_to_one():
    curve = pd.DataFrame({"distance": [0, 1], "running": [1.0, 0.5], "pump": "this pump"})
    spec = history.survival_ahead(curve, distance_title="mi from today", marks={"next visit": 0.5})
    assert spec["layer"][0]["encoding"]["y"]["scale"]["domain"] == [0, 1]
    assert "next visit" in str(values(spec))


def test_money_charts_name_the_currency():
    rows = pd.DataFrame({"period": ["2025"] * 2, "kind": ["planned", "on the road"], "amount": [650.0, 2400]})
    drawn = money.spent(rows, "USD")
    assert "spent, USD" in titles(drawn)
    pale, full = drawn["layer"][0]["encoding"]["fillOpacity"]["scale"][
        "range"
    ]  # the two kinds keep apart in grey
    assert pale < 0.5 < full
    ages = pd.DataFrame({"distance": [1.0, 2], "cost": [3.0, 2], "cost_low": [2.0, 1], "cost_high": [4.0, 3]})
    spec = money.cost_by_age(ages, "USD", distance_title="mi", best=2.0)
    assert "area" in marks(spec)
    assert "least cost" in str(values(spec))
    policies = pd.DataFrame({"policy": ["a"], "cost": [1.0], "cost_low": [0.5], "cost_high": [2.0]})
    moved = pd.DataFrame(
        {"driver": ["tow", "life"], "low": [1.0, 3.0], "high": [2.0, 1.0], "base": [1.5, 1.5],
         "best_low": ["a", "b"], "best_high": ["a", "a"], "best_base": ["a", "a"]}
    )  # fmt: skip
    spec = money.tornado(moved, "USD", "a year", names={"a": "fixed age", "b": "condition"})
    assert "▸ condition" in str(values(spec))
    assert marks(spec) == ["bar", "tick", "text", "text"]
    assert "USD per 10,000 mi" in titles(money.policies(policies, "USD", "per 10,000 mi"))


def test_reliability_has_an_even_line_and_intervals():
    rows = pd.DataFrame({"stated": [0.1], "observed": [0.12], "low": [0.05], "high": [0.2], "pumps": [50]})
    spec = record.reliability(rows.assign(low=0.0))
    assert marks(spec) == ["line", "rule", "point"]
    assert spec["layer"][0]["encoding"]["x"]["scale"] == {
        "type": "log", "domain": [0.1, 1.0], "nice": False, "clamp": True,
    }  # fmt: skip
    bars = spec["layer"][1]["data"]["values"]
    assert bars[0]["low"] == 0.1  # none at all stands at the foot


def test_expected_and_counted_keep_apart_by_shape():
    rows = pd.DataFrame({"as_of": ["2025-01-01"], "expected": [2.0], "low": [0], "high": [5], "counted": [3]})
    spec = record.expected_and_counted(rows)
    assert marks(spec) == ["area", "line", "point"]


def test_plan_shows_hours_free_as_ticks():
    rows = pd.DataFrame(
        {"week_of": ["2025-01-06"], "depot": ["N"], "hours_planned": [5.0], "hours_free": [16.0]}
    )
    weeks = ["2025-01-06", "2025-01-13"]
    spec = plan.hours_by_week(rows, weeks=weeks, most=16.0)
    assert marks(spec) == ["bar", "tick"]
    assert spec["layer"][0]["encoding"]["x"]["scale"]["domain"] == weeks  # a depot with one week to draw too


@pytest.mark.parametrize("palette", [DARK])
def test_dark_charts_write_in_light_ink(palette):
    spec = waveform.segments([1, 2], palette=palette)
    assert spec["config"]["axis"]["labelColor"] == palette.faint
    assert spec["config"]["background"] == "transparent"


def test_words_of_marks_at_one_height_stand_apart():
    assert apart([1.0, 0.2, 1.0, 0.95], 0.2, 0.0, 1.0) == pytest.approx([0.8, 0.2, 1.0, 0.6])
    assert apart([0.5, 0.1], 0.2, 0.0, 1.0) == [0.5, 0.1]  # far enough
    last = pd.DataFrame({"name": ["drag", "brush damage"], "distance": 2.0, "chance": [1.0, 1.0]})
    words = history.chances(last, domain=(0.0, 2.0))["layer"][1]
    heights = [row[words["encoding"]["y"]["field"]] for row in words["data"]["values"]]
    assert abs(heights[0] - heights[1]) > 0.15
