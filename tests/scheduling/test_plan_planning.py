"""What gets onto the plan, when, and what is said about the rest."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from analytics.money.cost_book import CostBook, Entry
from analytics.risk.parts_ahead import part_waits, with_parts
from analytics.scheduling import steps
from analytics.scheduling.lines import saving_range
from analytics.scheduling.planning import make_plan
from ingest.trade_numbers import DEFAULTS
from tests.scheduling.plan_fixture import AS_OF, KM_PER_DAY, decision, make_inputs

FIRST_STOP = date(2026, 3, 16)  # four weeks after the last PM stop
SECOND_STOP = date(2026, 4, 13)
SAFE = 1e-7


def planned(inputs, days=120):
    return make_plan(inputs, days, 0.95)


def priced(planned_cost: float, failure_cost: float) -> CostBook:
    stamp = datetime(2026, 1, 1)
    return CostBook(
        AS_OF,
        "USD",
        (
            Entry("planned_replacement", planned_cost, None, None, "test", True, date(1900, 1, 1), stamp),
            Entry("failure_replacement", failure_cost, None, None, "test", True, date(1900, 1, 1), stamp),
        ),
        {},
    )


def extra_stop_at(price: float) -> CostBook:
    stamp = datetime(2026, 1, 1)
    entry = Entry("extra_stop", price, None, None, "test", True, date(1900, 1, 1), stamp)
    return CostBook(AS_OF, "USD", (entry,), {})


def test_a_risky_pump_with_its_checks_passed_goes_on_the_next_stop():
    made = planned(make_inputs([{}]))
    line = made.lines.iloc[0]
    assert (line["planned_on"], line["status"], line["because"]) == (FIRST_STOP, "proposed", "cost")
    # 14 days of 100 km at 5e-5 a km.
    assert line["risk_until_then"] == pytest.approx(1 - np.exp(-5e-5 * 1400), rel=1e-3)
    assert line["part"] == "on hand"
    assert made.solver_gap <= 1e-6


def test_an_unfinished_finding_does_not_hold_up_what_pays():
    made = planned(make_inputs([{"finding_action": "check circuit", "hazard": 2e-4}]))
    line = made.lines.iloc[0]
    assert (line["job"], line["action"]) == ("check and change", "check and change")
    assert 0.3 < line["p_change"] < 0.95
    assert any("Volts and both drops" in step for step in line["steps"])


def test_a_pump_just_checked_is_changed_or_left_but_not_checked_again():
    pump = {"finding": "healthy", "finding_action": "none", "hazard": 2e-4}
    before, after = (planned(make_inputs([pump | {"checked": c}])).lines.iloc[0] for c in (False, True))
    assert before["job"] == before["action"] == "check and change"
    assert (after["job"], after["action"]) == ("change", "book replacement")
    assert after["steps"][0].startswith("Change the pump")
    assert after["p_change"] > before["p_change"]
    assert planned(make_inputs([pump | {"checked": True, "hazard": SAFE}])).lines.empty


def test_a_change_that_no_check_can_alter_still_asks_for_zero_and_drops():
    aged = {"finding": "healthy", "finding_action": "none", "hazard": 2e-4}
    line = planned(make_inputs([aged], settings={"beside_share": 0.0})).lines.iloc[0]
    assert (line["job"], line["action"]) == ("check and change", "check and change")
    assert line["asked_first"] == "zero and drops"
    assert "check its zero" in line["steps"][0]
    assert "drops" in line["steps"][1]


def test_a_booking_keeps_the_name_and_what_is_asked_first():
    """As proposed, zero and drops stay; against the decision it is a plain change."""
    aged = {"finding": "healthy", "finding_action": "none"}
    for hazard, named in ((2e-4, ("check and change",) * 2), (SAFE, ("change", "book replacement"))):
        inputs = make_inputs(
            [aged | {"hazard": hazard}],
            settings={"beside_share": 0.0},
            decisions=decision(1, "booked", FIRST_STOP),
        )
        line = planned(inputs).lines.iloc[0]
        assert (line["job"], line["action"]) == named
        assert inputs.pumps[["job", "action"]].iloc[0].tolist() == list(named)


def test_a_fleet_may_demand_a_finished_finding():
    demand = {"demand_finished_finding": True}
    made = planned(make_inputs([{"finding_action": "check circuit", "hazard": 2e-4}], settings=demand))
    assert made.lines.empty
    check = made.checks.iloc[0]
    assert (check["job"], check["action"], check["because"]) == (
        "check", "check circuit", "the finding is not finished",
    )  # fmt: skip
    # What that costs more than the change that would be ordered without is said beside the plan.
    free = planned(make_inputs([{"finding_action": "check circuit", "hazard": 2e-4}]))
    told = {note.code: note.values for note in made.notes}["finding-demanded"]
    assert told["number"] == 1
    dearer = free.lines["saving_against_later"][0] - made.checks["saving_against_later"][0]
    assert told["cost"] == pytest.approx(dearer, rel=0.01)
    assert "finding-demanded" not in [note.code for note in free.notes]
    assert planned(make_inputs([{"hazard": 2e-4}], settings=demand)).lines["job"].tolist() == ["change"]


def test_where_the_engine_may_get_no_fuel_the_circuit_is_checked_today_whatever_pays():
    stands = {"finding": "no-current", "finding_action": "check circuit", "not_working": True}
    none = pd.DataFrame({"depot": ["North"], "pump_type": ["T"], "on_hand": [0]})
    for hazard in (SAFE, 2e-4):
        made = planned(make_inputs([stands | {"hazard": hazard}, {"hazard": SAFE}], stock=none))
        [line] = made.checks.to_dict("records")
        assert (line["unit"], line["action"], line["planned_on"]) == ("U1", "check circuit", AS_OF)
        assert line["because"] == "the engine may get no fuel"
        assert line["p_change"] < 0.7  # two in five odd readings have a cause beside the pump
        assert not any("tank" in step for step in line["steps"])
        assert made.lines.empty
        assert list(made.waiting["unit"]) == ["U2"]
        # Volts were missing at its plug: hardly any such check ends in a change, whatever share is usual.
        [line] = planned(make_inputs([stands | {"hazard": hazard, "circuit_proven": True}])).checks.to_dict(
            "records"
        )
        assert line["action"] == "check circuit"
        assert line["p_change"] < 0.06
    full = pd.DataFrame({"depot": ["North"], "week_of": [pd.NaT], "hours": [0.0]})
    assert list(planned(make_inputs([stands], bays=full)).unplaced["why_code"]) == ["no-hours"]


def test_a_drop_that_was_measured_is_mended_at_the_next_stop_and_no_tank_is_opened():
    lossy = {"finding": "circuit-drop", "finding_action": "check circuit", "hazard": SAFE}
    mend = "Clean or mend the ground side of the circuit, then measure and capture again."
    found = lossy | {"cause_found": True, "step_text": mend}
    made = planned(make_inputs([dict(found), lossy]))
    [line] = made.checks.to_dict("records")
    assert (line["unit"], line["job"], line["action"]) == ("U1", "check", "check circuit")
    assert (line["because"], line["own_stop"]) == ("a cause beside the pump was found", False)
    assert (line["planned_on"], line["cost_of_waiting"]) == (FIRST_STOP, pytest.approx(0, abs=0.1))
    # Four weeks later it has spared a month less of what such a cause brings within a year.
    later = made.other_days.set_index("planned_on")["costs_more"]
    assert later[SECOND_STOP] == pytest.approx(line["expected_saving"] * 28 / 365, rel=0.02)
    assert (line["steps"][0], line["bring"], line["p_change"]) == (mend, "clamp, voltmeter", 0.0)
    assert line["hours"] == DEFAULTS["check_closed_hours"]
    assert list(made.waiting["unit"]) == ["U2"]
    inside = found | {"finding": "filter-or-strainer-bad", "finding_action": "check filter or strainer"}
    assert planned(make_inputs([inside])).checks["hours"].tolist() == [DEFAULTS["check_open_hours"]]


def test_a_confirmed_finding_that_does_not_pay_waits_in_sight():
    made = planned(make_inputs([{"hazard": SAFE}]))
    assert made.lines.empty
    assert "does not pay" in made.waiting["why"].iloc[0]


def test_a_class_ceiling_overrides_cost():
    cheap = priced(650, 700)
    van = planned(make_inputs([{"hazard": 1.2e-5}], book=cheap))
    assert van.lines.empty
    ambulance = planned(make_inputs([{"hazard": 1.2e-5, "class": "ambulance"}], book=cheap))
    assert ambulance.lines["because"].tolist() == ["risk ceiling"]


def test_never_where_a_new_pump_is_no_safer():
    made = planned(make_inputs([{"hazard": 5e-5, "risk_if_new": 0.9, "class": "ambulance"}]))
    assert made.lines.empty


def test_a_price_moves_the_list():
    pumps = [{"hazard": 1.2e-5}]
    dear = planned(make_inputs([dict(p) for p in pumps], book=priced(650, 6000)))
    cheap = planned(make_inputs([dict(p) for p in pumps], book=priced(650, 900)))
    assert len(dear.lines) == 1
    assert cheap.lines.empty


def test_near_retirement_only_what_pays_until_then():
    # 18 days of 100 km: 9 % of 2,400 is less than a change; at ten times the hazard it is more.
    soon = date(2026, 3, 20)
    assert planned(make_inputs([{"retires_on": soon}])).lines.empty
    made = planned(make_inputs([{"retires_on": soon, "hazard": 1e-3}]))
    assert made.lines["planned_on"].iloc[0] < soon
    gone = planned(make_inputs([{"retires_on": date(2026, 3, 8), "hazard": 1e-2, "class": "ambulance"}]))
    assert gone.lines.empty


def test_without_parts_the_first_stop_after_the_lead_time():
    types = pd.DataFrame({"pump_type": ["T"], "lead_time_days": [20.0], "price": [1.0], "filter": ["none"]})
    none = pd.DataFrame({"depot": ["North"], "pump_type": ["T"], "on_hand": [0]})
    made = planned(make_inputs([{}], types=types, stock=none))
    line = made.lines.iloc[0]
    assert line["planned_on"] >= date(2026, 3, 22)
    assert line["order_by"] == line["planned_on"] - timedelta(days=20)
    assert made.parts["to_order"].tolist() == [1]


def test_a_stop_of_its_own_where_waiting_costs_more():
    usual = planned(make_inputs([{"hazard": 1.5e-5, "last_pm_on": date(2026, 3, 1)}])).lines.iloc[0]
    assert not usual["own_stop"]
    made = planned(make_inputs([{"hazard": 5e-4, "last_pm_on": date(2026, 3, 1)}]))
    line = made.lines.iloc[0]
    assert (line["own_stop"], line["planned_on"]) == (True, date(2026, 3, 9))
    dear = planned(
        make_inputs([{"hazard": 5e-5, "last_pm_on": date(2026, 3, 1)}], book=extra_stop_at(5000))
    ).lines
    assert not dear["own_stop"].any()


def test_in_the_bay_it_is_done_now():
    made = planned(make_inputs([{"hazard": 5e-4, "last_visited_on": AS_OF, "last_pm_on": AS_OF}]))
    assert made.lines["planned_on"].tolist() == [AS_OF]
    assert made.lines["due_by"].tolist() == ["now, in the bay"]


def test_nothing_on_a_closed_day_nor_beyond_the_horizon():
    closed = {"closed_days": {"North": ["2026-03-16", "2026-03-17"]}}
    made = planned(make_inputs([{}], settings=closed, book=extra_stop_at(5000)))
    assert made.lines["planned_on"].tolist() == [date(2026, 3, 18)]
    weekend = {"workdays": {"": [1, 2, 3, 4, 5], "North": [6]}}
    made = planned(make_inputs([{}], settings=weekend, book=extra_stop_at(5000)))
    assert made.lines["planned_on"].tolist() == [date(2026, 3, 21)]
    short = planned(make_inputs([{}]), days=5)
    assert short.lines.empty
    assert short.unplaced["why_code"].tolist() == ["beyond-horizon"]
    booked = planned(make_inputs([{}], decisions=decision(1, "booked", date(2026, 3, 3))), days=5)
    assert booked.lines["planned_on"].tolist() == [date(2026, 3, 3)]  # though no stop lies within it


def test_what_waits_for_its_next_stop_gets_no_stop_of_its_own_because_that_one_lies_too_far_off():
    waits = make_inputs([{"hazard": 5e-5}])  # its next stop is in 14 days
    assert waits.pumps["at"].tolist() == ["next stop"]
    made = planned(waits, days=10)
    assert made.unplaced["why_code"].tolist() == ["beyond-horizon"]
    sooner = planned(make_inputs([{"hazard": 7e-5}]), days=10)
    assert sooner.lines["own_stop"].tolist() == [True]


def test_what_does_not_fit_is_listed_with_its_risk():
    bays = pd.DataFrame({"depot": ["North"], "week_of": [pd.NaT], "hours": [2.0]})
    made = planned(make_inputs([{}], bays=bays))
    assert made.lines.empty
    assert "no bay hours" in made.unplaced["why"].iloc[0]
    assert made.unplaced["risk"].iloc[0] > 0.3


def test_the_bay_goes_to_the_pump_that_can_least_wait():
    bays = pd.DataFrame({"depot": ["North"], "week_of": [pd.NaT], "hours": [3.0]})
    made = planned(make_inputs([{"hazard": 4e-5}, {"hazard": 2e-4}], bays=bays, book=extra_stop_at(5000)))
    days = made.lines.set_index("pump_id")["planned_on"]
    assert days[2] == FIRST_STOP
    assert days[1] == SECOND_STOP
    used = made.bays.set_index("week")["used_hours"]
    assert used.max() <= 3.0


def test_due_work_takes_hours_and_is_shown():
    due = pd.DataFrame(
        {"unit": ["U1"], "due_on": [date(2026, 3, 16)], "work": ["inspection"], "hours": [38.0]}
    )
    made = planned(make_inputs([{}], due_work=due, book=extra_stop_at(5000)))
    assert made.lines["planned_on"].iloc[0] == SECOND_STOP
    assert "inspection" in made.lines["due_work"].iloc[0]


def test_both_pumps_of_a_unit_share_a_stop():
    made = planned(make_inputs([{"unit": "U1"}, {"unit": "U1", "position": "aux", "hazard": 4e-5}]))
    assert made.lines["planned_on"].nunique() == 1
    assert made.lines["hours"].sum() == pytest.approx(4.5)
    assert made.lines["also_at_this_stop"].tolist() == [1, 1]


def test_a_pump_that_failed_outright_does_not_wait_for_a_stop():
    made = planned(make_inputs([{"status": "failed", "last_pm_on": date(2026, 3, 1)}]))
    line = made.lines.iloc[0]
    assert line["because"] == "failed"
    assert line["due_by"] == "a stop of its own"
    assert line["planned_on"] == AS_OF
    none = pd.DataFrame({"depot": ["North"], "pump_type": ["T"], "on_hand": [0]})
    made = planned(make_inputs([{"status": "failed"}], stock=none))
    assert made.lines["planned_on"].tolist() == [date(2026, 3, 6)]  # four days for the part
    # However long the part takes, it has a day, and list and plan name the same one.
    types = pd.DataFrame({"pump_type": ["T"], "lead_time_days": [45.0], "price": [210.0], "filter": ["none"]})
    inputs = make_inputs([{"status": "failed"}], stock=none, types=types)
    assert planned(inputs).lines["planned_on"].tolist() == inputs.pumps["planned_on"].tolist()
    assert inputs.pumps["planned_on"].iloc[0] == AS_OF + timedelta(days=45)


def waits(status: list[str], booked: list[float], on_hand: int, ahead: float = 0.0) -> list[float]:
    depot = [*["North"] * (len(status) - 1), None]
    pumps = pd.DataFrame({"depot": depot, "pump_type": "T", "status": status})
    types = pd.DataFrame({"pump_type": ["T"], "lead_time_days": [6.5]})
    stock = pd.DataFrame({"depot": ["North"], "pump_type": ["T"], "on_hand": [on_hand]})
    n = len(status)
    pumps = with_parts(pumps, types, stock)
    return part_waits(pumps, np.full(n, ahead), np.array(booked), np.ones(n, bool)).tolist()


def test_the_parts_on_hand_go_to_what_is_booked_and_to_the_pumps_that_failed():
    nan = np.nan
    assert waits(["running", "failed", "failed"], [nan, nan, nan], 1) == [7.0, 0.0, 7.0]
    assert waits(["running", "running", "failed"], [nan, nan, nan], 1) == [0.0, 0.0, 7.0]
    assert waits(["failed", "running", "failed"], [nan, 3.0, nan], 1) == [7.0, 0.0, 7.0]
    assert waits(["failed", "running", "failed"], [nan, 9.0, nan], 1) == [0.0, 0.0, 7.0]  # one comes in time
    assert waits(["running", "failed", "failed"], [nan, nan, nan], 0, ahead=8.0) == [0.0, 0.0, 0.0]


def test_the_list_dates_no_job_before_its_part():
    none = pd.DataFrame({"depot": ["North"], "pump_type": ["T"], "on_hand": [0]})
    types = pd.DataFrame({"pump_type": ["T"], "lead_time_days": [40.0], "price": [210.0], "filter": ["none"]})
    pumps = [
        {"hazard": 4e-4, "km_per_day": 300.0, "pump_km_per_day": 300.0},
        {"last_visited_on": AS_OF, "last_pm_on": AS_OF, "hazard": 3e-4},
        {"hazard": 3e-4, "retires_on": AS_OF + timedelta(days=30)},
    ]
    inputs = make_inputs([dict(pump) for pump in pumps], stock=none, types=types)
    assert (inputs.pumps["option"] != "nothing").all()
    part = AS_OF + timedelta(days=42)  # the fortieth is a Saturday
    assert inputs.pumps["planned_on"].tolist() == [part, part, None]
    made = planned(inputs)
    assert made.lines["planned_on"].tolist() == [part, part]
    assert made.unplaced["why_code"].tolist() == ["no-part"]
    on_hand = make_inputs([dict(pump) for pump in pumps])
    assert (on_hand.pumps["planned_on"] <= part).all()


def test_work_for_a_stop_beyond_the_horizon_says_when_and_what_waiting_saves():
    pump = {"hazard": 1e-5, "km_per_day": 30.0, "pump_km_per_day": 30.0}
    settings = {"plan_horizon_days": 120}
    far = {"retires_on": AS_OF + timedelta(days=2000)}
    for given in (pump, pump | far):
        inputs = make_inputs([dict(given)], settings=settings)
        row = inputs.pumps.iloc[0]
        away = replace(inputs, pumps=inputs.pumps.assign(option="change", job="change", at="next stop"))
        made = make_plan(away, 10, 0.95)
        assert made.unplaced["why_code"].tolist() == ["beyond-horizon"]
        told = made.unplaced["why_values"].iloc[0]
        assert str(told["day"]) == str(row["next_stop_on"])
        # The stop's own price, less what nineteen days' and the notice's risk and life come to.
        assert 0 < told["saved"] < float(row["extra_stop"]) + 20
        assert str(row["next_stop_on"]) in made.unplaced["why"].iloc[0]
    gone = make_inputs([pump | {"retires_on": AS_OF + timedelta(days=8)}])
    away = replace(gone, pumps=gone.pumps.assign(option="change", job="change", at="next stop"))
    assert make_plan(away, 10, 0.95).unplaced["why_code"].tolist() == ["retires-first"]


def test_many_changes_beside_few_failures_soon_are_explained():
    """Hazard h: n·(1 − exp(−365 h·km a day)) fail within a year."""
    six, risky = (planned(make_inputs([{"hazard": h} for _ in range(6)])) for h in (3e-5, 5e-4))
    [note] = [note for note in six.notes if note.code == "mostly-later"]
    assert note.values["number"] == len(six.lines) == 6
    assert note.values["soon"] == pytest.approx(six.lines["risk_to_next_stop"].sum())
    assert note.values["year"] == pytest.approx(6 * -np.expm1(-3e-5 * 365 * KM_PER_DAY), rel=0.01)
    assert not [note for note in risky.notes if note.code == "mostly-later"]


def test_a_rejected_pump_has_no_day_on_the_list():
    rejected = make_inputs([{}], decisions=decision(1, "rejected", None)).pumps.iloc[0]
    assert rejected["option"] != "nothing"
    assert rejected["planned_on"] is None


def test_where_records_end_longer_ago_than_an_interval_a_capture_comes_first():
    inputs = make_inputs([{"finding_action": "none"}])
    late = AS_OF + timedelta(days=100)  # three months of records are missing
    again = make_inputs([{"finding_action": "none"}], today=late)
    assert inputs.pumps["action_code"].tolist() != ["change-after-capture"]
    assert again.pumps["action_code"].tolist() == ["change-after-capture"]
    never = make_inputs([{"finding_action": "none", "last_visited_on": None}])
    assert never.pumps["action_code"].tolist() == ["change-never-captured"]
    assert again.pumps["action_values"].iloc[0]["days"] == 114  # last seen two weeks before they end
    for pumps, first in ((inputs.pumps, "check and change"), (again.pumps, "capture first"),
                         (never.pumps, "capture first")):  # fmt: skip
        assert set(pumps[["action", "job"]].iloc[0]) == {first}
    made = planned(again)
    line = made.lines.iloc[0]
    assert [line["job"], line["steps"][0]] == ["capture first", steps.READING]
    assert "pump" in line["bring"]
    assert [note.text for note in made.notes if note.code == "old-readings"] == [
        "Pumps planned whose last visit on record is longer ago than their interval: 1 of 1. Load what "
        "happened since, or capture them before anything is changed."
    ]


def test_a_saving_that_rests_on_few_failures_says_so():
    inputs = make_inputs([{}])
    few, none = planned(replace(inputs, failures=3)), planned(replace(inputs, failures=10))
    assert [n.values["number"] for n in few.notes if n.code == "saving-on-few-failures"] == [3]
    assert not [n for n in none.notes if n.code == "saving-on-few-failures"]


def test_a_booking_in_a_week_without_hours_is_told_beside_the_plan():
    day = date(2026, 4, 1)
    lost = pd.DataFrame(
        {"depot": ["North"] * 2, "week_of": [pd.NaT, pd.Timestamp(2026, 3, 30)], "hours": [40.0, 0.0]}
    )
    made = planned(make_inputs([{}], decisions=decision(1, "booked", day), bays=lost))
    assert [note.text for note in made.notes if note.code == "booked-over-hours"] == [
        "The bay of depot North is over by 3.0 h in the week of 2026-03-30, with unit U1 booked there."
    ]
    rest = planned(make_inputs([{}], decisions=decision(1, "booked", date(2026, 4, 8)), bays=lost))
    assert not [note for note in rest.notes if "over-hours" in note.code]


def test_a_pinned_day_stays_and_overrides_the_checks():
    inputs = make_inputs(
        [{"finding_action": "check circuit"}], decisions=decision(1, "pinned", date(2026, 4, 1))
    )
    line = planned(inputs).lines.iloc[0]
    assert (line["planned_on"], line["status"], line["decision_reason"]) == (
        date(2026, 4, 1),
        "pinned",
        "because",
    )


def test_a_rejected_pump_stays_visible():
    made = planned(make_inputs([{}], decisions=decision(1, "rejected", reason="unit is for sale")))
    assert made.lines.empty
    assert made.rejected["why"].tolist() == ["unit is for sale"]
    assert made.rejected["risk"].iloc[0] > 0.3


def test_changes_since_the_last_list_say_why():
    inputs = make_inputs([{}, {}, {}])
    first = planned(inputs)
    keep = first.lines[
        ["pump_id", "unit", "position", "planned_on", "status", "risk", "action", "planned", "failure"]
    ]
    nothing = planned(replace(inputs, previous=keep))
    assert nothing.changes.empty

    pumps = inputs.pumps.copy()
    pumps.loc[1, ["action", "option", "job"]] = "repeat capture", "nothing", "nothing"
    later = replace(
        inputs,
        pumps=pumps,
        previous=keep[keep["pump_id"] != 3],
        decisions=decision(1, "pinned", date(2026, 3, 20)),
    )
    changes = planned(later).changes.set_index("pump_id")
    assert changes.loc[1, ["what", "why"]].tolist() == ["moved", "a person moved it"]
    assert changes.loc[2, ["what", "why"]].tolist() == ["gone", "it no longer pays"]
    assert changes.loc[3, "what"] == "added"


def test_waiting_costs_what_the_curve_says():
    made = planned(make_inputs([{}]))
    line = made.lines.iloc[0]
    inputs = make_inputs([{}])
    per_km, d, h = float(inputs.pumps["cost_per_km"].iloc[0]), 1400.0, 5e-5
    planned_cost, failure = line["planned"], line["failure"]
    cost = failure * (1 - np.exp(-h * d)) + planned_cost * np.exp(-h * d) - per_km * (1 - np.exp(-h * d)) / h
    assert line["cost_of_waiting"] == pytest.approx(cost - planned_cost, rel=0.01)
    # Against running it to failure: Cf − g·E[distance left] − K(d).
    assert line["expected_saving"] == pytest.approx(failure - per_km / h - cost, rel=0.01)


def test_placeholder_prices_are_told():
    assert any("placeholder prices" in note.text for note in planned(make_inputs([{}])).notes)
    notes = planned(
        make_inputs([{}], stock=pd.DataFrame({"depot": [], "pump_type": [], "on_hand": []}))
    ).notes
    assert any("No stock" in note.text for note in notes)


def test_the_range_of_the_saving_is_the_one_it_is_named_after():
    """Four in five lie within 1.28155 standard deviations (normal table at .90); two lines' chance goes by
    squares, their common error by its sum."""
    lines = pd.DataFrame({"expected_saving": [100.0, 50.0], "saving_sd": [30.0, 40.0]})
    for common, sd in ((0.0, 50.0), (60.0, 130.0)):
        low, high, expected = saving_range(lines.assign(saving_by_level=common))
        assert expected == 150
        assert (low, high) == pytest.approx((150 - 1.28155 * sd, 150 + 1.28155 * sd), rel=1e-4)


def test_the_range_is_wider_where_few_failures_tell_how_often_pumps_fail():
    """Hazard h, g: S^m saves (Cf − W)·exp(−mhd) − g·exp(−mhd)/(mh) beyond the stop at d."""
    few, many = (planned(make_inputs([{}, {}], failures=k)) for k in (1, 97))
    assert few.expected_saving == many.expected_saving
    assert few.saving_low < many.saving_low < many.saving_high < few.saving_high
    line, inputs = few.lines.iloc[0], make_inputs([{}])
    per_km, h, d = float(inputs.pumps["cost_per_km"].iloc[0]), 5e-5, 1400.0
    spared = line["failure"] - line["planned"]

    def saves(m):
        return np.exp(-m * h * d) * (spared - per_km / (m * h))

    assert line["saving_by_level"] == pytest.approx((saves(1.5) - saves(0.5)) / 2, rel=0.02)


def test_moving_a_job_has_its_price_by_week():
    inputs = make_inputs([{"hazard": 2e-4}, {"hazard": 2e-4, "retires_on": date(2026, 4, 1)}])
    made = make_plan(inputs, 120, 0.95)
    elsewhere = made.other_days
    assert set(elsewhere["pump_id"]) == set(made.lines["pump_id"])
    last = elsewhere[elsewhere["pump_id"] == 2]["planned_on"].max()
    assert last < date(2026, 4, 1)
    assert elsewhere["planned_on"].min() >= inputs.today
    for line in made.lines.to_dict("records"):
        mine = elsewhere[elsewhere["pump_id"] == line["pump_id"]].set_index("planned_on")["costs_more"]
        if line["planned_on"] in mine.index:
            assert mine[line["planned_on"]] == pytest.approx(0.0)
    first = elsewhere[elsewhere["pump_id"] == 1]
    own = first[first["own_stop"]].set_index("planned_on")["costs_more"]
    # A constant hazard h: a day that lies d further off costs (Cf − W)·(1 − e^−hd) − g·(1 − e^−hd)/h more.
    row = inputs.pumps.iloc[0]
    d = np.array([(day - inputs.today).days for day in own.index]) * KM_PER_DAY
    gone = 1 - np.exp(-2e-4 * d)
    wanted = gone * (row["fail_cost"] - row["there"]) - row["value_per_km"] * gone / 2e-4
    np.testing.assert_allclose(np.diff(own), np.diff(wanted), atol=2.0)
