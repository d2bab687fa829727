"""Read on other volts or at another pressure, a pump's own exponents are not known: it is none that drags."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.past.normalise import USUAL_DROPS_V, channels, fit_exponents, last_covariates, nominal
from tests.wear_model.test_common_steps import fleet

PUMP = 7


def opened(*volts: float) -> tuple[np.ndarray, pd.DataFrame, pd.DataFrame]:
    """How far one pump's load is open, in standard deviations, at its last visits on these volts."""
    visits, pumps = fleet()
    visits = visits.assign(
        comparable=True, by_meter=False, filter_in_doubt=False, ln_feed=0.0, delivery_l_min=np.nan
    )
    rows = visits.index[visits["pump"] == PUMP][-len(volts) :]
    visits.loc[rows, "supply_v"] = volts
    made = channels(visits, pumps, nominal())
    return np.sqrt(made.beside_load.opened[rows]), visits, pumps


def test_what_volts_change_anyhow_opens_nothing_and_far_ones_both_ways_once():
    sd, *_ = opened(13.4, 13.6, 11.6, 11.6, 13.5)
    assert sd[:2] == pytest.approx(0)
    assert 0.03 < sd[2] < 0.06  # b 0 or .6 instead of .3 leaves some .05 at these volts
    assert sd[3] == pytest.approx(0)
    assert sd[4] == pytest.approx(sd[2], rel=0.1)


def test_drops_told_without_volts_are_what_the_source_s_usual_volts_lose():
    """A pump that its wiring starves of 2 V is slow by that, and has no brushes that are worn."""
    visits, pumps = fleet()
    visits = visits.assign(
        comparable=True, by_meter=False, filter_in_doubt=False, ln_feed=0.0, delivery_l_min=np.nan,
        state="idle", supply_v_at="pump", drop_supply_v=np.nan, drop_ground_v=np.nan,
    )  # fmt: skip
    usual = replace(nominal(), state_volts={"idle": 0.0, "any": 0.0})  # ln V/V0
    rows = visits.index[visits["pump"] == PUMP][-2:]
    visits.loc[rows[0], ["supply_v", "rpm"]] = 11.5, 5000.0
    visits.loc[rows[1], ["supply_v", "rpm"]] = np.nan, 5000.0
    reference = pumps["reference_v"].iloc[PUMP]
    slow = channels(visits, pumps, usual).brush[rows[1]]
    visits.loc[rows[1], "drop_supply_v"] = reference - 11.5 + USUAL_DROPS_V / 2
    told = channels(visits, pumps, usual).brush[rows]
    assert slow - told[1] > 0.1
    assert told[1] == pytest.approx(told[0], abs=0.03)  # but for their own currents


def test_untold_volts_and_those_no_pump_runs_on_open_nothing():
    sd, *_ = opened(np.nan, 0.05, 13.5)
    assert sd == pytest.approx(0)


def test_the_last_covariates_before_are_what_a_further_visit_is_held_against():
    _, visits, pumps = opened(13.5, 11.6)
    after = visits.groupby("pump").tail(1)
    made = channels(after, pumps, nominal(), last_read=last_covariates(visits, pumps))
    assert made.beside_load.opened == pytest.approx(0)


def test_a_pressure_that_fell_explains_no_more_than_is_known_of_it():
    visits, pumps = fleet()
    visits = visits.assign(
        comparable=True, by_meter=False, filter_in_doubt=False, ln_feed=0.0, delivery_l_min=np.nan,
        fuel_pressure_kpa=400.0,
    )  # fmt: skip
    row = visits.index[visits["pump"] == PUMP][-1]
    before = channels(visits, pumps, nominal())
    visits.loc[row, "fuel_pressure_kpa"] = 330.0
    after = channels(visits, pumps, nominal())
    assert before.beside_load.opened[row] == pytest.approx(0)
    made_up = after.load[row] - before.load[row]  # the current as before, at less pressure
    assert made_up > 0.05
    assert np.sqrt(after.beside_load.opened[row]) > 0.6 * made_up


@pytest.mark.parametrize(("pumps_read", "known"), [(4, False), (5, True)])
def test_what_a_duty_does_is_told_from_five_pumps_read_both_ways(pumps_read, known):
    visits, pumps = fleet()
    visits = visits.assign(comparable=True, ln_feed=0.0, delivery_l_min=np.nan)
    visits.loc[(visits["pump"] < pumps_read) & (visits["day"] > 500), "ln_feed"] = np.log(0.6)
    _, steps = fit_exponents(visits, pumps).seen["T"]
    assert (steps[0] > 0) == known
