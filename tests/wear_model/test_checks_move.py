"""What a check found, recorded work, delivery and pressure move what is taken for the pump's own damage."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.learning.onsets import initial_onsets
from analytics.past.normalise import channels, fit_exponents
from analytics.past.signs import flow, hints, usual_flow
from analytics.wear_model.onsets import filter_one, shown
from analytics.wear_model.tracks import make_tracks

STEP_KM, FELL = 8e3, 0.12
ONSETS = initial_onsets(2)
USUAL = {"delivery_l_min": 2.0, "mean_a": 6.0, "rpm": 6000.0, "ripple_pct": 6.0, "fuel_pressure_kpa": 400.0}
PUMPS = pd.DataFrame({"pump_type": ["T"] * 7, "reference_v": 13.5, "rated_pressure_kpa": 400.0})


def visits_of(last, check=None):
    """Seven pumps of one type, six of them sound; the seventh read with `last` at its last stop, and by a
    check on that day with `check`."""
    rows = [
        {"pump": pump, "x_km": 60e3 + STEP_KM * k, "supply_v": 13.5, "reason": "pm"} | USUAL
        for pump in range(7)
        for k in range(4)
    ]
    rows[-1] |= last
    if check is not None:
        rows.append(rows[-1] | {"reason": "follow-up"} | check)
    blank = ("check_result", "filter_state", "strainer", "hose", "regulator", "connector", "delivery_at")
    made = pd.DataFrame(rows, columns=[*dict.fromkeys([*rows[0], *blank, *last, *(check or {})])])
    return made.assign(
        by_meter=False, filter_in_doubt=False, comparable=True, usable=True, fuel_temp_c=25.0, filter_km=0.0
    )


def started(name, last, check=None):
    """Chance that the damage has started in the seventh pump."""
    visits = visits_of(last, check)
    made = channels(visits, PUMPS, fit_exponents(visits, PUMPS))
    read = shown(made)[name]
    level = np.full(2, np.nanmedian(read.y))
    p = replace(getattr(ONSETS, name), level=level, flow_points=2.5 * (name == "hydraulic"))
    tracks = make_tracks(visits["pump"].to_numpy(), made.told, 7)
    told = filter_one(p, tracks, visits["x_km"].to_numpy(), read, np.zeros(7, int))
    return float(told.state.started[6])


def fallen(by=FELL):
    """Amps down and speed up, as a pump that leaks or is starved shows; nobody measured delivery."""
    return {"mean_a": 6.0 * np.exp(-by), "rpm": 6000.0 * np.exp(0.3 * by), "delivery_l_min": np.nan}


ODD = fallen()


def test_no_other_cause_found_raises_the_pumps_own_and_a_mended_one_lowers_it():
    nothing = started("hydraulic", ODD, ODD | {"check_result": "no_other_cause", "strainer": "good"})
    repeated = started("hydraulic", ODD, ODD)
    named = started("hydraulic", ODD, ODD | {"check_result": "strainer", "strainer": "bad"})
    mended = started("hydraulic", ODD, {**USUAL, "check_result": "strainer", "strainer": "bad"})
    assert nothing > repeated + 0.1
    assert named < repeated / 2
    assert mended < 0.05


def test_parts_found_good_tell_without_a_word_on_the_outcome():
    good = dict.fromkeys(("strainer", "hose", "regulator"), "good")
    reached = started("hydraulic", ODD, ODD | good)
    assert reached > started("hydraulic", ODD, ODD | dict.fromkeys(good, "not_reached"))


def test_a_circuit_at_fault_says_nothing_of_the_load_and_a_strainer_nothing_of_lost_speed():
    visits = visits_of(ODD, ODD | {"check_result": "circuit"})
    assert hints(visits, "load").odds[-1] == 0
    assert hints(visits, "brush").odds[-1] > 1
    visits = visits_of(ODD, ODD | {"check_result": "strainer"})
    assert hints(visits, "brush").odds[-1] == 0


def test_delivery_tells_a_leak_from_a_clamp_that_lies():
    silent = started("hydraulic", ODD)
    full, half = (started("hydraulic", ODD | {"delivery_l_min": d}) for d in (2.0, 1.45))
    assert full < silent < half


def test_pressure_that_fell_is_an_outcome_and_no_covariate():
    silent = ODD | {"fuel_pressure_kpa": np.nan}
    low = ODD | {"fuel_pressure_kpa": 330.0}
    assert started("hydraulic", low) > started("hydraulic", silent)


@pytest.mark.parametrize("name", ["free", "pressure"])
def test_what_is_missing_of_the_delivery_is_held_against_the_same_way_of_measuring(name):
    visits = visits_of({"delivery_l_min": 1.0}).assign(delivery_at=name)
    missing, _ = flow(visits, PUMPS, usual_flow(visits, PUMPS))
    assert missing.y[-1] == pytest.approx(np.log(2))
    other = visits.assign(delivery_at={"free": "pressure", "pressure": "free"}[name])
    assert np.isnan(flow(other, PUMPS, usual_flow(visits, PUMPS))[0].y).all()


def test_a_road_call_is_the_end_of_a_life_and_no_reading_before_it():
    """Else its failure would seem to come after no distance at all, and teach nothing."""
    towed = fallen() | {"reason": "road-call", "comparable": False, "delivery_l_min": 0.8}
    visits = visits_of(ODD, ODD | towed | {"check_result": "no_other_cause"})
    visits["comparable"] = visits["reason"].ne("road-call")
    assert not channels(visits, PUMPS, fit_exponents(visits, PUMPS)).told[-1]
