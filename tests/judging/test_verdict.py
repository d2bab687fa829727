"""Each trade rule, reached by a visit that shows it, and the comparison it rests on."""

import json
from dataclasses import replace

import pandas as pd
import pytest

from analytics.judging.judge import judge
from analytics.judging.verdict import Verdict, judge_reading, verdict_of
from ingest.reading import Reading
from ingest.trade_numbers import DEFAULTS
from ingest.wording import measuring_notes
from ingest.wording.stored import stored_note

HEALTHY = {
    "visit_id": 1, "pump_id": 1, "unit": "U1", "position": "main", "visited_on": "2026-01-05", "reason": "pm",
    "state": "idle", "in_trend": True, "origin": "capture", "distance_on_pump_km": 100.0, "motor": "brushed",
    "supply": "direct", "current_low_a": 4.0, "current_high_a": 7.0, "spec_at_v": 13.5, "spec_at_kpa": None,
    "mean_a": 5.5, "ripple_pct": 8.0, "raw_ripple_pct": 11.0, "rpm": 6000.0, "supply_v": 13.5, "zero_a": 0.0,
    "drop_supply_v": 0.2, "drop_ground_v": 0.05, "fuel_pressure_kpa": None, "rated_pressure_kpa": 400.0,
    "delivery_l_min": None, "fuel_level_pct": 60.0, "fuel_temp_c": 25.0, "duty_pct": None, "system_v": 12.0,
    "ripple_limit_pct": None, "rpm_low": None, "rpm_high": None, "filter": "inline",
    "filter_changed_on": None,
    "pm_interval_days": 180, "pump_type": "T",
}  # fmt: skip


def history(*changes: dict, first: dict | None = None) -> pd.DataFrame:
    """Visits two months apart, two healthy (or as told) first, each later one healthy but for its changes."""
    rows = [
        HEALTHY | (first or {}) | {"visit_id": n, "visited_on": f"2025-{5 + 4 * n:02d}-05"} for n in (0, 1)
    ]
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


def test_average_is_corrected_to_the_volts_the_specification_holds_at():
    # 3.85 A at 11.9 V in prime is above 4.0 A at 13.5 V; nothing but the volts is out of order.
    row = {"mean_a": 3.8, "supply_v": 11.9, "state": "prime", "rpm": 5300.0}
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
    assert list(judge(visits, settings)["rule"])[2:] == ["average-above", *["average-undecided"] * 2]


def test_the_verdict_says_how_near_the_clamp_can_tell():
    reading = Reading(7.1, 0.01, 6.8, 7.2, 0.4, 8.0, 9.0, 10.0, 6000.0, 1.0, 8, 0.99, method_version=1)
    verdict = judge_reading(reading, specification={"current_low_a": 4.0, "current_high_a": 7.0})
    assert verdict.rule == "average-undecided"
    assert verdict.action == "repeat capture"
    assert "±0.19 A" in verdict.text
    assert "read to within ±0.19 A" in verdict.compared_with


def test_prime_is_not_compared_with_idle():
    # Prime runs on about 1.8 V less: about 17 % less speed, which against idle would read as wear.
    change = {"state": "prime", "supply_v": None, "mean_a": 5.1, "rpm": 5000.0}
    assert last_rule(change) == "healthy"
    assert last_rule(change | {"state": "idle"}) == "speed-down"  # volts unknown: they come first


def test_pwm_readings_meet_the_specification_only_at_full_duty():
    change = {"supply": "pwm", "duty_pct": 55.0, "mean_a": 3.0, "rpm": 3000.0}
    assert last_rule(change) == "reduced-command"
    assert last_rule(change | {"duty_pct": 100.0}) == "average-below"


def test_duties_compare_within_points_not_in_buckets():
    pulsed = {"supply": "pwm", "rpm": None, "ripple_pct": None, "raw_ripple_pct": None, "mean_a": 3.0}
    founded = pulsed | {"duty_pct": 57.4}
    for duty, count in ((57.6, 2), (62.3, 2), (62.5, 0), (52.4, 2), (52.3, 0)):
        assert judge(history(pulsed | {"duty_pct": duty}, first=founded)).iloc[-1]["baseline_count"] == count


def test_brushless_pump_is_not_judged_on_ripple():
    assert last_rule({"motor": "brushless", "ripple_pct": 40.0, "rpm": None}) == "healthy"


def test_rule_of_thumb_takes_the_figure_that_sparks_do_not_spoil():
    assert last_rule({"ripple_pct": 9.0, "raw_ripple_pct": 45.0}) == "healthy"


def test_plain_ripple_serves_only_without_sparks():
    change = {"ripple_pct": None, "raw_ripple_pct": 30.0, "rpm": None}
    assert last_rule(change | {"sparks_per_s": 0.0}) == "ripple-high"
    assert last_rule(change | {"sparks_per_s": 15.0}) == "healthy"
    assert last_rule(change | {"sparks_per_s": 40.0}) == "irregular"  # a refusal for sparks is a reading too


@pytest.mark.parametrize(
    ("why", "rule"),
    [("irregular", "healthy"), ("too-slow", "healthy"), ("foreign", "healthy"), ("open", "ripple-high")],
)
@pytest.mark.parametrize("stored", [True, False])
def test_what_made_a_turn_be_rejected_is_no_ripple(why, rule, stored):
    note = getattr(measuring_notes, f"ripple_{why.replace('-', '_')}")()
    notes = json.dumps([stored_note(note)]) if stored else (note,)
    change = {"ripple_pct": None, "raw_ripple_pct": 30.0, "rpm": None, "sparks_per_s": 0.0}
    assert last_rule(change | {"reading_notes": notes}) == rule


def test_switching_is_not_ripple():
    change = {"supply": "pwm", "duty_pct": 60.0, "ripple_pct": 40.0}
    assert last_rule(change) == "reduced-command"


def test_a_fault_does_not_become_its_own_measure():
    # 13 % down: a mean over the first three would make it 4 % down by the fourth visit, and healthy.
    down = {"mean_a": 4.8, "rpm": None, "drop_supply_v": None}
    judged = judge(history(down, down, down, {}, {}))
    assert list(judged["rule"])[2:] == [*["average-down"] * 3, "healthy", "healthy"]
    assert list(judged["baseline_count"]) == [0, 1, 2, 2, 2, 2, 3]


@pytest.mark.parametrize(
    "faulty",
    [
        {"supply_v": 10.9, "mean_a": 5.2}, {"drop_ground_v": 0.4}, {"delivery_l_min": 0.3},
        {"reason": "complaint"}, {"reason": "after-repair"}, {"in_trend": False},
    ],
)  # fmt: skip
def test_a_reading_that_is_a_fault_in_itself_founds_no_baseline(faulty):
    judged = judge(history({}, {}, {}, first=faulty))
    assert list(judged["founds"]) == [False, False, True, True, True]


@pytest.mark.parametrize(
    ("work", "fault", "rule", "counted"),
    [
        ("regulator", {"fuel_pressure_kpa": 280.0}, "healthy", 0),
        (None, {"fuel_pressure_kpa": 280.0}, "current-up-speed-down", 3),  # nobody mended anything
        ("filter", {"fuel_pressure_kpa": 280.0}, "current-up-speed-down", 3),  # which alters any current
        ("regulator", {}, "current-up-speed-down", 3),  # no fault lay on the baseline
        ("regulator", {"fuel_pressure_kpa": 280.0, "mean_a": 3.2}, "current-up-speed-down", 3),  # nor here
    ],
)
def test_a_baseline_of_a_fault_since_mended_is_no_measure(work, fault, rule, counted):
    low = {"mean_a": 4.3, "rpm": 6500.0, "fuel_pressure_kpa": 400.0}
    mended = {"fuel_pressure_kpa": 400.0}
    work = pd.DataFrame([{"unit": "V1", "done_on": pd.Timestamp("2026-06-01"), "work": work}])
    visits = history(low, low | fault, low | fault, mended, mended, first=low).assign(unit="V1")
    judged = judge(visits, services=work)
    assert list(judged["rule"])[-2:] == [rule, rule]
    assert judged["baseline_count"].iloc[-2] == counted


def test_two_good_readings_come_before_a_change():
    worn = {"mean_a": 5.2, "rpm": 5000.0}
    assert last_rule(worn) == "wear-both-down"
    assert judge(history(worn)[1:]).iloc[-1]["rule"] == "healthy"


def test_metrics_measured_otherwise_have_a_level_of_their_own():
    again = {"origin": "capture", "method_version": 9, "mean_a": 4.7, "rpm": 4900.0}
    older = {"origin": "capture", "method_version": 8}
    assert last_rule(again, first=older) == "healthy"
    assert last_rule(again | {"method_version": 8}, first=older) == "wear-both-down"
    assert last_rule(again | {"origin": "elsewhere"}, first=older) == "healthy"
    meter = {"origin": "meter", "mean_a": 4.7, "rpm": None, "drop_supply_v": None}
    assert last_rule(meter, first=older) == "average-down"  # an average is an average


def test_volts_read_at_the_battery_correct_nothing():
    row = {"mean_a": 3.8, "supply_v": 11.9, "state": "prime", "rpm": 5300.0}
    assert last_rule(row | {"supply_v_at": "battery"}) == "average-below"


SPREAD = (100.0, 101.0, 99.5, 100.5, 100.0, 101.0, 99.5, 100.5)


def test_one_weak_segment_speaks_though_ripple_does_not():
    weak = (100.0, 93.0, 99.5, 100.5, 100.0, 93.0, 99.5, 100.5)  # the same bar, half a turn on
    row = judge(history({"segment_profile_pct": weak}, first={"segment_profile_pct": SPREAD}))
    assert list(row["rule"]) == ["healthy", "healthy", "segment-odd"]
    verdict = verdict_of(row, None, DEFAULTS)
    assert "Segment 2, seen twice a turn, lies 7.0 % of the average below" in verdict.text
    assert "One segment" in verdict.text


def test_an_odd_number_of_segments_is_not_folded_to_half_a_turn():
    weak = (100.0, 92.0, 99.5, 100.5, 100.0, 101.0, 99.5)
    text = verdict_of(judge(history({"segment_profile_pct": weak})), None, DEFAULTS).text
    assert "Segment 2 lies 8.0 % of the average below" in text


def test_a_clipped_trace_judges_nothing():
    note = '[{"code": "clipped", "level": "warning", "text": "cut"}]'
    assert last_rule({"reading_notes": note, "mean_a": 3.0}) == "clipped"
    assert (
        last_rule({"reading_notes": note.replace("clipped", "zero-verified"), "mean_a": 3.0})
        == "average-below"
    )


@pytest.mark.parametrize(
    ("notes", "change", "rule"),
    [
        (("pwm-found",), {"rpm": None, "ripple_pct": 90.0}, "supply-switched"),
        (("pwm-found",), {"rpm": None, "ripple_pct": 90.0, "supply": "pwm", "duty_pct": 55.0},
         "reduced-command"),
        (("pwm-found",), {}, "healthy"),  # a line beside a speed that was told
        (("speed-undecided",), {"rpm": None, "ripple_pct": 50.0}, "ripple-unsure"),
        (("speed-undecided",), {"rpm": None, "ripple_pct": 15.5}, "ripple-high"),
        ((), {"ripple_pct": 50.0}, "ripple-jumped"),
        ((), {"ripple_pct": None, "raw_ripple_pct": 110.0, "rpm": None, "sparks_per_s": 0.0},
         "ripple-unsure"),
        (("speed-not-followed",), {"rpm": None}, "irregular"),
        ((), {"rpm": None, "reading_notes": '"code": "sampled-too-slowly", "code": "speed-not-followed"'},
         "healthy"),
        (("segments-contradicted",), {"rpm": None, "ripple_pct": None}, "segments-contradicted"),
        (("segments-contradicted",), {}, "healthy"),  # told since by a reading with the right number
        (("segments-contradicted",), {"rpm": None, "ripple_pct": None, "mean_a": 3.0}, "average-below"),
        (("speed-undecided", "far"), {"rpm": None, "ripple_pct": None}, "speed-unlike-last"),
        (("speed-undecided",), {"rpm": None, "ripple_pct": None}, "healthy"),
        (("current-flat",), {"rpm": None, "ripple_pct": None, "sample_rate_hz": 50e3}, "no-commutation"),
        (("current-flat",), {"rpm": None, "ripple_pct": None, "sample_rate_hz": 2e3}, "healthy"),
        (("current-flat",), {"rpm": None, "ripple_pct": None, "motor": "brushless"}, "healthy"),
        (("current-flat",), {"rpm": None, "ripple_pct": None, "mean_a": 10.0}, "far-above-no-ripple"),
        ((), {"mean_a": 10.0, "rpm": 4300}, "average-above"),
        (("speed-not-followed",), {"rpm": None, "supply": "pwm", "duty_pct": 55.0}, "reduced-command"),
    ],
)  # fmt: skip
def test_no_ripple_condemns_whose_turn_was_not_told(notes, change, rule):
    said = " ".join(f'"code": "{code}"' for code in notes[:1])
    said += "".join(f', "values": {{"variant": "{variant}"}}' for variant in notes[1:])
    assert last_rule({"reading_notes": said} | change) == rule


def test_a_trace_that_contradicts_the_segments_asks_for_them_first():
    row = {"rpm": None, "ripple_pct": None, "sparks_per_s": 0.0}
    row |= {"reading_notes": '"code": "segments-contradicted"'}

    def next_test(**change):
        return verdict_of(judge(history(row | change)), None, DEFAULTS).next_test

    assert next_test().startswith("Count the segments")
    assert "segments told" in next_test(raw_ripple_pct=110.0, reading_notes="[]")
    for state in ("idle", "prime"):
        unsure = next_test(raw_ripple_pct=110.0, state=state)
        assert unsure.startswith("Count the segments")
        assert "before it leaves" in unsure


def test_a_record_of_one_value_judges_nothing():
    railed = {"mean_a": 3.0, "rpm": None, "ripple_pct": None, "raw_ripple_pct": 0.0}
    assert last_rule(railed) == "frozen"
    assert last_rule(railed | {"raw_ripple_pct": 0.2}) == "average-below"
    assert last_rule(railed | {"mean_a": 16.0}) == "stalled"  # a pump that stands is switched off first


def test_a_visit_without_any_reading_says_so():
    names = ("mean_a", "rpm", "ripple_pct", "raw_ripple_pct", "supply_v", "drop_supply_v", "drop_ground_v")
    blank = dict.fromkeys((*names, "fuel_level_pct"))
    judged = judge(history(first=blank))
    assert set(judged["rule"]) == {"no-reading"}
    assert "nan" not in verdict_of(judged, None, DEFAULTS).compared_with
    # A blank visit after a reading leaves that reading's finding standing.
    assert verdict_of(judge(history({"drop_ground_v": 0.4}, blank)), None, DEFAULTS).rule == "circuit-drop"


def test_a_complaint_is_not_called_unexplained_beside_the_fault_that_was_found():
    stands = {"mean_a": 17.0, "rpm": None, "ripple_pct": 0.8, "supply_v": 12.6, "reason": "road-call"}
    seized = verdict_of(judge(history(stands)), None, DEFAULTS)
    assert (seized.rule, seized.also) == ("stalled", ())
    cured = verdict_of(judge(history({"reason": "complaint"})), None, DEFAULTS)
    assert cured.rule == "complaint-open"


def test_baseline_says_how_it_began():
    kinds = [
        judge(history({}).assign(distance_on_pump_km=[first, first + 9000.0, first + 18000.0])).iloc[-1][
            "baseline_kind"
        ]
        for first in (100.0, 3000.0, 90000.0)
    ]
    assert kinds == ["new", "bedding-in", "late"]


FINE = Reading(5.0, 0.01, 4.8, 5.2, 0.4, 8.0, 9.0, 10.0, 6000.0, 1.0, 8, 0.99, method_version=1)


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
    unproven = verdict_of(judge(history(slow | {"supply_v": None})), None, DEFAULTS)
    assert unproven.rule == "speed-down"
    assert unproven.next_test == "Measure volts at the pump under load."  # the drops were just entered
    blank = slow | {"supply_v": None, "drop_supply_v": None}
    assert "both drops" in verdict_of(judge(history(blank)), None, DEFAULTS).next_test
    proven = verdict_of(judge(history(slow)), None, DEFAULTS)
    assert proven.rule == "wear-both-down"
    assert "capture again" in proven.next_test


def test_an_untold_speed_and_a_meter_are_said_to_be_what_they_are():
    untold = replace(FINE, rpm=None, revolution_ms=None, speed_confidence=0.6)
    verdict = said({}, untold)
    assert verdict.rule == "healthy"
    assert "the speed was not told" in verdict.text
    assert "speed" not in said({"motor": "brushless"}, untold).text  # there is none to be told
    assert "a meter tells nothing of ripple and speed" in said({"origin": "meter"}).text


def test_nothing_is_said_twice():
    assert said({}, replace(FINE, mean_a=1.9)).also == ()
    worn = verdict_of(judge(history({"mean_a": 4.8, "rpm": 5000.0})), None, DEFAULTS)
    assert worn.rule == "wear-both-down"
    assert worn.also == (
        "The average is far below its own baseline: a supply or ground fault, starvation or wear.",
    )
    drags = verdict_of(judge(history({"mean_a": 8.6, "rpm": 5000.0, "supply_v": 13.5})), None, DEFAULTS)
    assert drags.rule == "average-above"
    assert not any("low volts first" in text for text in drags.also)
    weak = {"mean_a": 4.1, "supply_v": 11.0, "drop_ground_v": 2.4, "fuel_pressure_kpa": 310.0}
    short = verdict_of(judge(history(weak | {"rated_pressure_kpa": 400.0})), None, DEFAULTS)
    assert short.rule.startswith("circuit")
    assert sum("pressure" in text for text in (short.text, *short.also)) == 1


@pytest.mark.parametrize(
    ("change", "held"),
    [
        ({"current_high_a": None}, "specification from 4 A"),
        ({"current_low_a": None}, "specification up to 7 A"),
        ({"supply": "pwm", "duty_pct": 50.0}, "not with its specification, which holds at full command only"),
    ],
)
def test_only_what_was_compared_is_said_to_be(change, held):
    assert held in said(change).compared_with


def test_a_drop_says_its_side_and_how_much():
    text = said({"drop_supply_v": 0.9, "drop_ground_v": 0.05}).text
    assert text == "Too many volts are lost under load: 0.9 V on the supply side (up to 0.5 V is usual)."


def test_a_drop_too_high_for_little_current_says_at_which():
    text = said({"drop_supply_v": 0.45}, replace(FINE, mean_a=2.75)).text  # half the middle of 4 to 7 A
    assert "0.45 V on the supply side (at 2.8 A up to 0.25 V is usual)" in text


def test_no_specification_says_so():
    reading = Reading(5.0, 0.01, 4.8, 5.2, 0.4, 8.0, 9.0, 10.0, 6000.0, 1.0, 8, 0.99, method_version=1)
    verdict = judge_reading(reading)
    assert verdict.rule == "no-specification"
    assert "no specification known" in verdict.compared_with
    assert (
        judge_reading(reading, specification={"current_low_a": 6.0, "current_high_a": 8.0}).rule
        == "average-below"
    )


@pytest.mark.parametrize(
    ("fault", "rule", "where"),
    [
        ("healthy", "healthy", ""),
        ("open coil", "ripple-very-high", "above the others"),
        ("isolated bar", "ripple-very-high", "below the others"),
        ("burnt bar", "segment-odd", "below the others"),
    ],
)
def test_a_bad_coil_or_bar_in_a_first_capture_is_named(fault, rule, where):
    from demo_fleet.armature import simulate
    from demo_fleet.motor import Motor
    from ingest.capture import Capture
    from ingest.known_pump import KnownPump
    from ingest.measuring.measurement import measure

    trace = simulate(Motor(), duration_s=0.2, seed=3, faults=fault)
    reading = measure(Capture(trace.current_a, trace.sample_rate_hz, source="s"), KnownPump(segments=8))
    verdict = judge_reading(reading, specification={"current_low_a": 3.0, "current_high_a": 7.0})
    assert verdict.rule == rule
    assert where in verdict.text
    assert ("seen twice a turn" in verdict.text) == bool(where)
