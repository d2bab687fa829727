"""Each trade rule, reached by a visit that shows it, and the comparison it rests on."""

from dataclasses import replace

import pandas as pd
import pytest

from analytics.judging.rules import RULES
from analytics.judging.verdict import Verdict, _verdict, judge, judge_reading
from ingest.reading import Reading
from ingest.trade_numbers import DEFAULTS

HEALTHY = {
    "visit_id": 1, "pump_id": 1, "unit": "U1", "position": "main", "visited_on": "2026-01-05", "reason": "pm",
    "state": "idle", "in_trend": True, "origin": "capture", "distance_on_pump_km": 100.0, "motor": "brushed",
    "supply": "direct", "current_low_a": 4.0, "current_high_a": 7.0, "spec_at_v": 13.5, "spec_at_kpa": None,
    "mean_a": 5.5, "ripple_pct": 8.0, "raw_ripple_pct": 11.0, "rpm": 6000.0, "supply_v": 13.5, "zero_a": 0.0,
    "drop_supply_v": 0.2, "drop_ground_v": 0.05, "fuel_pressure_kpa": 400.0, "rated_pressure_kpa": 400.0,
    "delivery_l_min": 1.8, "fuel_level_pct": 60.0, "fuel_temp_c": 25.0, "duty_pct": None, "system_v": 12.0,
    "ripple_limit_pct": None, "rpm_low": None, "rpm_high": None, "filter": "inline",
    "filter_changed_on": None,
    "pm_interval_days": 180, "pump_type": "T",
}  # fmt: skip


def history(*changes: dict, first: dict | None = None) -> pd.DataFrame:
    """Visits two months apart, the first healthy (or as told), each later one healthy but for its changes."""
    rows = [HEALTHY | (first or {})]
    for number, change in enumerate(changes, start=2):
        day = pd.Timestamp("2026-01-05") + pd.DateOffset(months=2 * (number - 1))
        rows.append(HEALTHY | {"visit_id": number, "visited_on": str(day.date())} | change)
    frame = pd.DataFrame(rows)
    for column in ("visited_on", "filter_changed_on"):
        frame[column] = pd.to_datetime(frame[column])
    return frame


def last_rule(*changes: dict, first: dict | None = None) -> str:
    return judge(history(*changes, first=first)).iloc[-1]["rule"]


HIGH = {"mean_a": 6.9}  # a pump that always drew about as much, so that its own baseline is silent


@pytest.mark.parametrize(
    ("rule", "change"),
    [
        ("no-current-proven-supply", {"mean_a": 0.05, "rpm": None, "ripple_pct": None}),
        ("circuit-low-volts", {"supply_v": 10.8, "mean_a": 4.2, "rpm": 4300.0}),
        ("circuit-drop", {"drop_supply_v": 0.9}),
        ("average-very-low", {"mean_a": 1.7, "rpm": 7200.0}),
        ("speed-high-poor-delivery", {"mean_a": 4.4, "rpm": 10800.0, "delivery_l_min": 0.3}),
        ("wear-both-down", {"mean_a": 5.1, "rpm": 5000.0}),
        ("average-below", {"mean_a": 3.7, "rpm": 6000.0}),
        ("average-above", {"mean_a": 7.6, "rpm": 5800.0}),
        ("speed-low", {"rpm": 3200.0}),
        ("speed-down", {"rpm": 5000.0}),
        ("current-down-speed-up", {"mean_a": 4.8, "rpm": 6600.0}),
        ("current-up-speed-down", {"mean_a": 6.2, "rpm": 5600.0}),
        ("ripple-high-speed-down", {"ripple_pct": 18.0, "rpm": 5700.0}),
        ("ripple-high", {"ripple_pct": 18.0}),
        ("average-down", {"mean_a": 4.8}),
        ("average-up", {"mean_a": 6.2}),
        ("no-reading", {"mean_a": None, "rpm": None, "ripple_pct": None, "raw_ripple_pct": None}),
        ("healthy", {}),
    ],
)
def test_rule_is_reached(rule, change):
    assert last_rule(change) == rule


WITHOUT_OWN_CHANGE = {
    "average-near-low": {"mean_a": 4.2},
    "average-near-high": {"mean_a": 6.8},
    "average-undecided": {"mean_a": 7.15},
    "average-unlike-type": {"current_low_a": None, "current_high_a": None, "type_a": 4.0, "type_pumps": 5},
}


@pytest.mark.parametrize("rule", WITHOUT_OWN_CHANGE)
def test_rule_is_reached_at_a_first_visit(rule):
    assert last_rule(first=WITHOUT_OWN_CHANGE[rule]) == rule


def test_every_rule_has_a_test():
    reached = {m.args[1][i][0] for m in test_rule_is_reached.pytestmark for i in range(len(m.args[1]))}
    assert {rule.id for rule in RULES} == reached | set(WITHOUT_OWN_CHANGE)


def test_average_is_corrected_to_the_volts_the_specification_holds_at():
    # 3.85 A at 11.9 V in prime is above 4.0 A at 13.5 V; nothing but the volts is out of order.
    row = {"mean_a": 3.85, "supply_v": 11.9, "state": "prime", "rpm": 5300.0}
    assert last_rule(row) != "average-below"
    assert last_rule(row | {"supply_v": 13.5}) == "average-below"


@pytest.mark.parametrize(("outside_a", "rule"), [(0.18, "average-undecided"), (0.2, "average-above")])
def test_the_book_decides_nothing_within_the_clamp_accuracy(outside_a, rule):
    # 2 % of 7.2 A and 0.05 A [P] are 0.194 A.
    assert last_rule({"mean_a": 7.0 + outside_a}, first=HIGH) == rule


def test_a_clamp_known_by_name_has_its_own_accuracy():
    settings = DEFAULTS | {"clamps": {"blue": {"pct": 0.5, "a": 0.01}}}
    seen = {"mean_a": 7.1}
    visits = history(seen | {"clamp": "blue"}, seen | {"clamp": "red"}, seen, first=HIGH)
    assert list(judge(visits, settings)["rule"])[1:] == ["average-above", *["average-undecided"] * 2]


def test_the_verdict_says_how_near_the_clamp_can_tell():
    reading = Reading(7.1, 0.01, 6.8, 7.2, 0.4, 8.0, 9.0, 10.0, 6000.0, 1.0, 8, 0.99)
    verdict = judge_reading(reading, specification={"current_low_a": 4.0, "current_high_a": 7.0})
    assert verdict.rule == "average-undecided"
    assert verdict.action == "repeat capture"
    assert "±0.19 A" in verdict.text
    assert "read to within ±0.19 A" in verdict.compared_with


def test_prime_is_not_compared_with_idle():
    # Prime runs on about 1.8 V less: about 17 % less speed, which against idle would read as wear.
    change = {"state": "prime", "supply_v": None, "mean_a": 5.1, "rpm": 5000.0}
    assert last_rule(change) == "healthy"
    assert last_rule(change | {"state": "idle"}) == "speed-down"


def test_pwm_readings_meet_the_specification_only_at_full_duty():
    change = {"supply": "pwm", "duty_pct": 55.0, "mean_a": 3.0, "rpm": 3000.0}
    assert last_rule(change) == "healthy"
    assert last_rule(change | {"duty_pct": 100.0}) == "average-below"


def test_brushless_pump_is_not_judged_on_ripple():
    assert last_rule({"motor": "brushless", "ripple_pct": 40.0, "rpm": None}) == "healthy"


def test_rule_of_thumb_takes_the_figure_that_sparks_do_not_spoil():
    assert last_rule({"ripple_pct": 9.0, "raw_ripple_pct": 45.0}) == "healthy"


def test_plain_ripple_serves_only_without_sparks():
    change = {"ripple_pct": None, "raw_ripple_pct": 30.0, "rpm": None}
    assert last_rule(change | {"sparks_per_s": 0.0}) == "ripple-high"
    assert last_rule(change | {"sparks_per_s": 40.0}) == "healthy"


def test_switching_is_not_ripple():
    change = {"supply": "pwm", "duty_pct": None, "ripple_pct": 40.0}
    assert last_rule(change) == "healthy"


def test_a_fault_does_not_become_its_own_measure():
    # 13 % down: a mean over the first three would make it 4 % down by the fourth visit, and healthy.
    down = {"mean_a": 4.8}
    judged = judge(history(down, down, down, {}, {}))
    assert list(judged["rule"])[1:] == [*["average-down"] * 3, "healthy", "healthy"]
    assert list(judged["baseline_count"]) == [0, 1, 1, 1, 1, 2]


def test_questioned_reading_makes_no_baseline():
    judged = judge(history({"in_trend": False, "mean_a": 9.9}, {}))
    assert judged.iloc[-1]["baseline_count"] == 1


def test_baseline_says_how_it_began():
    kinds = [
        judge(history({}).assign(distance_on_pump_km=[first, first + 9000.0])).iloc[-1]["baseline_kind"]
        for first in (100.0, 3000.0, 90000.0)
    ]
    assert kinds == ["new", "bedding-in", "late"]


FINE = Reading(5.0, 0.01, 4.8, 5.2, 0.4, 8.0, 9.0, 10.0, 6000.0, 1.0, 8, 0.99)


def said(change: dict, reading: Reading = FINE) -> Verdict:
    specification = {"current_low_a": 4.0, "current_high_a": 7.0, "spec_at_v": 13.5, "spec_at_kpa": 400.0}
    return judge_reading(reading, specification=specification, context=change)


@pytest.mark.parametrize(
    ("recorded", "how"),
    [
        ({}, "(volts and pressure not recorded)"),
        ({"supply_v": 13.2}, "(corrected for volts, pressure not recorded)"),
        ({"supply_v": 13.2, "fuel_pressure_kpa": 390.0}, "(corrected for volts and pressure)"),
    ],
)
def test_the_verdict_says_what_the_average_was_corrected_for(recorded, how):
    assert f"specification 4–7 A at 13.5 V and 400 kPa {how}" in said(recorded).compared_with


def test_average_is_corrected_to_the_pressure_the_specification_holds_at():
    # 7.3 A at 460 kPa is 6.8 A at 400 kPa, by the nominal exponent 0.6 - 0.27 * 0.3 * 0.6 / 0.811 = 0.540.
    assert said({"fuel_pressure_kpa": 460.0}, replace(FINE, mean_a=7.3)).rule == "average-near-high"
    assert said({}, replace(FINE, mean_a=7.3)).rule == "average-above"


def test_the_next_test_is_none_that_was_done():
    slow = {"rpm": 5000.0}
    unproven = _verdict(judge(history(slow | {"drop_supply_v": None})), None, DEFAULTS)
    assert unproven.next_test == "Measure volts at the pump under load first."
    proven = _verdict(judge(history(slow)), None, DEFAULTS)
    assert proven.rule == unproven.rule == "speed-down"
    assert proven.next_test.startswith("Check the clamp's zero and capture again")


def test_a_refused_speed_says_what_to_change_and_capture_again():
    untold = replace(FINE, rpm=None, revolution_ms=None, speed_confidence=0.6)
    verdict = said({}, untold)
    assert verdict.rule == "healthy"
    assert "doesn't tell the speed" in verdict.text
    assert verdict.next_test == "Change what the notes say (range, time base, length) and capture again."
    assert "speed" not in said({"motor": "brushless"}, untold).text  # there is none to be told


def test_a_meter_is_not_said_to_tell_ripple_and_speed():
    assert "a meter tells nothing of ripple and speed" in said({"origin": "meter"}).text


def test_nothing_is_said_twice():
    assert said({}, replace(FINE, mean_a=1.5)).also == ()
    worn = _verdict(judge(history({"mean_a": 4.8, "rpm": 5000.0})), None, DEFAULTS)
    assert worn.rule == "wear-both-down"
    assert worn.also == (
        "The average is far below this pump's own baseline: a supply or ground fault, starvation or wear.",
    )


def test_a_drop_says_its_side_and_how_much():
    text = said({"drop_supply_v": 0.9, "drop_ground_v": 0.05}).text
    assert text == "Too many volts are lost under load: 0.9 V on the supply side (up to 0.5 V is usual)."


def test_no_specification_says_so():
    reading = Reading(5.0, 0.01, 4.8, 5.2, 0.4, 8.0, 9.0, 10.0, 6000.0, 1.0, 8, 0.99)
    verdict = judge_reading(reading)
    assert verdict.rule == "healthy"
    assert "no specification known" in verdict.compared_with
    assert (
        judge_reading(reading, specification={"current_low_a": 6.0, "current_high_a": 8.0}).rule
        == "average-below"
    )
