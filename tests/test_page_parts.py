"""What pages work out from the figures of the layers below."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dashboard import (
    cost_parts,
    fleet_prices,
    history_metrics,
    history_outlook,
    paper,
    plan_parts,
    record_parts,
    risk_list,
)
from ingest.errors import EntryRefused


def visits(**columns) -> pd.DataFrame:
    base = {
        "mean_a": [5.0, 5.0],
        "rpm": [6000.0, 6000.0],
        "supply_v": [13.5, 12.0],
        "fuel_pressure_kpa": [400.0, 400.0],
        "rated_pressure_kpa": [400.0, 400.0],
        "system_v": [12.0, 12.0],
    }
    return pd.DataFrame(base | columns)


def test_a_low_supply_is_taken_out_of_the_speed():
    rows = history_metrics.with_normalised(visits(), 13.5)
    assert rows["rpm_normalised"].iloc[0] == pytest.approx(6000)
    # 1.5 V low costs about 14 % of speed, and far less of the current.
    assert 6600 < rows["rpm_normalised"].iloc[1] < 7100
    assert 5.1 < rows["mean_a_normalised"].iloc[1] < 5.4


def test_without_volts_nothing_is_normalised():
    rows = history_metrics.with_normalised(visits(supply_v=[13.5, np.nan]), 13.5)
    assert np.isnan(rows["rpm_normalised"].iloc[1])


def test_the_straight_line_needs_three_visits_and_knows_its_error():
    three = pd.Series([0.0, 1, 2])
    assert history_metrics.straight_fit(three.head(2), three.head(2)) is None
    # Worked by hand: y = 1, 2, 2 on x = 0, 1, 2 has slope 1/2 and residuals -1/6, 1/3, -1/6.
    intercept, slope, error = history_metrics.straight_fit(three, pd.Series([1.0, 2, 2]))
    assert slope == pytest.approx(0.5)
    assert intercept == pytest.approx(7 / 6)
    assert error == pytest.approx(np.sqrt((1 / 36 + 1 / 9 + 1 / 36) / 1 / 2))


def test_drift_that_cannot_be_told_from_none_says_so():
    good = pd.DataFrame({"distance": [0.0, 1e4, 2e4], "mean_a": [5.0, 5.2, 5.0]})
    words = history_metrics.drift_words(good, "mean_a", "current", "A", "mi", "as read")
    assert "not told apart from no drift" in words


def test_what_would_change_the_answer_names_gaps():
    few = visits(filter_changed_on=[None, None], state=["idle", "prime"], supply_v=[13.5, np.nan])
    lines = history_outlook.would_change(few, pd.Series({"filter": "inline", "fitted_on": None}))
    text = " ".join(lines)
    for word in ("from three on", "without volts", "mix engine states", "No filter change", "is unknown"):
        assert word in text


def review(**more):
    policies = pd.DataFrame(
        {"policy": ["run to failure", "risk"], "cost": [120.0, 100.0], "cost_low": [100.0, 90.0],
         "cost_high": [140.0, 110.0], "planned": [0.0, 0.08], "breakdowns": [0.05, 0.01]}
    )  # fmt: skip
    return SimpleNamespace(policies=policies, planned=650.0, failure=2400.0, currency="USD", **more)


def test_policies_move_with_the_prices_and_stay_at_todays():
    same = cost_parts.at_prices(review(), 650, 2400)
    assert same["cost"].tolist() == pytest.approx([120, 100])
    dearer = cost_parts.at_prices(review(), 650, 3400)
    assert dearer["cost"].tolist() == pytest.approx([120 + 0.05 * 1000, 100 + 0.01 * 1000])
    assert "'risk' costs least, 110" in cost_parts.cheapest_words(dearer)
    cheap_failures = cost_parts.at_prices(review(), 2000, 100)
    assert "nothing beats running to failure" in cost_parts.cheapest_words(cheap_failures)


def test_spending_by_year_and_kind():
    spent = pd.DataFrame(
        {"year": [2025, 2025, 2025], "kind": ["on failure", "early", "planned on condition"],
         "cost_recorded": [100.0, 5, 10], "cost_estimated": [1.0, 0, 0]}
    )  # fmt: skip
    rows = cost_parts.spent_rows(spent).set_index("kind")["amount"]
    assert rows.to_dict() == {"on the road": 101.0, "planned": 15.0}


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [("distance_unit", "km", "km"), ("ripple_limit_pct", "12,5", 12.5), ("baseline_visits", "4", 4),
     ("risk_ceiling", '{"ambulance": 0.04}', {"ambulance": 0.04})],
)  # fmt: skip
def test_settings_are_read_as_their_default_is(key, text, value):
    assert fleet_prices.setting_value(key, text) == value


@pytest.mark.parametrize(
    ("key", "text"), [("distance_unit", "furlong"), ("ripple_limit_pct", "much"), ("risk_ceiling", "0.04")]
)
def test_a_setting_that_makes_no_sense_is_refused(key, text):
    with pytest.raises(EntryRefused):
        fleet_prices.setting_value(key, text)


def test_expected_failures_come_with_their_range():
    forecasts = pd.DataFrame(
        {"as_of": [date(2025, 1, 1)] * 4, "risk": [0.5] * 4, "happened": [True, False, True, True],
         "judged": [True, True, True, False]}
    )  # fmt: skip
    row = record_parts.expected_rows(forecasts).iloc[0]
    assert (row["expected"], row["counted"]) == (1.5, 2)
    assert row["high"] - row["expected"] == pytest.approx(1.645 * np.sqrt(0.75))


def test_candidates_for_a_decision_name_where_they_stand():
    row = {"pump_id": 1, "unit": "101", "position": "main", "risk": 0.2}
    plan = SimpleNamespace(
        lines=pd.DataFrame([row | {"planned_on": date(2026, 1, 5)}]),
        unplaced=pd.DataFrame([row | {"pump_id": 2, "position": "rear"}]),
        waiting=pd.DataFrame([row]),
        rejected=pd.DataFrame(),
    )
    assert plan_parts.candidates(plan) == {
        1: "unit 101, planned on 2026-01-05, risk 20 %",
        2: "unit 101 rear, not placed, risk 20 %",
    }


def test_the_spending_line_says_what_has_no_cost():
    months = pd.DataFrame(
        {"month": [date(2025, 3, 1), date(2024, 3, 1)], "kind": ["on the road"] * 2, "jobs": [2, 9],
         "amount": [2310.0, 9999.0], "without_cost": [1, 0]}
    )  # fmt: skip
    line = risk_list.spending_line(months, "USD")
    assert "2,310 USD for 2 pumps failed on the road" in line
    assert "1 of these jobs have no cost" in line


def test_a_sheet_needs_nothing_from_outside_and_carries_the_cautions():
    page = paper.sheet(
        "Unit <1>", [("Facts", paper.facts_table({"Unit": "1", "Note": None}))], {"Verdict": "ok"}, []
    )
    assert "Unit &lt;1&gt;" in page
    assert "http" not in page
    assert "orange high-voltage" in page
    assert "Note" not in page
