"""What gets onto the plan, when, and what is said about the rest."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from analytics.money.cost_book import CostBook, Entry
from analytics.scheduling.planning import make_plan
from tests.scheduling.plan_fixture import AS_OF, decision, make_inputs

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


def test_a_risky_pump_with_its_checks_passed_goes_on_the_next_stop():
    made = planned(make_inputs([{}]))
    line = made.lines.iloc[0]
    assert (line["planned_on"], line["status"], line["because"]) == (FIRST_STOP, "proposed", "cost")
    # 14 days of 100 km at 5e-5 a km.
    assert line["risk_until_then"] == pytest.approx(1 - np.exp(-5e-5 * 1400), rel=1e-3)
    assert line["part"] == "on hand"
    assert made.solver_gap <= 1e-6


def test_risk_alone_books_nothing():
    made = planned(
        make_inputs([{"action": "check circuit", "action_text": "Measure the drops.", "hazard": 2e-4}])
    )
    assert made.lines.empty
    waiting = made.waiting.iloc[0]
    assert waiting["worth_on_cost"]
    assert waiting["next_step"] == "Measure the drops."


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


def test_near_retirement_it_is_left_with_its_reason():
    made = planned(make_inputs([{"retires_on": date(2026, 6, 1)}]))
    assert made.lines.empty
    assert made.unplaced["why"].tolist() == ["the unit retires on 2026-06-01"]


def test_without_parts_the_first_stop_after_the_lead_time():
    types = pd.DataFrame({"pump_type": ["T"], "lead_time_days": [20.0], "price": [1.0], "filter": ["none"]})
    none = pd.DataFrame({"depot": ["North"], "pump_type": ["T"], "on_hand": [0]})
    made = planned(make_inputs([{}], types=types, stock=none))
    line = made.lines.iloc[0]
    assert line["planned_on"] == SECOND_STOP
    assert line["order_by"] == date(2026, 3, 24)
    assert made.parts["to_order"].tolist() == [1]


def test_what_does_not_fit_is_listed_with_its_risk():
    bays = pd.DataFrame({"depot": ["North"], "week_of": [pd.NaT], "hours": [2.0]})
    made = planned(make_inputs([{}], bays=bays))
    assert made.lines.empty
    assert "no bay hours" in made.unplaced["why"].iloc[0]
    assert made.unplaced["risk"].iloc[0] > 0.3


def test_the_bay_goes_to_the_pump_that_can_least_wait():
    bays = pd.DataFrame({"depot": ["North"], "week_of": [pd.NaT], "hours": [3.0]})
    made = planned(make_inputs([{"hazard": 4e-5}, {"hazard": 2e-4}], bays=bays))
    days = made.lines.set_index("pump_id")["planned_on"]
    assert days[2] == FIRST_STOP
    assert days[1] == SECOND_STOP
    used = made.bays.set_index("week")["used_hours"]
    assert used.max() <= 3.0


def test_due_work_takes_hours_and_is_shown():
    due = pd.DataFrame(
        {"unit": ["U1"], "due_on": [date(2026, 3, 16)], "work": ["inspection"], "hours": [38.0]}
    )
    made = planned(make_inputs([{}], due_work=due))
    assert made.lines["planned_on"].iloc[0] == SECOND_STOP
    assert "inspection" in made.lines["due_work"].iloc[0]


def test_both_pumps_of_a_unit_share_a_stop():
    made = planned(make_inputs([{"unit": "U1"}, {"unit": "U1", "position": "aux", "hazard": 4e-5}]))
    assert made.lines["planned_on"].nunique() == 1
    assert made.lines["hours"].sum() == pytest.approx(4.5)
    assert made.lines["also_at_this_stop"].tolist() == [1, 1]


def test_a_pump_that_failed_outright_does_not_wait_for_a_stop():
    made = planned(make_inputs([{"rule": "no-current-proven-supply", "last_pm_on": date(2026, 3, 1)}]))
    line = made.lines.iloc[0]
    assert line["because"] == "failed outright"
    assert line["due_by"] == "a stop of its own"
    assert line["planned_on"] <= date(2026, 3, 10)


def test_a_pinned_day_stays_and_overrides_the_checks():
    inputs = make_inputs([{"action": "check circuit"}], decisions=decision(1, "pinned", date(2026, 4, 1)))
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
    pumps.loc[1, "action"] = "repeat capture"
    later = replace(
        inputs,
        pumps=pumps,
        previous=keep[keep["pump_id"] != 3],
        decisions=decision(1, "pinned", date(2026, 3, 20)),
    )
    changes = planned(later).changes.set_index("pump_id")
    assert changes.loc[1, ["what", "why"]].tolist() == ["moved", "a person moved it"]
    assert changes.loc[2, ["what", "why"]].tolist() == ["gone", "its action is now 'repeat capture'"]
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
    assert any("placeholder prices" in note for note in planned(make_inputs([{}])).notes)
    notes = planned(
        make_inputs([{}], stock=pd.DataFrame({"depot": [], "pump_type": [], "on_hand": []}))
    ).notes
    assert any("No stock" in note for note in notes)
