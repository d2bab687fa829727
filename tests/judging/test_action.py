"""What may be booked, and what has to come first."""

import pandas as pd
import pytest

from analytics.judging.action import ACTIONS, decide_actions
from analytics.judging.verdict import judge
from tests.judging.test_verdict import history


def act(*changes: dict, services: pd.DataFrame | None = None, **more) -> pd.Series:
    return decide_actions(judge(history(*changes)), services, **more).iloc[0]


LOW = {"mean_a": 3.7}
UNPROVEN = {"drop_supply_v": None, "drop_ground_v": None}


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


def test_circuit_comes_first_for_a_low_average():
    assert act(LOW | UNPROVEN)["action"] == "check circuit"


def test_one_finding_books_nothing():
    row = act(LOW | {"filter": "module"})
    assert row["action"] == "repeat capture"
    assert row["missing"].split() == ["repeat"]


@pytest.mark.parametrize(
    ("lacking", "action"),
    [
        ({}, "book replacement"),
        ({"zero_a": None}, "repeat capture"),
        (UNPROVEN, "check circuit"),
        ({"fuel_level_pct": 10.0}, "check filter or strainer"),
        ({"filter": "inline"}, "check filter or strainer"),
    ],
)
def test_booking_needs_every_condition(lacking, action):
    repeated = LOW | {"filter": "module"} | lacking
    assert act(repeated, repeated)["action"] == action


def test_filter_changed_since_the_finding_excludes_the_filter():
    first, again = LOW | {"filter": "inline"}, LOW | {"filter": "inline", "filter_changed_on": "2026-04-01"}
    assert act(first, again)["action"] == "book replacement"
    assert act(first, again | {"filter_changed_on": "2025-12-01"})["action"] == "check filter or strainer"


def test_a_change_from_a_baseline_of_one_reading_books_nothing():
    down = {"mean_a": 4.7, "filter": "module"}
    assert act(down, down)["action"] == "shorten interval"
    row = act({}, down, down)
    assert row["rule"] == "average-down"
    assert row["action"] == "book replacement"


def test_a_healthy_visit_between_breaks_the_repeat():
    low = LOW | {"filter": "module"}
    assert act(low, {}, low)["action"] == "repeat capture"


def test_ripple_alone_never_books():
    over = {"ripple_pct": 22.0, "filter": "module"}
    assert act(over, over, over)["action"] == "shorten interval"


def test_risk_alone_never_books():
    worth = pd.Series({1: True})
    assert act({}, worth_booking=worth)["action"] == "shorten interval"
    assert act({}, worth_booking=pd.Series({1: False}))["action"] == "none"


def test_outright_failure_skips_the_repeat():
    assert act({"mean_a": 0.05, "rpm": None})["action"] == "book replacement"


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
    assert len(ACTIONS) == 6
    assert act({})["action"] in ACTIONS
