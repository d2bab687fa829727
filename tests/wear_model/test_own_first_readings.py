"""Beside a pump's own first readings: a speed that none turns stays out, a current alone is the clamp's."""

import numpy as np
import pandas as pd
import pytest

from analytics.past.own_first_readings import held_against_own
from ingest.trade_numbers import DEFAULTS
from tests.wear_model.test_common_steps import VISITS, fleet

PUMP = 7


def with_last(readings: int, **times: float) -> tuple[pd.DataFrame, pd.Series, pd.DataFrame]:
    """Visits with the last so many of one pump changed, and which speeds are left out."""
    visits, pumps = fleet()
    visits["comparable"] = True
    rows = visits.index[visits["pump"] == PUMP][-readings:]
    for name, by in times.items():
        visits.loc[rows, name] *= by
    made = held_against_own(visits, pumps, DEFAULTS)
    return visits, made["rpm"].isna(), made


@pytest.mark.parametrize("times", [{"rpm": 2.0}, {"rpm": 0.15}, {"rpm": 1.4}, {"rpm": 1.6, "mean_a": 0.7}])
@pytest.mark.parametrize("readings", [1, VISITS - 3])
def test_a_turn_told_wrong_is_left_out_however_often_it_is_told(times, readings):
    visits, left_out, made = with_last(readings, **times)
    assert left_out[visits["pump"] == PUMP].to_numpy().nonzero()[0].tolist() == list(
        range(VISITS - readings, VISITS)
    )
    assert left_out.sum() == readings
    pd.testing.assert_frame_equal(made.drop(columns=["rpm", "unmoved"]), visits.drop(columns="rpm"))


@pytest.mark.parametrize(
    "times",
    [
        {"rpm": 0.85, "mean_a": 0.92},  # resistance of brushes or circuit
        {"rpm": 1.22, "mean_a": 0.70},  # a pump that moves no fuel
        {"rpm": 0.5},  # half the volts, until the circuit is proven
        {"rpm": 1.5, "mean_a": 1.5},  # a shorted coil
        {"supply_v": 1.25, "rpm": 1.28, "mean_a": 1.07},  # more volts
    ],
)
def test_what_a_fault_or_the_supply_brings_about_stays(times):
    _, left_out, made = with_last(2, **times)
    assert not left_out.any()
    assert np.isfinite(made["rpm"]).all()


def test_one_wrong_first_speed_does_not_condemn_the_right_ones_for_long():
    visits, pumps = fleet()
    visits["comparable"] = True
    rows = visits.index[visits["pump"] == PUMP]
    visits.loc[rows[0], "rpm"] /= 2
    left_out = held_against_own(visits, pumps, DEFAULTS)["rpm"].isna()
    assert left_out[rows].tolist() == [False, True, True] + [False] * (VISITS - 3)


@pytest.mark.parametrize(
    ("times", "unmoved"),
    [
        ({"mean_a": 0.75}, True),  # a clamp that reads less
        ({"mean_a": 1.25, "rpm": 1.02}, True),  # its last readings happen to be slow
        ({"mean_a": 0.75, "rpm": 1.09}, False),  # less load
        ({"mean_a": 1.45, "rpm": 0.86}, False),  # drag
        ({"mean_a": 0.9, "rpm": 0.85}, False),  # resistance of brushes or circuit
        ({"mean_a": 0.96}, False),  # too little to tell
        ({"mean_a": 0.75, "supply_v": np.nan}, False),  # volts might have hidden what the load did
    ],
)
def test_a_current_that_changed_with_the_speed_unmoved_is_told_from_a_load(times, unmoved):
    visits, _, made = with_last(2, **times)
    mine = (visits["pump"] == PUMP).to_numpy() & (visits.groupby("pump").cumcount() >= VISITS - 2).to_numpy()
    assert (made["unmoved"].to_numpy() == (mine & unmoved)).all()
