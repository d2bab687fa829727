"""What may be booked, and what has to come first."""

import pandas as pd
import pytest

from analytics.judging.action import ACTIONS, decide_actions
from analytics.judging.finding import decide_findings
from analytics.judging.judge import judge
from analytics.judging.verdict import verdict_of
from analytics.risk.ranking import findings_of
from ingest.trade_numbers import DEFAULTS
from tests.judging.test_verdict import history


def act(*changes: dict, services: pd.DataFrame | None = None, **more) -> pd.Series:
    return decide_actions(judge(history(*changes)), services, **more).iloc[0]


LOW = {"mean_a": 3.7, "delivery_l_min": None, "zero_checked": "yes"}
UNPROVEN = {"drop_supply_v": None, "drop_ground_v": None}
UNZEROED = {"zero_checked": None, "zero_a": None}


def test_healthy_ends_with_the_next_capture():
    row = act({})
    assert row["action"] == "none"
    assert row["action_text"] == "No action; next capture by 2026-09-01."


def test_the_next_capture_has_an_odometer_where_the_units_is_known():
    at = {"odometer_km": 160_934.4}  # 100,000 miles
    own = act(at | {"pm_interval_km": 9_656.064, "pm_interval_days": 90})
    assert own["action_text"] == (
        "No action; next capture by 2026-06-03 or at 106,000 mi, whichever comes first."
    )
    assert own["next_capture_km"] == pytest.approx(170_590.464)
    # Public fleet documents [S]: cars and light trucks every 7,500 miles or 6 months.
    assert "or at 107,500 mi" in act(at | {"pm_interval_days": None})["action_text"]
    # A unit with days alone, or one that goes by hours, has no odometer to wait for.
    assert act(at)["next_capture_km"] is None
    assert act(at | {"pm_interval_km": 9_656.064, "clock": "hours"})["next_capture_km"] is None
    assert act(at | LOW | {"pm_interval_km": 9_656.064})["next_capture_km"] == pytest.approx(160_934.4)


def test_a_reading_unlike_all_before_clears_no_finding():
    primed = {"state": "prime", "supply_v": 12.4, "rpm": 5000.0, "visited_on": "2026-03-20"}
    assert act(WORN, primed)["finding"] == "wear-both-down"
    # Nor does it break the run of readings that show one, before or after it.
    twice = (WORN, primed, WORN | {"visited_on": "2026-03-25"})
    assert (
        act(*twice)["finding_action"] == act(*twice, primed | {"visited_on": "2026-03-26"})["finding_action"]
    )
    assert act(*twice)["finding_action"] == "book replacement"
    assert "Found on 2026-03-05; " in verdict_of(judge(history(WORN, primed)), None, DEFAULTS).text
    assert act(WORN, primed | {"visited_on": "2026-09-20"})["finding"] == "healthy"  # long ago
    assert act(WORN, primed | {"check_result": "not_reproduced"})["finding"] == "healthy"
    assert act(WORN, {"visited_on": "2026-03-20"})["finding"] == "healthy"  # alike, and good again
    work = pd.DataFrame({"unit": [7], "done_on": ["2026-03-18"], "work": ["connector"]})
    units = {"unit": 7}
    assert act(WORN | units, primed | units, services=work)["finding"] == "healthy"


def test_circuit_comes_first_for_a_low_average():
    assert act(LOW | UNPROVEN)["action"] == "check circuit"


# Worn: slow on good volts. Its steps are a repeat, the circuit and the connector.
WORN = {"mean_a": 5.2, "rpm": 5000.0, "zero_checked": "yes", "zero_a": None, "connector": "good"}


def test_one_finding_books_nothing():
    row = act(WORN)
    assert row["action"] == "repeat capture"
    assert row["missing"] == "repeat"
    assert act(WORN, WORN)["action"] == "book replacement"


@pytest.mark.parametrize(
    ("lacking", "action"),
    [
        ({"zero_checked": None}, "book replacement"),
        (UNZEROED, "repeat capture"),
        (UNPROVEN, "check circuit"),
        ({"visited_on": pd.Timestamp("2026-03-05")}, "book replacement"),
        ({"visited_on": pd.Timestamp("2026-03-05"), "zero_checked": "no", "zero_a": 0.0}, "repeat capture"),
        ({"visited_on": pd.Timestamp("2026-03-05"), "origin": "meter"}, "repeat capture"),
    ],
)
def test_a_repeat_is_another_day_or_a_zero_check_and_never_a_meter_beside_it(lacking, action):
    both = lacking if lacking in (UNPROVEN, UNZEROED) else {}
    assert act(WORN | both, WORN | lacking)["action"] == action


def test_a_gauge_needs_no_zero():
    short = {"fuel_pressure_kpa": 200.0, "fuel_level_pct": 60.0, "zero_a": None} | dict.fromkeys(
        ("strainer", "hose", "regulator", "filter_state"), "good"
    )
    row = act(short | {"fuel_in_tank": "E10"})
    assert (row["finding"], row["missing"]) == ("does-not-deliver", "again")
    assert row["finding_action"] == "check delivery"
    assert row["action_text"].startswith("Measure pressure and delivery again on another day")
    assert act(*[short | {"fuel_in_tank": "E10"}] * 2)["finding_action"] == "book replacement"


LOADED = {
    "mean_a": 6.4,
    "rpm": 5600.0,
    "zero_checked": "yes",
    "fuel_pressure_kpa": 400.0,
    "fuel_in_tank": "E10",
}


def test_filter_changed_since_the_finding_excludes_the_filter():
    first, again = LOADED | {"filter": "inline"}, LOADED | {"filter": "inline"}
    assert act(first, again)["action"] == "check filter or strainer"
    changed = again | {"filter_changed_on": pd.Timestamp("2026-04-01")}
    assert act(first, changed)["action"] == "book replacement"
    assert (
        act(first, again | {"filter_changed_on": pd.Timestamp("2025-12-01")})["action"] != "book replacement"
    )
    assert act(first, again | {"filter_state": "good"})["action"] == "book replacement"


def test_a_check_that_named_a_cause_beside_the_pump_leaves_that_to_be_mended():
    def checked(result: str) -> bool:
        short = {"fuel_pressure_kpa": 200.0, "check_result": result}
        return bool(findings_of(judge(history(short)), None, DEFAULTS, None)["checked"].iloc[0])

    assert checked("no_other_cause")
    assert not checked("strainer")


def test_a_filter_in_the_module_is_named_before_a_restriction_condemns_the_pump():
    built_in = LOADED | {"filter": "module"}
    row = act(built_in, built_in)
    assert row["finding_action"] == "book replacement"
    assert "unless an outlet filter can be renewed by itself" in row["next_test"]
    for known in ({"filter": "none"}, {"filter_state": "good"}):
        assert "outlet filter" not in act(built_in | known, built_in | known)["next_test"]


def test_a_circuit_that_passed_before_the_finding_excludes_nothing():
    assert act({}, WORN | UNPROVEN, WORN | UNPROVEN)["action"] == "check circuit"


def test_a_healthy_visit_between_breaks_the_repeat():
    assert act(WORN, {}, WORN)["action"] == "repeat capture"


CHECKED = {
    "mean_a": None, "rpm": None, "ripple_pct": None, "raw_ripple_pct": None, "origin": None,
    "visited_on": pd.Timestamp("2026-03-20"),
}  # fmt: skip


def test_a_check_without_current_passes_steps_of_the_reading_before_it():
    blank = dict.fromkeys(("supply_v", "drop_supply_v", "drop_ground_v"))
    found = act(LOW | UNPROVEN, CHECKED | {"drop_supply_v": 0.2, "drop_ground_v": 0.05})
    assert (found["finding"], found["action"]) == ("average-below", "check delivery")
    assert act(LOW | UNPROVEN, CHECKED | blank | {"strainer": "good"})["action"] == "check circuit"
    assert act(LOW, CHECKED | {"delivery_l_min": 1.9})["finding"] == "low-current-but-delivers"


def test_no_other_cause_passes_everything_but_a_repeat():
    told = {"check_result": "no_other_cause", "reason": "follow-up"}
    assert act(LOW | UNPROVEN, CHECKED | told)["action"] == "repeat capture"
    assert act(LOW | UNPROVEN, LOW | UNPROVEN | told)["action"] == "book replacement"


def test_ripple_alone_never_books():
    over = {"ripple_pct": 15.9, "filter": "module"}
    assert act(over, over, over)["action"] == "shorten interval"


@pytest.mark.parametrize(("state", "says"), [("idle", "engine off"), ("prime", "the whole prime")])
def test_ripple_of_an_untold_turn_books_nothing_and_does_not_leave(state, says):
    shown = {"rpm": None, "ripple_pct": None, "raw_ripple_pct": 102.0, "sparks_per_s": 0.0, "state": state}
    row = act(shown)
    assert row["finding"] == "ripple-unsure"
    assert "may not restart" in row["finding_text"]
    assert says in row["next_test"]
    assert "before it leaves" in row["next_test"]
    assert act(shown, shown | {"zero_checked": "yes"})["action"] == "shorten interval"
    assert act(shown | {"raw_ripple_pct": 12.0})["finding"] != "ripple-unsure"


def test_risk_alone_never_books():
    worth = pd.Series({1: True})
    assert act({}, worth_booking=worth)["action"] == "shorten interval"
    assert act({}, worth_booking=pd.Series({1: False}))["action"] == "none"


def test_a_pump_that_stalls_has_failed():
    stalled = {"mean_a": 17.0, "rpm": None, "ripple_pct": 0.5, "raw_ripple_pct": 1.0}
    row = act(stalled)
    assert row["failed"]
    assert row["action"] == "book replacement"
    assert not act(stalled, {})["failed"]
    assert not act(stalled | {"motor": "brushless"})["failed"]
    assert not act(stalled | {"sample_rate_hz": 2000.0})["failed"]  # too slow to see ripple


@pytest.mark.parametrize(
    ("mean_a", "volts", "failed"),
    [
        (8.0, {"supply_v": 6.0}, True),  # V / R: a pump of 18 A at 13.5 V that stands
        (8.0, {"supply_v": 13.4}, False),
        (8.0, {"supply_v": 6.0, "supply_v_at": "battery"}, False),  # what reached the pump is not known
        (4.8, {"supply_v": 6.0}, False),  # what it draws turning
    ],
)
def test_a_pump_that_stands_draws_by_the_volts_that_reach_it(mean_a, volts, failed):
    row = act({}, {}, {"mean_a": mean_a, "rpm": None, "ripple_pct": 0.5, "raw_ripple_pct": 1.0} | volts)
    assert row["failed"] == failed


def test_a_breakdown_of_the_pump_is_a_failure_until_a_good_reading():
    broke = pd.DataFrame({"pump_id": [1], "happened_on": [pd.Timestamp("2026-03-10")]})
    judged = judge(history({}))
    row = decide_findings(judged, breakdowns=broke).iloc[0]
    assert row["failed"]
    assert row["down_since"] == pd.Timestamp("2026-03-10")
    assert not decide_findings(judge(history({}, {})), breakdowns=broke).iloc[0]["failed"]
    assert decide_findings(judge(history({}, WORN)), breakdowns=broke).iloc[0]["failed"]


def test_a_person_may_override_with_a_reason():
    decisions = pd.DataFrame(
        [{"pump_id": 1, "status": "booked", "reason": "noisy for weeks", "planned_on": None}]
    )
    row = act({}, decisions=decisions)
    assert row["action"] == "book replacement"
    assert "noisy for weeks" in row["action_text"]


def test_low_volts_blame_the_circuit_not_the_pump():
    row = {"supply_v": 10.8, "mean_a": 4.2, "rpm": 4300.0}
    assert act(row, row)["action"] == "check circuit"


def test_actions_are_the_agreed_words():
    assert len(ACTIONS) == 7
    assert act({})["action"] in ACTIONS


@pytest.mark.parametrize(
    ("change", "idle"),
    [
        ({}, False),
        ({"fuel_pressure_kpa": 150.0}, True),
        ({"delivery_l_min": 0.3}, True),
        ({"mean_a": 0.0, "state": "prime"}, True),
        ({"mean_a": 0.0, "state": "idle"}, False),  # another pump, or the clamp: the engine runs
        ({"mean_a": 17.0, "ripple_pct": 0.2, "rpm": None}, True),
        ({"mean_a": 4.1, "rpm": 7200.0}, False),
    ],
)
def test_whether_the_engine_may_get_no_fuel(change, idle):
    assert bool(decide_findings(judge(history(change)))["not_working"].iloc[0]) is idle


FLAT = {"mean_a": 0.0, "state": "prime", "supply_v": 0.1, "supply_v_at": "pump"}
WEAK = {"supply_v": 11.4, "supply_v_at": "pump", "mean_a": 4.6, "rpm": 4700.0}


@pytest.mark.parametrize(
    ("change", "proven"),
    [
        (FLAT, True),
        (FLAT | {"supply_v_at": "battery"}, False),  # nobody knows what arrives at the plug
        (FLAT | {"supply_v": 12.4, "connector": "good"}, False),
        (FLAT | {"supply_v": 6.0}, False),  # of a circuit at rest: it was not loaded
        (WEAK | {"fuel_pressure_kpa": 290.0}, True),
        (WEAK | {"fuel_pressure_kpa": 100.0}, False),  # far less than those volts leave
        (WEAK, False),  # it does its work
    ],
)
def test_whether_measured_volts_explain_that_it_does_not_work(change, proven):
    found = decide_findings(judge(history(change)))
    assert bool((found["circuit_proven"] & found["not_working"]).iloc[0]) is proven


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({}, False),
        (WEAK, True),
        (WEAK | {"state": None, "supply_v": 11.8}, False),  # of a battery at rest, for all that is said
        (WEAK | {"state": None, "supply_v": 11.8, "drop_supply_v": 1.2}, True),
        ({"drop_supply_v": 1.2}, True),
        ({"connector": "bad"}, True),
        ({"strainer": "bad"}, True),
        ({"mean_a": 4.1, "rpm": 7200.0}, False),  # it may be starved: nobody looked
    ],
)
def test_whether_a_cause_beside_the_pump_was_measured_or_seen(change, found):
    assert bool(decide_findings(judge(history(change)))["cause_found"].iloc[0]) is found


STARVED = {"mean_a": 3.9, "rpm": 6900.0, "supply_v": None, "visited_on": "2026-03-05"} | UNPROVEN
STARVED |= {"fuel_pressure_kpa": None, "delivery_l_min": None, "min_delivery_l_min": 1.5}
DRAGS = {"mean_a": 6.4, "rpm": 5600.0, "zero_checked": "yes", "visited_on": "2026-03-05"}
DRAGS |= {"fuel_pressure_kpa": None, "delivery_l_min": None, "filter": "module"}
CHECK = dict.fromkeys(
    ("mean_a", "rpm", "ripple_pct", "raw_ripple_pct", "supply_v", "drop_supply_v", "drop_ground_v",
     "fuel_level_pct", "fuel_pressure_kpa", "delivery_l_min", "state")
) | {"reason": "follow-up", "min_delivery_l_min": 1.5, "filter": "module"}  # fmt: skip
LITTLE, VOLTS = {"delivery_l_min": 0.9}, {"supply_v": 13.6, "supply_v_at": "pump"}


@pytest.mark.parametrize(
    ("first", "checks", "finding", "action"),
    [
        (STARVED, (LITTLE, VOLTS), "does-not-deliver", "check filter or strainer"),
        (STARVED, (VOLTS, LITTLE), "does-not-deliver", "check filter or strainer"),
        (STARVED, (LITTLE, {"supply_v": 11.9, "supply_v_at": "pump"}), "circuit-low-volts", "check circuit"),
        (STARVED, (LITTLE, VOLTS, {"strainer": "good"}), "does-not-deliver", "check delivery"),
        (DRAGS, ({"fuel_pressure_kpa": 400.0}, DRAGS), "current-up-speed-down",
         "check delivery"),
        (DRAGS, ({"fuel_pressure_kpa": 400.0}, DRAGS, {"fuel_in_tank": "E10"}),
         "current-up-speed-down", "book replacement"),
    ],
)  # fmt: skip
def test_what_is_checked_bit_by_bit_without_a_capture_comes_together(first, checks, finding, action):
    days = [
        ({} if "mean_a" in told else CHECK) | told | {"visited_on": f"2026-03-{6 + i:02d}"}
        for i, told in enumerate(checks)
    ]
    row = act(first, *days)
    assert (row["finding"], row["finding_action"]) == (finding, action), row["next_test"]
