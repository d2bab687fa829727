"""What pages work out from the figures of the layers below."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analytics.record.hindsight import acted_on, by_day
from analytics.risk.pump_drift import PumpDrift
from analytics.trend.drift import Drift
from dashboard.parts import reading_panel, risk_list
from dashboard.shell import lists, paper
from dashboard.views.costs import parts as cost_parts
from dashboard.views.costs import spent as cost_spent
from dashboard.views.fleet_data import prices as fleet_prices
from dashboard.views.forecast_record import parts as record_parts
from dashboard.views.plan_board import deciding
from dashboard.views.plan_board import parts as plan_parts
from dashboard.views.pump_history import metrics, outlook
from dashboard.views.pump_history import parts as history_parts
from dashboard.words import money as money_words
from dashboard.words import record as record_text
from ingest.errors import EntryRefused
from ingest.metrics import metric
from ingest.trade_numbers import DEFAULTS


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


def one_pump(
    metric="rpm", *, level=5000.0, slope=-0.02, slope_se=0.004, readings=6, share=0.95, service=True
):
    one = np.ones(1)
    drift = Drift(
        metric, level * one, 30 * one, slope * one, slope_se * one, share * one, np.array([readings]), 0 * one
    )
    return PumpDrift(1, 100_000.0, 50.0, service, pd.DataFrame(), {metric: drift})


MILES = metrics.Axis("mi on this pump", "mi", 1.609344, 10_000)
SPEEDS = {"low speed limit": 3400.0, "high speed limit": 10_000.0}


def test_drift_says_its_error_and_whose_it_is():
    words = metrics.drift_words(one_pump().drift["rpm"], metric("rpm"), MILES)
    assert words.startswith("speed: −322 ± 64 rpm per 10,000 mi")
    few = one_pump(slope=-0.004, share=0.3).drift["rpm"]
    words = metrics.drift_words(few, metric("rpm"), MILES)
    assert "may as well be none" in words
    assert "70 % of it is what its type does" in words
    # Beside a damage that has begun no line is called "none".
    assert "none" not in metrics.drift_words(few, metric("rpm"), MILES, begun=True)


def test_when_the_line_passes_a_limit_is_said_with_its_range(monkeypatch):
    monkeypatch.setattr(metrics, "_month", lambda km, per_day: "")
    words = metrics.limit_words(one_pump(), "rpm", SPEEDS, MILES, "rpm")
    # 1,600 rpm at 0.02 rpm/km are 80,000 km or 49,710 mi.
    assert "the low speed limit, 3,400 rpm, in about 50,000 mi" in words
    assert "8 in 10: " in words
    for pump, says in (
        (one_pump(slope=-0.004), "Too little change to follow"),
        (
            one_pump(slope=-0.008, slope_se=0.001),
            "later than in ten years at this use (1 in 10: before 110,000",
        ),
        (
            one_pump(slope=-0.004, slope_se=0.0005),
            "does not pass the low speed limit, 3,400 rpm within ten years",
        ),
        (one_pump(readings=2), "Under three readings"),
        (one_pump(level=3000.0), "stands past the low speed limit"),
    ):
        assert says in metrics.limit_words(pump, "rpm", SPEEDS, MILES, "rpm")


def test_the_fan_reaches_the_limit_and_a_pump_taken_off_has_none():
    rows = pd.DataFrame({"x_km": [20_000.0, 100_000.0]})
    head = pd.Series({"pm_interval_km": 8000.0})
    line, fan = metrics.line_and_fan(one_pump(), "rpm", rows, SPEEDS, MILES, head)
    assert line["value"].tolist() == pytest.approx([6600.0, 5000.0])
    assert fan["distance"].iloc[0] == pytest.approx(100_000 / 1.609344)
    assert fan["low"].iloc[-1] < 3400 < fan["high"].iloc[0]
    assert (fan["high"] - fan["low"]).is_monotonic_increasing
    gone = metrics.line_and_fan(one_pump(service=False), "rpm", rows, SPEEDS, MILES, head)
    assert gone[1] is None


def test_a_unit_that_goes_by_hours_is_drawn_over_hours():
    rows = pd.DataFrame(
        {"visited_on": [date(2026, 1, 1)], "clock": ["hours"], "hours_on_pump": [120.0],
         "distance_on_pump_km": [5000.0], "odometer_km": [9000.0]}
    )  # fmt: skip
    placed, axis = metrics.placed(rows, DEFAULTS)
    assert placed["distance"].tolist() == [120.0]
    assert axis.unit == "h"


def test_what_would_change_the_answer_names_gaps():
    few = visits(filter_changed_on=[None, None], state=["idle", "prime"], supply_v=[13.5, np.nan])
    lines = outlook.would_change(few, pd.Series({"filter": "inline", "fitted_on": None}))
    text = " ".join(lines)
    for word in ("from three on", "without volts", "mix engine states", "No filter change", "is unknown"):
        assert word in text


def review(**more):
    policies = pd.DataFrame(
        {"policy": ["run to failure", "risk"], "cost": [120.0, 100.0], "cost_low": [100.0, 90.0],
         "cost_high": [140.0, 110.0], "planned": [0.0, 0.08], "breakdowns": [0.05, 0.01],
         "captures": [0.0, 1.0]}
    )  # fmt: skip
    prices = {"planned": 650.0, "failure": 2400.0, "capture": 30.0}
    saving = {"saving": [0.0, 200.0], "saving_low": [0.0, 90.0], "saving_high": [0.0, 320.0]}
    year = policies[["policy", "cost"]].assign(cost=policies["cost"] * 10, **saving)
    return SimpleNamespace(
        policies=policies, currency="USD", year=year, against_age=(0.0, 0.0, 0.0), **prices, **more
    )


def test_policies_move_with_the_prices_and_stay_at_todays():
    same = cost_parts.at_prices(review(), 650, 2400)
    assert same["cost"].tolist() == pytest.approx([120, 100])
    dearer = cost_parts.at_prices(review(), 650, 3400)
    assert dearer["cost"].tolist() == pytest.approx([120 + 0.05 * 1000, 100 + 0.01 * 1000])
    # Intervals move in proportion: 170 / 120 and 110 / 100 of what they were.
    assert dearer["cost_low"].tolist() == pytest.approx([100 * 170 / 120, 90 * 110 / 100])
    assert dearer["cost_high"].tolist() == pytest.approx([140 * 170 / 120, 110 * 110 / 100])
    words = cost_parts.cheapest_words(dearer, cost_parts.not_told_apart(review(), dearer))
    assert words.endswith("'condition' costs least, 110; running to failure costs 170")
    dear = cost_parts.at_prices(review(), 650, 2400, 60)
    assert dear["cost"].tolist() == pytest.approx([120, 130])
    cheap_failures = cost_parts.at_prices(review(), 2000, 100)
    assert "nothing beats running to failure" in cost_parts.cheapest_words(cheap_failures, set())


def test_policies_are_told_apart_by_the_range_of_their_difference():
    """Their own ranges lie over each other (90 to 110, 100 to 140), yet 90 is the least saved of 1,200 a
    year: up to 110 / 1,200 of what running to failure costs the order may be chance."""
    kept = review()
    assert cost_parts.not_told_apart(kept, kept.policies) == set()
    close = kept.policies.assign(cost=[110.0, 100.0])  # 10 / 110 is less than 110 / 1,200
    assert cost_parts.not_told_apart(kept, close) == {"run to failure"}
    words = cost_parts.cheapest_words(close, {"run to failure"})
    assert words.endswith("'condition' costs least, 100, but can't be told apart from 'run to failure', 110")
    reversed_ = kept.policies.assign(cost=[100.0, 109.0])  # 9 / 109 is less than 120 / 1,000
    assert cost_parts.not_told_apart(kept, reversed_) == {"risk"}
    assert "nothing beats running to failure, 100, but can't be told apart from 'condition', 109" in (
        cost_parts.cheapest_words(reversed_, {"risk"})
    )


def test_spending_by_year_and_kind():
    facts = pd.DataFrame(
        {"year": [2025, 2025, 2025], "kind": ["on failure", "early", "planned on condition"],
         "cost": [101.0, 5, 10]}
    )  # fmt: skip
    rows = cost_spent.by_period(facts).set_index("kind")["amount"]
    assert rows.to_dict() == {"on the road": 101.0, "planned": 15.0}


def test_what_turns_the_choice_is_said():
    rows = pd.DataFrame(
        [
            ("tow ∓25 %", 1.0, 2.0, 1.5, "risk", "fixed age", "risk"),
            ("capture", 1.0, 2.0, 1.5, *["risk"] * 3),
        ],
        columns=["driver", "low", "high", "base", "best_low", "best_high", "best_base"],
    )
    assert cost_parts.turning_words(rows, set()) == (
        "Now condition costs least. Enough to turn that, each alone: tow ∓25 % (to fixed age)."
    )
    near = cost_parts.turning_words(rows, {"fixed age"})
    assert "condition costs least, but can't be told apart from fixed age. Enough" in near
    assert "No single one" in cost_parts.turning_words(rows.tail(1), set())


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
    row = record_parts.expected_rows(by_day(forecasts[forecasts["judged"]])).iloc[0]
    assert (row["expected"], row["counted"]) == (1.5, 2)
    assert row["high"] - row["expected"] == pytest.approx(1.644854 * np.sqrt(0.75))


def test_what_people_did_is_told_in_sentences_and_nothing_where_nobody_did():
    nobody = acted_on(SimpleNamespace(pumps=pd.DataFrame()), pd.DataFrame())
    assert record_text.acted_lines(nobody) == []
    lines = record_text.acted_lines(nobody | {"taken_off_on_condition": 3, "tested_good": 1})
    assert lines[0].startswith("Taken off on condition, in the whole record: 3 (0 confirmed on strip-down, 1")
    assert len(lines) == 2


def test_candidates_for_a_decision_name_where_they_stand(monkeypatch):
    row = {"pump_id": 1, "unit": "101", "position": "main", "risk": 0.2}
    plan = SimpleNamespace(
        lines=pd.DataFrame([row | {"planned_on": date(2026, 1, 5)}]),
        checks=pd.DataFrame(),
        unplaced=pd.DataFrame([row | {"pump_id": 2, "position": "rear"}]),
        waiting=pd.DataFrame([row]),
        rejected=pd.DataFrame(),
    )
    ranking = pd.DataFrame(
        [row | {"pump_id": k, "unit": str(100 + k), "action": "none"} for k in range(3, 400)]
    )
    named = {
        1: "unit 101, planned on 2026-01-05, risk 20 %",
        2: "unit 101 rear, not placed, risk 20 %",
    }
    assert deciding.candidates(plan) == (named, 2)
    monkeypatch.setattr(deciding.loaders, "ranking", lambda: ranking)
    assert deciding.candidates(plan, "101") == (named, 2)
    assert deciding.candidates(plan, "399") == ({299: "unit 399, no action, risk 20 %"}, 1)
    assert deciding.candidates(plan, pump_id=7)[0] == {7: "unit 107, no action, risk 20 %"}
    assert [deciding._risk(plan, k) for k in (2, 7)] == [0.2, None]  # kept with a booking


def test_a_long_list_of_decisions_is_cut_and_counted(monkeypatch):
    rows = pd.DataFrame(
        {"pump_id": range(500), "unit": [f"U{k}" for k in range(500)], "position": "main", "risk": 0.1}
    )  # fmt: skip
    none = pd.DataFrame()
    plan = SimpleNamespace(lines=none, checks=none, unplaced=none, waiting=rows, rejected=none)
    offered, found = deciding.candidates(plan)
    assert (len(offered), found) == (deciding.MOST_OFFERED, 500)
    monkeypatch.setattr(deciding.loaders, "ranking", lambda: rows.assign(action="none"))
    assert deciding.candidates(plan, "U499")[1] == 1


def test_the_spending_line_says_what_has_no_cost():
    months = pd.DataFrame(
        {"month": ["2025-03", "2024-03"], "kind": ["on the road"] * 2, "jobs": [2, 9],
         "amount": [2310.0, 9999.0], "estimated": [900.0, 0.0]}
    )  # fmt: skip
    line = money_words.spending_line(months, "USD", "2026-01")
    assert "2,310 USD for 2 pumps failed on the road" in line
    assert "900 USD of this is by the prices of the day" in line
    # Months without a job count too: the twelve to the newest fact, not to the last that cost something.
    assert "0 USD for 0 pumps" in money_words.spending_line(months, "USD", "2026-03")


def test_a_sheet_needs_nothing_from_outside_and_carries_the_cautions():
    page = paper.sheet(
        "Unit <1>", [("Facts", paper.facts_table({"Unit": "1", "Note": None}))], {"Verdict": "ok"}, []
    )
    assert "Unit &lt;1&gt;" in page
    assert "http" not in page
    assert "orange high-voltage" in page
    assert "Note" not in page


def test_the_expected_failures_come_with_the_range_that_chance_leaves():
    # 100 pumps at 20 %: 20 with standard deviation 4, so 8 in 10 within 1.28 x 4 of it.
    assert risk_list.expected_words(pd.Series([0.2] * 100)) == "20 (8 in 10: 15 to 25)"
    assert risk_list.expected_words(pd.Series([0.05])) == "0.1"


def test_a_reading_past_a_limit_is_said_where_the_line_is_not_there_yet():
    rows = pd.DataFrame({"mean_a": [5.1, 5.2, 6.4], "mean_a_reference": [5.0, 5.2, 6.6]})
    limits = {"low end of specification": 4.0, "high end of specification": 6.5}
    words = metrics.past_words(rows, "mean_a", limits, 5.9, "A")
    assert words is not None
    assert "the high end of specification, 6.5 A, already" in words
    assert metrics.past_words(rows, "mean_a", limits, 6.7, "A") is None  # limit_words says so
    assert metrics.past_words(rows.head(2), "mean_a", limits, 5.2, "A") is None
    assert metrics.past_words(rows.drop(columns="mean_a_reference"), "mean_a", limits, 5.2, "A") is None


def test_long_figures_in_a_list_are_shown_in_threes_and_years_are_not():
    table = pd.DataFrame({"Year": [2026], "Odometer, mi": [114_733.0], "Unit": ["A"]})
    shown = lists.with_thousands(table).to_html()
    assert "114,733" in shown
    assert "2026" in shown
    assert isinstance(lists.with_thousands(table[["Year"]]), pd.DataFrame)  # nothing to do
    untold = table.assign(Year=pd.array([None], dtype="Int64"), Price=pd.array([None], dtype="Float64"))
    assert "114,733" in lists.with_thousands(untold).to_html()
    hours = lists.with_thousands(table.assign(Hours=[2.5], Saved=[0.0])).to_html()
    assert ">2.5<" in hours
    assert ">0<" in hours
    money = pd.DataFrame({"Cost, USD": [2156.0, 605.9], "In all, USD": [649.0, 2324.0]})
    shown = lists.with_thousands(money).to_html()
    assert all(f">{figure}<" in shown for figure in ("2,156.00", "605.90", "649", "2,324"))


def test_an_average_comes_with_what_the_clamp_may_be_off_by():
    reading = pd.Series({"mean_a": 6.166, "mean_a_se": 0.0004, "mean_a_accuracy_a": 0.17})
    assert reading_panel.average_words(reading) == "6.17 ± 0.17 A (clamp)"
    assert reading_panel.average_words(reading.replace(0.17, np.nan)) == "6.166 ± under 0.001 A"


def test_a_rule_that_says_only_yes_or_no_has_no_slope():
    scores = pd.DataFrame([{"label": "rule", "auc": 0.8, "auc_se": 0.1, "brier": 0.1, "skill": 0.1,
                            "log_score": 0.1, "calibration_slope": -1.2e10, "expected": 3.0,
                            "top_decile_hits": 1, "top_decile_n": 4}])  # fmt: skip
    assert np.isnan(record_text.method_table(scores)["Slope"].iloc[0])


def test_what_is_at_stake_is_the_risk_times_what_a_failure_costs_more(monkeypatch):
    prices = SimpleNamespace(price_frame=lambda rows: pd.DataFrame({"failure": [2400.0], "planned": [650.0]}))
    monkeypatch.setattr(risk_list.loaders, "cost_book", lambda: prices)
    monkeypatch.setattr(risk_list.loaders, "settings", lambda: {"currency": "USD"})
    rows = pd.DataFrame({"risk_to_next_stop": [0.2]})
    assert risk_list.with_stakes(rows)["at_stake"].tolist() == pytest.approx([350.0])
    assert "At stake until its next visit: 350 USD." in risk_list.due_words(
        risk_list.with_stakes(rows).iloc[0]
    )
    monkeypatch.setattr(risk_list.access, "may", lambda what: False)
    assert "at_stake" not in risk_list.with_stakes(rows)


def test_the_next_capture_is_due_by_day_or_odometer():
    row = {"action": "none", "next_capture_on": date(2026, 4, 1), "next_capture_km": 144_000.0}
    before = date(2026, 3, 1)
    said = risk_list.due_words(row | {"horizon_unit": "mi"}, before)
    assert said == "Next capture by 2026-04-01 or at 89,477 mi, whichever comes first."
    assert risk_list.due_words(row | {"next_capture_km": np.nan}, before) == "Next capture by 2026-04-01."
    assert risk_list.due_words(row, date(2026, 4, 2)) == "A capture was due by 2026-04-01."
    assert risk_list.due_words(row | {"action": "check circuit"}) == "Next step: at the first chance."
    asked_again = risk_list.due_words(row | {"last_visited_on": date(2026, 4, 1)}, date(2026, 4, 2))
    assert asked_again == "Next capture: at the first chance."
    late = {"action": "check circuit", "due_by": before}
    assert risk_list.due_words(late, before).startswith("By now one in ten such pumps will have failed.")
    assert risk_list.due_words(late | {"not_working": True}, before) == "Next step: at the first chance."


def test_a_pumps_head_says_what_is_known_of_its_fitting():
    for day, km, said in (
        (date(2024, 5, 6), 179_466.0, "fitted 2024-05-06 at 179,466 km"),
        (None, 2000.0, "fitted at 2,000 km"),
        (None, np.nan, "fitting unknown"),
    ):
        assert history_parts._fitted(pd.Series({"fitted_on": day, "fitted_odometer_km": km}), "km") == said


def test_the_plan_begins_with_its_first_day_be_it_a_check(monkeypatch):
    lines = pd.DataFrame({"planned_on": [date(2026, 1, 12)], "status": ["booked"], "job": ["change"]})
    checks = pd.DataFrame({"planned_on": [date(2026, 1, 6)], "depot": ["North"]})
    plan = SimpleNamespace(lines=lines, checks=checks, currency="USD", expected_saving=900.0,
                           saving_against_later=90.0, saving_low=5.0, saving_high=1000.0)  # fmt: skip
    assert "are planned, 2026-01-06 to 2026-01-12 (1 booked)" in plan_parts.headline(plan)
    drawn = []
    for name in ("_draw_lines", "_draw_checks"):
        monkeypatch.setattr(plan_parts, name, lambda *_, name=name: drawn.append(name))
    plan_parts.show_jobs(plan, {})
    plan_parts.show_jobs(SimpleNamespace(lines=lines, checks=checks.head(0)), {})
    assert drawn == ["_draw_checks", "_draw_lines", "_draw_lines"]


def test_a_week_whose_hours_nobody_gave_has_neither_room_nor_none():
    bays = pd.DataFrame(
        {"week": [date(2026, 3, 2)] * 3, "depot": ["A", "B", "C"],
         "used_hours": [3.0, 3.0, 3.0], "free_hours": [2.0, 9.0, float("nan")]}
    )  # fmt: skip
    rooms = plan_parts.week_table(bays)["Room"].tolist()
    assert rooms == ["■ none left", "□ some left", "hours not given"]


def test_the_fleets_own_examples_are_last_captures_one_for_each_state_found():
    from dashboard.views.pump_history import comparing

    gone = pd.Timestamp("2025-01-01")
    rows = pd.DataFrame(
        [
            (1, None, None, 1, 5.0, 9.0, 6000.0), (2, None, None, 1, 5.2, 9.5, 6100.0),
            (3, None, None, 1, 9.0, 30.0, 4000.0), (4, gone, "worn", 1, 4.0, 10.0, 5000.0),
            (4, gone, "worn", 2, 5.0, 9.0, 6000.0), (5, gone, "not_examined", 1, 5.0, 9.0, 6000.0),
        ],
        columns=["pump_id", "removed_on", "found", "from_last", "mean_a", "ripple_pct", "rpm"],
    )  # fmt: skip
    told = comparing.examples_of(rows)
    assert told["found"].tolist()[1:] == ["worn"]
    assert told["pump_id"].tolist() == [2, 4]  # in service: the middle one, not the odd one
    assert told["such"].tolist() == [3, 1]
    assert not len(comparing.examples_of(rows[rows["pump_id"] > 3]))  # nothing to hold them against


def test_hours_stay_apart_by_depot_the_busiest_first():
    from dashboard.views.plan_board import parts

    bays = pd.DataFrame(
        {"depot": ["A", "B", "B", "A"], "week": pd.to_datetime(["2026-01-05", "2026-01-12"] * 2),
         "used_hours": [1.0, 5.0, 4.0, 0.0], "free_hours": [8.0, 8.0, 4.0, 8.0]}
    )  # fmt: skip
    told = parts.hours_by_depot(bays)
    assert told["depot"].tolist() == ["B", "B", "A", "A"]
    assert told["hours_planned"].sum() == 10


def test_a_change_that_hangs_on_a_check_reads_well_wherever_it_stands():
    def said(jobs: list[str], checks: int) -> str:
        plan = SimpleNamespace(lines=pd.DataFrame({"job": jobs}), checks=[None] * checks)
        return plan_parts._jobs_words(plan)

    first = "(each followed by a change unless it says otherwise)"
    assert said(["check and change"] * 24, 0) == f"24 checks {first}"
    one = "1 check (followed by a change unless it says otherwise)"
    assert said(["change", "check and change"], 0) == f"1 change and {one}"
    assert (
        said(["change"] * 2 + ["check and change"] * 3, 1) == f"2 changes, 3 checks {first} and 1 check alone"
    )
