"""A fleet without failures: damage that stays is a risk, however many pumps run on with it; a first reading
in a strange state is none."""

import numpy as np
import pandas as pd
import pytest

from analytics.learning.fitting import fit_history
from analytics.risk.forecast import score
from analytics.wear_model.model import risk_model
from tests.fleet_frames import history_from_tables

PUMPS, STOPS, KM = 24, 5, 8e3
ROUGH, SLOW, STRANGE = "U03", "U06", "U09"  # ripple jumped; speed and amps fell; read once, at an odd duty
DRAGS, DEAD = [f"U{k}" for k in range(12, 16)], [f"U{k}" for k in range(16, 20)]  # and run on
DRAG, DEAD_BAR = np.log(1.13), 6.0  # of torque for each stop, times the ripple
NEW = np.datetime64("2022-01-01")


def tables(*, damaged: bool = False):
    """PWM pumps at full duty, worn a little, of which three are looked at, or eleven."""
    rng = np.random.default_rng(3)
    units = [f"U{k:02d}" for k in range(PUMPS)]
    rows = []
    for k, unit in enumerate(units):
        start, rate, own = rng.uniform(20e3, 80e3), rng.lognormal(1.0, 0.4), rng.normal(0, 0.03, 2)
        for stop in range(STOPS):
            x = start + KM * stop
            volts, noise = rng.normal(13.6, 0.2), rng.normal(0, 1, 3)
            row = {
                "unit": unit, "visited_on": NEW + np.timedelta64(120 * stop + k, "D"), "odometer": x,
                "reason": "pm", "state": "idle", "duty_pct": 100.0, "supply_v": volts, "meter_a": np.nan,
                "fuel_pressure_kpa": 400.0, "fuel_temp_c": 25.0, "fuel_level_pct": 60.0,
                "mean_a": 6 * np.exp(own[0] + 0.012 * noise[0]) * (volts / 13.5) ** 0.3,
                "rpm": 6500 * np.exp(own[1] + 0.01 * noise[1]) * (volts / 13.5) ** 1.1,
                "ripple_pct": 8 + rate * x / 1e5 + 0.5 * noise[2],
            }  # fmt: skip
            late = stop >= STOPS - 2
            if unit == ROUGH and late:
                row["ripple_pct"] *= 1.7
            if damaged and unit in DEAD and late:
                row["ripple_pct"] *= DEAD_BAR
            if damaged and unit in DRAGS:
                load = DRAG * max(stop - 1, 0)
                row["rpm"] *= np.exp(-0.27 * load)
                row["mean_a"] *= np.exp(0.92 * load)
            if unit == SLOW and late:
                row["rpm"], row["mean_a"] = 0.85 * row["rpm"], 0.92 * row["mean_a"]
            if unit == STRANGE:  # less than the nominal exponents say of it
                row |= {"duty_pct": 40.0, "mean_a": 0.48 * row["mean_a"], "rpm": 0.36 * row["rpm"]}
            if unit != STRANGE or stop == STOPS - 1:
                rows.append(row)
    cars = {"in_service_on": NEW, "records_from": NEW, "pm_interval": KM, "pm_interval_days": 120.0}
    gone = {"removed_on": pd.NaT, "removed_odometer": np.nan, "removal": None, "found": None}
    fitted = {"fitted_on": NEW - np.timedelta64(300, "D"), "fitted_odometer": 0.0, "position": "main"}
    kind = {"pump_type": ["A"], "current_low_a": 4.0, "current_high_a": 9.0, "supply": "pwm"}
    return {
        "vehicles": pd.DataFrame({"unit": units, "class": "van", "depot": "D"} | cars),
        "pump_types": pd.DataFrame(kind),
        "pumps": pd.DataFrame({"unit": units, "pump_type": "A", "serial": None} | fitted | gone),
        "visits": pd.DataFrame(rows),
        "services": pd.DataFrame({"unit": units, "done_on": NEW, "odometer": 0.0, "work": "filter"}),
    }


@pytest.fixture(scope="module")
def told():
    return told_of(tables())


def told_of(made):
    """Risk over the next interval and its parts, by unit."""
    history = history_from_tables(made, 1.0, "2023-08-01")
    state = score(history, fit_history(history))
    pumps = state.history.pumps.iloc[state.rows]
    model = risk_model(state.fit.parameters)
    risk, parts = model.risk(state.known, state.d_0, np.full(len(pumps), KM))
    unread, _ = model.risk(state.new_pumps, pumps["now_km"].to_numpy(float), np.full(len(pumps), KM))
    made = pd.DataFrame({"risk": risk, "unread": unread, "commutator": parts[4], "brush": parts[5]})
    return made.set_index(pumps["unit"].to_numpy())


def rest(told):
    """The pumps that nothing was done to."""
    return told.drop([ROUGH, SLOW, STRANGE])


def test_ripple_that_jumped_and_stayed_is_a_risk_though_nothing_ever_failed(told):
    assert told.loc[ROUGH, "risk"] > 2 * rest(told)["risk"].median()
    assert told.loc[ROUGH, "commutator"] > 5 * rest(told)["commutator"].max()


def test_speed_that_fell_and_stayed_so_on_good_volts_raises_the_risk_by_the_brushes(told):
    assert told.loc[SLOW, "risk"] > 4 * rest(told)["risk"].median()
    assert told.loc[SLOW, "brush"] > 0.8 * told.loc[SLOW, "risk"]


def test_a_first_reading_at_a_duty_that_its_type_was_never_read_at_says_nothing(told):
    assert told.loc[STRANGE, "risk"] < 1.3 * told.loc[STRANGE, "unread"]


def test_pumps_that_run_on_with_damage_do_not_make_it_harmless():
    """Four run on with a torque a third up, four with a dead bar: were that all there is to know, levels of
    failure would lie beyond them, and such pumps be told less than sound ones."""
    told = told_of(tables(damaged=True))
    sound = rest(told).drop([*DRAGS, *DEAD])["risk"].max()
    assert told.loc[DRAGS, "risk"].min() > 5 * sound
    assert told.loc[DEAD, "risk"].min() > 3 * sound
