"""The answer first: which policy, what a year costs, and where monitoring costs more than it saves, that."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.cost_review.answer import Question, answer, distance_words, money
from analytics.cost_review.intervals import ALL
from analytics.money.policies import AGE, LIMITS, POLICIES, RISK


def year(run, age, limits, risk, captures=400.0, each=30.0):
    cost = dict(zip(POLICIES, (run, age, limits, risk), strict=True))
    rows = []
    for policy in POLICIES:
        paid = captures * each if policy in (LIMITS, RISK) else 0.0
        rows.append(
            {
                "policy": policy, "cost": cost[policy], "cost_low": 0.9 * cost[policy],
                "cost_high": 1.1 * cost[policy], "saving": run - cost[policy],
                "saving_low": run - cost[policy] - 5000.0, "saving_high": run - cost[policy] + 5000.0,
                "capture_cost": paid, "captures": captures if paid else 0.0,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def intervals(own=10_000.0, second=11_000.0):
    rows = [(ALL, 1.0, 5000.0, own, True, own >= second), (ALL, 2.0, 10_000.0, second, False, second > own)]
    return pd.DataFrame(rows, columns=["pump_type", "times", "interval", "saving", "is_own", "is_best"])


def question(table, **more):
    warnings = pd.DataFrame(
        [("FP-10", 5000.0, 6100.0, 20_337.0, 48_000.0, 0.12, 10_168.0, True)],
        columns=["pump_type", "interval", "warning_p10", "warning_p50", "warning_p90", "without_warning",
                 "at_most", "within_rule"],
    )  # fmt: skip
    cost = dict(zip(table["policy"], table["cost"], strict=True))
    against = cost[AGE] - cost[RISK]
    near = (against, against - 4000, against + 4000)
    given = Question(
        table, 8.8e6, "mi", "USD", near, intervals(), warnings, 30.0, 650.0, 2400.0, 4.5, "75,500 mi",
    )  # fmt: skip
    return replace(given, **more)


def test_a_year_of_the_fleet_comes_first_with_its_range_and_the_age():
    said = answer(question(year(1_210_000, 1_060_000, 1_300_000, 1_020_000)))
    assert said[0] == (
        "On this fleet, in a year at 8.8 million mi: run to failure 1.21, fixed age (75,500 mi) 1.06, "
        "condition "
        "1.02 million USD (8 in 10: 0.92 to 1.12), captures counted."
    )
    assert "Condition costs least: it saves 190,000 USD" in said[1]
    assert "12,000 USD a year" in said[1]


def test_monitoring_that_costs_more_than_it_saves_is_the_first_sentence_with_what_would_turn_it():
    table = year(60_000, 50_000, 70_000, 58_000)
    said = answer(question(table, intervals=intervals(2_000.0, 12_000.0)))
    assert "told apart" not in " ".join(said)
    assert said[0].startswith(
        "Condition monitoring costs more than it saves on this fleet: 8,000 USD a year more than fixed age; "
        "its "
        "captures alone cost 12,000 USD"
    )
    # 58,000 without 12,000 of captures leaves 4,000 for 400 captures; 60,000 - 12,000 beats 50,000.
    assert said[1] == (
        "It would pay with captures under 10 USD each (now 30), or a capture at every second stop, or "
        "failures "
        "dearer than 2,925 USD each (now 2,400)."
    )
    assert said[2].startswith("On this fleet, in a year")


def test_where_nothing_turns_it_that_is_said():
    table = year(30_000, 29_000, 70_000, 58_000)
    said = answer(question(table, pays_from_ratio=np.nan, intervals=intervals(500.0, 100.0)))
    assert said[1].startswith("Nothing looked at")


def test_two_that_cant_be_told_apart_are_said_to_be():
    said = answer(question(year(60_000, 50_500, 70_000, 50_000)))
    assert said[0].startswith("On this fleet, in a year")
    assert said[1] == (
        "Condition and fixed age can't be told apart on this fleet: condition costs 500 USD a year less "
        "(8 in 10: from 4,500 less to 3,500 more), its captures, 12,000 USD a year, paid in that. Against "
        "running to failure it saves 10,000 USD (8 in 10: 5,000 to 15,000)."
    )
    dearer = answer(question(year(60_000, 50_000, 70_000, 50_160)))
    assert dearer[0].startswith("On this fleet, in a year")
    assert "condition costs 160 USD a year more (8 in 10: from 3,840 less to 4,160 more)" in dearer[1]
    # 50,160 - 12,000 of captures leaves 11,840 for 400 of them.
    assert dearer[2].startswith("It would pay with captures under 29.6 USD each (now 30), or")


def test_nothing_saved_against_running_to_failure_is_no_clear_answer():
    said = answer(question(year(51_000, 60_000, 70_000, 50_000)))
    assert said[1].startswith("Condition and run to failure can't be told apart on this fleet")
    assert said[1].endswith("its captures, 12,000 USD a year, paid in that.")


def test_how_often_to_capture_and_how_far_ahead_it_shows():
    said = answer(question(year(60_000, 50_500, 70_000, 50_000)))
    assert "A capture at every second stop would save 11,000 USD a year" in said[2]
    assert "shows about 20,300 mi ahead (1 in 10 under 6,100); 12 % come unannounced" in said[3]
    assert "every 10,200 mi at most; the fleet's 5,000 keep it" in said[3]
    short = question(year(60_000, 50_500, 70_000, 50_000))
    warned = short.warnings.assign(at_most=7_300.0)
    beyond = answer(replace(short, warnings=warned))[3]
    assert beyond.endswith(
        "keep it, every second stop (10,000) would not: weigh the saving against less warning."
    )
    own = answer(question(year(60_000, 50_500, 70_000, 50_000), intervals=intervals(12_000.0, 11_000.0)))
    assert "a capture at every stop, as now, saves most" in own[2]


def test_no_pump_is_a_sentence():
    said = answer(replace(question(year(*[1.0] * 4)), distance_per_year=0.0))
    assert said == ("No pump is in service, so there is no policy to compare.",)


@pytest.mark.parametrize(
    ("amount", "said"), [(1_234_567, "1.23 million USD"), (12_345, "12,300 USD"), (95.4, "95 USD")]
)
def test_amounts_are_no_finer_than_they_are_known(amount, said):
    assert money(amount, "USD") == said


def test_distances():
    assert (distance_words(8.81e6, "mi"), distance_words(643_000, "km")) == ("8.8 million mi", "640,000 km")
