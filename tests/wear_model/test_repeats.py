"""Repeats of one day share their error: those that agree are one reading; another day's is another."""

import numpy as np
import pandas as pd
import pytest

from analytics.past.repeats import as_one_reading
from tests.wear_model.test_common_steps import fleet

PUMP, METRICS = 7, ["mean_a", "rpm", "ripple_pct"]


def repeated(*times: float, **of_repeat: object) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The last visits of one pump, the last of all repeated that day with ripple so many times as high; and
    what is left of them."""
    visits, _ = fleet()
    mine = visits[visits["pump"] == PUMP].assign(reason="pm", comparable=True, check_result=None)
    again = [mine.iloc[[-1]].assign(ripple_pct=mine["ripple_pct"].iloc[-1] * by, **of_repeat) for by in times]
    mine = pd.concat([mine, *again], ignore_index=True)
    mine["same_day"] = mine["day"].diff() == 0
    return mine, as_one_reading(mine)


def test_repeats_that_agree_are_one_reading_their_mean():
    before, after = repeated(1.04, 0.96)
    assert after[METRICS].iloc[-3:-1].isna().all(axis=None)
    assert after["ripple_pct"].iloc[-1] == pytest.approx(before["ripple_pct"].iloc[-3:].mean())
    assert after["rpm"].iloc[-1] == pytest.approx(before["rpm"].iloc[-1])
    pd.testing.assert_frame_equal(after.iloc[:-3], before.iloc[:-3])
    pd.testing.assert_frame_equal(after.drop(columns=METRICS), before.drop(columns=METRICS))


def test_of_repeats_that_differ_both_stay_in_what_they_differ_by():
    before, after = repeated(1.7)
    assert after["ripple_pct"].tolist() == before["ripple_pct"].tolist()
    assert np.isnan(after["rpm"].iloc[-2])


@pytest.mark.parametrize(
    "of_repeat",
    [
        {"clamp": "K9"},
        {"state": "prime"},
        {"reason": "after-repair"},
        {"check_result": "filter"},
        {"comparable": False},
        {"day": 9999.0},
    ],
)
def test_another_clamp_state_or_day_or_what_was_mended_makes_another_reading(of_repeat):
    before, after = repeated(1.0, **of_repeat)
    pd.testing.assert_frame_equal(after, before)


def test_a_metric_that_only_one_of_them_tells_stays():
    before, after = repeated(1.0, rpm=np.nan)
    assert after["rpm"].tolist()[:-1] == before["rpm"].tolist()[:-1]
    assert np.isnan(after["mean_a"].iloc[-2])
