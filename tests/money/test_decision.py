"""What to do about a pump, in money: each option worked by hand, and where the choice turns."""

from __future__ import annotations

from dataclasses import astuple, replace

import numpy as np
import pytest

from analytics.money.decision import (
    CAUSE_FOUND,
    CHANGE,
    CHECK,
    CHECK_AND_CHANGE,
    EXTRA,
    FAILED,
    NEXT_STOP,
    NO_FUEL,
    NOT_SAFER,
    NOTHING,
    NOW,
    ON_CEILING,
    Outlook,
    Skill,
    Work,
    borne_out,
    decide,
    keep_cost,
    keep_unexplained,
)
from analytics.money.outlook import cause_beside, keep_to_end

WORK = Work(650.0, 2400.0, 40.0, 80.0, 60.0, 25.0, 1500.0, 900.0)
SKILL = Skill(miss=0.2, false_name=0.05, tank_open=0.5, breaks=0.3)
CP, CF = 650 + 0.02 * 1500, 2400 + 0.02 * 1500


def outlook(
    keep=900.0, sound=300.0, beside=0.4, risk=(0.0, 0.05, 0.2), here=False, g=0.005, found=0.0, in_tank=False
) -> Outlook:
    """One pump: 700 km to an extra stop, 5,000 km to the next planned one."""
    return Outlook(
        risk=np.array([risk]),
        lived_km=np.array([[0.0, 690.0, 4500.0]]),
        open_at=np.array([[here, True, True]]),
        keep=np.full((1, 3), keep),
        keep_sound=np.array([sound]),
        beside=np.array([beside]),
        cost_per_km=np.array([g]),
        found=np.array([found]),
        in_tank=np.array([in_tank]),
        left_to_fail=np.array([2000.0]),
    )


def test_each_option_by_hand():
    made = decide(outlook(here=True), WORK, SKILL).options[0]
    assert made[NOTHING, NEXT_STOP] == pytest.approx(0.2 * CF + 0.8 * 900 - 0.005 * 4500)
    assert made[CHANGE, NOW] == pytest.approx(CP)
    assert made[CHANGE, EXTRA] == pytest.approx(0.05 * CF + 0.95 * CP - 0.005 * 690 + 60)
    named, held = 0.4 * 0.8, 0.6 * 0.05
    bad = (900 - 0.4 * 300) / 0.6
    both = 40 + named * (40 + 25 + 300 - 270) + held * (40 + 25 + bad) + (1 - named - held) * CP
    assert made[CHECK_AND_CHANGE, NOW] == pytest.approx(both)
    left = 0.4 * 0.2 / (1 - named)
    unexplained = min(left * 300 + (1 - left) * bad, CP + 60)
    check = 40 + 80 * (1 - named) + 40 * named + named * (300 - 270) + (1 - named) * unexplained
    assert made[CHECK, NEXT_STOP] == pytest.approx(0.2 * CF + 0.8 * check - 0.005 * 4500)


def test_now_while_it_stands_there_beats_a_stop_of_its_own():
    assert decide(outlook(keep=1500.0, here=True), WORK, SKILL).time[0] == NOW
    assert decide(outlook(keep=1500.0), WORK, SKILL).time[0] == EXTRA
    dear = replace(WORK, extra_stop=2000.0)
    assert decide(outlook(keep=1500.0), dear, SKILL).time[0] == NEXT_STOP


def test_what_keeping_costs_after_a_check_that_found_nothing():
    # Of 10 such readings 4 have a cause beside the pump; it misses one in five of these.
    left = 0.4 * 0.2 / (0.6 + 0.4 * 0.2)
    bad = (900 - 0.4 * 300) / 0.6
    assert keep_unexplained(outlook(), SKILL) == pytest.approx(np.full((1, 3), left * 300 + (1 - left) * bad))


def test_what_is_ordered_says_by_what_pump_by_pump():
    # The second is no safer for a new pump; the first is over its ceiling.
    two = [np.concatenate([a, b]) for a, b in zip(astuple(outlook()), astuple(outlook()), strict=True)]
    made = decide(
        Outlook(*two), WORK, SKILL, over_ceiling=np.array([True, False]), safer=np.array([True, False])
    )
    assert list(made.because) == [ON_CEILING, NOT_SAFER]


def test_a_sound_pump_is_left_alone():
    made = decide(outlook(keep=300.0, beside=0.0, risk=(0.0, 0.001, 0.01)), WORK, SKILL)
    assert made.job[0] == NOTHING
    assert made.saving[0] == 0
    assert made.because[0] == "not yet worth it"


def test_what_saves_less_than_the_forecast_can_tell_is_not_ordered():
    near = outlook(keep=CP + 20.0, beside=0.0, risk=(0.0, 0.01, 0.01), here=True)
    assert decide(near, WORK, SKILL).job[0] == CHANGE
    assert decide(near, WORK, SKILL, least_saving=30.0).job[0] == NOTHING
    over = decide(near, WORK, SKILL, least_saving=30.0, over_ceiling=np.array([True]))
    assert over.job[0] == CHANGE


def test_where_a_check_can_find_nothing_it_is_not_paid_for():
    made = decide(outlook(keep=1500.0, beside=0.0), WORK, SKILL)
    assert made.job[0] == CHANGE
    assert decide(outlook(keep=1500.0, beside=0.5), WORK, SKILL).job[0] == CHECK_AND_CHANGE


@pytest.mark.parametrize(("in_tank", "labour"), [(False, 40.0), (True, 80.0)])
def test_a_cause_found_beside_a_sound_pump_is_mended_at_the_stop_it_comes_to_anyway(in_tank, labour):
    calm = {"keep": 300.0, "beside": 0.0, "risk": (0.0, 0.001, 0.01), "found": 0.95, "in_tank": in_tank}
    made = decide(outlook(**calm), WORK, SKILL, least_saving=26.0)
    assert (made.job[0], made.time[0], made.because[0], made.p_change[0]) == (
        CHECK,
        NEXT_STOP,
        CAUSE_FOUND,
        0.0,
    )
    assert made.saving[0] == pytest.approx(0.99 * (0.95 * 0.3 * 900 - labour))
    assert decide(outlook(here=True, **calm), WORK, SKILL).time[0] == NOW
    harmless = replace(WORK, other_breakdown=100.0)
    assert decide(outlook(**calm), harmless, SKILL, least_saving=26.0).job[0] == NOTHING
    assert decide(outlook(**calm), WORK, SKILL, idle=True).because[0] == NO_FUEL


def test_a_pump_at_the_margin_is_read_again_after_what_was_found_is_mended():
    near = outlook(keep=CP + 20.0, beside=0.0, risk=(0.0, 0.01, 0.01), here=True, found=0.95)
    assert decide(near, WORK, SKILL, least_saving=30.0).because[0] == CAUSE_FOUND
    assert decide(near, WORK, SKILL).job[0] == CHECK_AND_CHANGE


def test_a_worn_pump_with_a_cause_found_beside_it_is_not_changed_with_that_cause_left():
    worn = outlook(keep=1500.0, beside=0.0, found=0.95)
    made = decide(worn, WORK, SKILL)
    assert (made.job[0], made.because[0]) == (CHECK_AND_CHANGE, "cost")
    bad = 1500.0
    both = 40 + 0.05 * (40 + 25 + bad) + 0.95 * CP - 0.95 * 270
    assert made.there[0] == pytest.approx(both)


def test_checks_that_cost_nothing_do_not_put_a_change_off_for_ever():
    free = replace(WORK, check_closed=0.0, check_open=0.0, extra_stop=0.0, part_returned=0.0)
    assert decide(outlook(keep=1500.0, here=True), free, SKILL).job[0] == CHECK
    assert decide(outlook(keep=1500.0, beside=0.0, here=True), free, SKILL).job[0] == CHANGE


def test_the_chance_of_a_change_is_told():
    made = decide(outlook(keep=1500.0, here=True), WORK, SKILL)
    upheld = borne_out(made.saving, WORK.planned)[0]  # by the check's own reading
    assert made.p_change[0] == pytest.approx((1 - 0.4 * 0.8 - 0.6 * 0.05) * upheld)
    plain = decide(outlook(keep=1500.0, beside=0.0, here=True), WORK, SKILL, read_now=True)
    assert plain.p_change[0] == 1  # nothing is left to be asked
    later = decide(outlook(keep=1500.0), WORK, SKILL)
    # The pump must live to see the stop, and the reading taken there must still call for it.
    stays = float(borne_out(later.saving, WORK.planned)[0])
    assert later.p_change[0] == pytest.approx(0.95 * stays * made.p_change[0] / upheld)
    assert borne_out(0.0, 650.0) == pytest.approx(1 / (1 + np.exp(0.2)))
    assert borne_out(-90.0, 650.0) == borne_out(0.0, 650.0) < borne_out(325.0, 650.0) < 0.8
    passed = decide(outlook(keep=1500.0, beside=0.0), WORK, SKILL, looked_at=True)
    assert passed.p_change[0] == pytest.approx(0.95)
    sure = decide(outlook(keep=1500.0, beside=0.0), WORK, SKILL, starves=True)
    assert sure.p_change[0] == pytest.approx(0.95)


def test_a_ceiling_orders_the_first_time_there_is_and_cost_is_overridden():
    calm = outlook(keep=300.0, beside=0.0, risk=(0.0, 0.01, 0.06))
    made = decide(calm, WORK, SKILL, over_ceiling=np.array([True]))
    assert (made.job[0], made.time[0], made.because[0]) == (CHANGE, EXTRA, "risk ceiling")
    assert decide(calm, WORK, SKILL, over_ceiling=np.array([True]), safer=np.array([False])).job[0] == NOTHING


def test_a_pump_proven_not_to_deliver_is_changed_at_its_first_time_whatever_its_risk():
    calm = outlook(keep=300.0, beside=0.0, risk=(0.0, 0.001, 0.01))
    assert decide(calm, WORK, SKILL).job[0] == NOTHING
    made = decide(calm, WORK, SKILL, starves=np.array([True]), safer=np.array([False]), may_change=False)
    assert (made.job[0], made.time[0]) == (CHANGE, EXTRA)
    assert made.because[0] == "it does not deliver, and nothing else explains it"


def test_where_the_engine_may_get_no_fuel_it_is_checked_at_the_first_time_and_changed_only_after():
    calm = outlook(keep=300.0, beside=0.0, risk=(0.0, 0.001, 0.01))
    worn = outlook(keep=1500.0, beside=0.0, here=True)
    over = np.array([True])
    for case, first in ((calm, EXTRA), (worn, NOW)):
        for settings in ({}, {"over_ceiling": over}, {"safer": ~over}, {"may_change": False}):
            made = decide(case, WORK, SKILL, idle=over, **settings)
            assert (made.job[0], made.time[0], made.because[0]) == (CHECK, first, NO_FUEL)
    assert decide(worn, WORK, SKILL, idle=over, looked_at=True).job[0] == CHANGE
    assert decide(worn, WORK, SKILL, idle=over, failed=True).because[0] == FAILED


def test_nothing_is_changed_for_a_pump_that_is_no_safer_nor_before_its_finding_is_finished():
    bad = outlook(keep=1500.0)
    made = decide(bad, WORK, SKILL, safer=np.array([False]))
    assert made.job[0] in (NOTHING, CHECK)
    asked = decide(bad, WORK, SKILL, may_change=np.array([False]))
    assert (asked.job[0], asked.because[0]) == (CHECK, "the finding is not finished")


def test_a_failed_pump_is_changed_without_a_check():
    made = decide(outlook(keep=300.0), WORK, SKILL, failed=np.array([True]))
    assert (made.job[0], made.because[0], made.p_change[0]) == (CHANGE, "failed", 1.0)


def test_keeping_costs_the_least_over_later_stops():
    # No hazard up to 50,000 km, then it fails at once: kept until just before, 49,000 km are had for nothing.
    grid = np.arange(0.0, 100_001.0, 1000.0)
    survival = (grid < 50_000).astype(float)[None, :]
    kept = keep_cost(grid, survival, np.zeros(1), np.array([5000.0]), 700.0, 2400.0, np.array([0.005]))
    assert kept[0] == pytest.approx(700 - 0.005 * 49_000)
    # Beyond that point it can only fail: 500 km half-way into the step where it does.
    late = keep_cost(grid, survival, np.zeros(1), np.array([60_000.0]), 700.0, 2400.0, np.array([0.005]))
    assert late[0] == pytest.approx(2400 - 0.005 * 49_500)


def test_a_cause_beside_the_pump_plays_only_where_a_reading_is_odd():
    told = cause_beside(np.array([0.1, 0.4, 0.99]), np.array([0.1, 0.1, 0.1]), 0.4)
    assert told[0] == 0.0
    assert told[1] == pytest.approx(0.4 * 0.75**2)
    assert told[2] == pytest.approx(0.01 / 0.9)  # so high a risk leaves no room for an innocent pump


def test_what_is_kept_till_its_vehicle_goes_may_be_changed_later():
    """By hand: never, a failure of 400 with a chance of .6 by 25; a change of 100 at 10, .01·400 + .99·100
    and .01·400 for the new pump over its 15; at 20, .4·400 + .6·100. Gone by 9 it meets no stop before."""
    grid = np.array([0.0, 10.0, 20.0, 30.0])
    old, new = np.array([[1, 0.99, 0.6, 0.2]] * 2), np.array([[1, 1, 0.98, 0.95]] * 2)
    each = np.ones(2)
    made = keep_to_end(grid, old, new, 0 * each, 10 * each, np.array([25.0, 9.0]), 100 * each, 400 * each)
    assert made == pytest.approx([4 + 99 + 4, 0.009 * 400])
