"""Odometers judged by each unit's own mileage, whatever the dates are worth."""

import numpy as np
import pandas as pd
import pytest

from ingest.checking.clusters import cluster_offsets, to_used
from ingest.checking.odometer import clean, judge_entry
from ingest.checking.swapped_units import swapped

MILE = 1.609344


def unit_frame(values, *, unit="T1", every=90, start="2023-01-05"):
    days = pd.date_range(start, periods=len(values), freq=f"{every}D")
    miles = np.array(values, dtype=float)
    return pd.DataFrame(
        {"unit": unit, "read_on": days, "odometer_km": miles * MILE, "odometer_entered": miles}
    )


GOOD = [40_000, 43_000, 45_500, 49_000, 52_500, 55_000, 58_500, 61_000]


@pytest.mark.parametrize(
    ("place", "entered", "code", "likely"),
    [
        (3, 78_858, "odometer-kilometres", 49_000),
        (7, 98_170, "odometer-kilometres", 61_000),
        (0, 64_374, "odometer-kilometres", 40_000),
        (3, 30_447, "odometer-miles", 49_000),
        (3, 490_007, "odometer-digit", 49_000),
        (3, 4_900, "odometer-digit", 49_005),
        (3, 94_000, "odometer-digit", 49_000),
        (3, 12_345, "odometer-below-last", None),
        (3, 700_000, "odometer-too-far", None),
    ],
)
def test_one_slip_is_found_and_explained(place, entered, code, likely):
    values = [*GOOD]
    values[place] = entered
    judged = clean(unit_frame(values))
    assert list(np.flatnonzero(~judged["trusted"])) == [place]
    assert judged["code"].iloc[place] == code
    if likely is None:
        assert np.isnan(judged["likely_km"].iloc[place])
    else:
        assert judged["likely_km"].iloc[place] == pytest.approx(likely * MILE, abs=10 * MILE)


def test_a_clean_history_is_trusted_even_with_dates_some_days_off():
    frame = unit_frame(GOOD)
    rng = np.random.default_rng(4)
    frame["read_on"] += pd.to_timedelta(rng.integers(-6, 7, len(frame)), unit="D")
    assert clean(frame)["trusted"].all()


def test_readings_of_one_day_in_the_wrong_order_are_no_fault():
    frame = pd.concat([unit_frame(GOOD), unit_frame(GOOD)], ignore_index=True)
    frame["odometer_km"] += np.r_[np.zeros(8), np.full(8, 1.0)]
    assert clean(frame.sample(frac=1, random_state=1))["trusted"].all()


def test_a_restart_is_one_event_not_many_typos():
    judged = clean(unit_frame([*GOOD, 500, 3_500, 6_700]))
    assert list(judged["code"]) == [""] * 8 + ["odometer-restarted"] * 3
    late = clean(unit_frame([90_000, 93_000, 500, 3_500, 6_700, 10_000]))
    assert list(late["code"]) == ["odometer-restarted"] * 2 + [""] * 4


def test_a_step_that_stays_takes_the_later_readings_along():
    """A daily 81 km, then 90,000 km more for three visits: they come into reach, and are not believed."""
    km = [7_497, 19_212, 31_008, 41_673, 143_792, 157_527, 168_030]
    days = ["2024-02-04", "2024-06-28", "2024-11-21", "2025-04-02", "2025-08-30", "2026-02-16", "2026-06-26"]
    frame = pd.DataFrame({"unit": "121", "read_on": pd.to_datetime(days), "odometer_km": km})
    judged = clean(frame)
    assert list(judged["code"]) == [""] * 4 + ["odometer-restarted"] * 3
    assert judged["km_per_day"].iloc[0] == pytest.approx(81, abs=2)
    assert clean(frame.assign(confirmed=[False] * 4 + [True] * 3))["trusted"].all()


def test_two_units_entered_for_each_other_at_one_stop_are_paired():
    steady = np.arange(8) * 3_000.0
    one = unit_frame([*(40_000 + steady[:7]), 85_000]).assign(unit="A")
    two = unit_frame([*(64_000 + steady[:7]), 61_000]).assign(unit="B")
    frame = pd.concat([one, two], ignore_index=True)
    judged = clean(frame)
    assert swapped(frame, judged) == {7: 15, 15: 7}
    frame.loc[15, "odometer_km"] = 50_000  # of neither
    assert swapped(frame, clean(frame)) == {}


def test_a_vouched_for_reading_is_believed():
    frame = unit_frame([*GOOD[:7], 140_000])
    assert clean(frame)["code"].iloc[7] == "odometer-too-far"
    frame["confirmed"] = [False] * 7 + [True]
    assert clean(frame)["trusted"].all()


def test_blank_readings_and_index_are_kept():
    frame = unit_frame(GOOD)
    frame.loc[2, "odometer_km"] = np.nan
    frame.index = list("hgfedcba")
    judged = clean(frame)
    assert list(judged.index) == list("hgfedcba")
    assert judged["trusted"].all()
    assert clean(frame.iloc[:0]).empty


def slipped_fleet(units=400, visits=15, share=0.03, seed=5):
    """A fleet with 3 % slipped entries; returns readings and what each slip was ("" for none)."""
    rng = np.random.default_rng(seed)
    rate = rng.lognormal(np.log(50), 0.5, (units, 1))
    gap = rng.uniform(60, 160, (units, visits))
    km = rng.uniform(0, 80_000, (units, 1)) + np.cumsum(rate * gap * rng.lognormal(0, 0.35, gap.shape), 1)
    miles = np.rint(km / MILE)
    slip = np.where(rng.random(miles.shape) < share, rng.integers(1, 5, miles.shape), 0)
    entered = np.select(
        [slip == 1, slip == 2, slip == 3, slip == 4],
        [np.rint(miles * MILE), miles * 10 + 7, miles // 10, np.rint(miles / MILE)],
        miles,
    )
    days = np.cumsum(gap, 1).astype(int) + rng.integers(-5, 6, miles.shape)
    frame = pd.DataFrame(
        {
            "unit": np.repeat(np.arange(units).astype(str), visits),
            "read_on": np.datetime64("2019-01-01") + days.ravel().astype("timedelta64[D]"),
            "odometer_entered": entered.ravel(),
            "odometer_km": entered.ravel() * MILE,
        }
    )
    return frame, slip.ravel()


def test_across_a_fleet_slips_are_found_and_good_entries_left_alone():
    frame, slip = slipped_fleet()
    judged = clean(frame)
    found = (~judged["trusted"]).to_numpy()
    assert found[slip > 0].mean() > 0.95
    assert found[slip == 0].mean() < 0.002
    explained = judged["code"].to_numpy()[(slip == 1) & found]
    assert (explained == "odometer-kilometres").mean() > 0.95


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_dates_some_days_off_change_no_correction(seed):
    """Every date is moved by up to a week, each by its own: the same entries are doubted and put right."""
    frame, slip = slipped_fleet(units=150)
    days = np.random.default_rng(seed).integers(-7, 8, len(frame)).astype("timedelta64[D]")
    before, after = clean(frame), clean(frame.assign(read_on=frame["read_on"] + days))
    same = before["trusted"] == after["trusted"]
    assert same[slip > 0].mean() > 0.97
    assert same[slip == 0].mean() > 0.998
    doubted = ~before["trusted"] & ~after["trusted"] & (slip > 0)
    assert (before["code"] == after["code"])[doubted].mean() > 0.97
    told = doubted & before["likely_km"].notna() & after["likely_km"].notna()
    # What is suggested to the person asked: of several digit slips another may lie nearest (3 of 70 seen).
    assert np.isclose(before["likely_km"], after["likely_km"])[told].mean() > 0.93


def test_the_judgement_of_a_unit_does_not_depend_on_its_neighbours_order():
    frame, _ = slipped_fleet(units=40)
    shuffled = frame.sample(frac=1, random_state=2)
    pd.testing.assert_frame_equal(clean(shuffled).sort_index(), clean(frame))


def test_a_new_entry_is_judged_strictly_against_the_last():
    history = unit_frame(GOOD)
    day = np.datetime64("2025-01-01")
    assert judge_entry(history, day, 63_500 * MILE, 63_500) is None
    assert judge_entry(history, day, 60_990 * MILE, 60_990).code == "odometer-below-last"
    assert judge_entry(history.iloc[:0], day, 5.0, 3) is None


@pytest.mark.parametrize(
    ("entered", "offered"),
    [(97_970, False), (98_150, False), (98_400, True), (606_850, False), (611_000, True)],
)
def test_no_entry_is_offered_less_than_the_unit_had_run(entered, offered):
    """Put right by the answer, it must not be asked about again."""
    history = unit_frame(GOOD)
    for day in (np.datetime64("2024-10-02"), np.datetime64("2024-12-02")):
        doubt = judge_entry(history, day, entered * MILE, entered)
        assert np.isfinite(doubt.likely_km) == offered
        if offered:
            assert doubt.likely_km >= GOOD[-1] * MILE - 1
            again = judge_entry(history, day, doubt.likely_km, doubt.likely_km / MILE)
            assert again is None


def test_cluster_offsets_add_up_over_two_replacements():
    known = pd.DataFrame(
        {
            "unit": "T1",
            "read_on": pd.to_datetime(["2024-01-01", "2024-06-01", "2024-09-01"]),
            "odometer_km": [90_000.0, 10_000.0, 500.0],
        }
    )
    clusters = pd.DataFrame(
        {"unit": "T1", "read_on": pd.to_datetime(["2024-01-01", "2024-06-01"]), "odometer_km": [100.0, 0.0]}
    )
    offsets = cluster_offsets(clusters, known)
    assert list(offsets["offset_km"]) == [89_900.0, 99_900.0]
    used = to_used(known["unit"], known["read_on"], known["odometer_km"], offsets)
    assert list(used) == [90_000.0, 99_900.0, 100_400.0]


def test_of_two_readings_the_later_is_asked_about_where_no_vehicle_drives_so_far():
    others = [unit_frame(GOOD, unit=f"U{i}") for i in range(4)]
    judged = clean(pd.concat([*others, unit_frame([66_700, 781_000], every=410)], ignore_index=True))
    last = judged.iloc[-1]
    assert list(judged["trusted"].iloc[-2:]) == [True, False]
    assert last["code"] == "odometer-digit"
    assert last["likely_km"] == pytest.approx(78_100 * MILE)
    assert last["km_per_day"] < 100
