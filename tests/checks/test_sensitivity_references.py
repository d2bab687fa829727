"""The six sensitivities, and all that leans on them, against the motor's own equations solved numerically.

V' = R I + k w with torque k I = T0 (w / w0)^b (p / p0)^c; a = R I / V' at the working point.
Copper: 0.00393 of its resistance per deg C at 20 deg C (IEC 60028, from memory).
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq

from analytics.judging.facts import corrected
from analytics.past.normalise import channels, covariates, nominal
from analytics.trend.drift import normalised
from ingest.sensitivities import BRUSH_DROP_V, log_volts_ratio, sensitivities
from ingest.trade_numbers import DEFAULTS

A, B, C = 0.27, 0.3, 0.6
VOLTS, AMPS, RPM, KPA, CELSIUS = 13.5, 5.0, 6000.0, 400.0, 25.0
COPPER_AT_20 = 0.00393


def motor(volts=VOLTS, kpa=KPA, celsius=CELSIUS, a=A, b=B, c=C):
    """Current and speed (A, rpm) of the pump."""
    behind = VOLTS - BRUSH_DROP_V
    warm = (1 + COPPER_AT_20 * (celsius - 20)) / (1 + COPPER_AT_20 * (CELSIUS - 20))
    ohms, per_rpm = a * behind / AMPS * warm, (1 - a) * behind / RPM

    def amps(rpm):
        return AMPS * (rpm / RPM) ** b * (kpa / KPA) ** c

    rpm = brentq(lambda w: volts - BRUSH_DROP_V - ohms * amps(w) - per_rpm * w, 100.0, 50_000.0)
    return amps(rpm), rpm


@pytest.mark.parametrize(("a", "b", "c"), [(0.27, 0.3, 0.6), (0.15, 1.2, 0.4), (0.4, 0.1, 0.8)])
def test_six_sensitivities(a, b, c):
    h = 1e-4
    s = sensitivities(a, b, c)
    ohms_per_c = COPPER_AT_20 / (1 + COPPER_AT_20 * (CELSIUS - 20))
    steps = {
        "volts": {"volts": BRUSH_DROP_V + (VOLTS - BRUSH_DROP_V) * np.exp(h)},
        "pressure": {"kpa": KPA * np.exp(h)},
        "resistance": {"celsius": CELSIUS + np.expm1(h) / ohms_per_c},
    }
    for name, change in steps.items():
        slope = np.log(np.array(motor(**change, a=a, b=b, c=c)) / motor(a=a, b=b, c=c)) / h
        told = getattr(s, f"current_{name}"), getattr(s, f"speed_{name}")
        assert slope == pytest.approx(told, abs=1e-3), name


CONDITIONS = [(12.9, 400.0, 25.0), (14.1, 400.0, 25.0), (13.5, 370.0, 25.0), (13.5, 430.0, 25.0),
              (13.5, 400.0, 10.0), (13.5, 400.0, 40.0), (13.9, 385.0, 35.0)]  # fmt: skip


def readings() -> pd.DataFrame:
    """One healthy pump, read under other conditions each time."""
    rows = pd.DataFrame(CONDITIONS, columns=["supply_v", "fuel_pressure_kpa", "fuel_temp_c"])
    found = np.array([motor(*row) for row in CONDITIONS])
    return rows.assign(mean_a=found[:, 0], rpm=found[:, 1], ripple_pct=9.0, pump=0, usable=True)


@pytest.mark.parametrize(("metric", "usual"), [("mean_a", AMPS), ("rpm", RPM)])
def test_the_trend_takes_volts_pressure_and_warmth_out(metric, usual):
    visits = readings()
    pumps = pd.DataFrame({"reference_v": [VOLTS], "rated_pressure_kpa": [KPA], "pump_type": ["P"]})
    level = np.exp(normalised(visits, pumps, nominal(), metric))
    raw = np.abs(np.log(visits[metric] / usual)).max()
    left = np.abs(np.log(level / usual)).max()
    assert left < 0.004 < 0.03 < raw


def test_each_condition_by_itself_is_taken_out():
    visits = readings()
    pumps = pd.DataFrame({"reference_v": [VOLTS], "rated_pressure_kpa": [KPA], "pump_type": ["P"]})
    away = covariates(visits, pumps)
    assert (np.abs(away) > 0).sum(0).tolist() == [3, 3, 3]
    for metric, values in (("mean_a", visits["mean_a"] / AMPS), ("rpm", visits["rpm"] / RPM)):
        left = np.log(values) - away @ nominal().of[metric]
        assert np.abs(left).max() < 0.004


def test_forecasts_hold_readings_at_any_duty_and_state_against_each_other():
    """A switched supply feeds its motor the volts it passes on average; a state without volts told counts at
    its usual ones."""
    conditions = [(13.9, 1.0, "idle"), (13.9, 0.8, "idle"), (13.9, 0.6, "idle"), (12.2, 1.0, "prime")]
    found = np.array([motor(volts * duty) for volts, duty, _ in conditions])
    visits = pd.DataFrame(
        {"mean_a": found[:, 0], "rpm": found[:, 1], "ripple_pct": 9.0, "pump": 0, "comparable": True,
         "supply_v": [volts for volts, *_ in conditions], "fuel_pressure_kpa": KPA, "fuel_temp_c": CELSIUS,
         "state": [state for *_, state in conditions], "low_speed": 0.0, "by_meter": False,
         "ln_feed": np.log([duty for _, duty, _ in conditions]), "filter_in_doubt": False}
    )  # fmt: skip
    pumps = pd.DataFrame({"reference_v": [VOLTS], "rated_pressure_kpa": [KPA], "pump_type": ["P"]})
    made = channels(visits, pumps, nominal())
    assert np.ptp(made.load) < 0.01
    assert np.ptp(made.brush) < 0.03 < 0.3 < np.ptp(np.log(visits["rpm"]))
    untold = visits.assign(supply_v=visits["supply_v"].where(visits["state"] == "idle"))
    ratio = log_volts_ratio(np.array([12.2]), VOLTS)[0]
    usual = replace(nominal(), state_volts={"prime": float(ratio)})
    again = channels(untold, pumps, usual)
    np.testing.assert_allclose(again.brush, made.brush)
    assert again.brush_noise[3] > made.brush_noise[3]
    assert np.isnan(channels(untold, pumps, nominal()).brush[3])
    nobody_said = channels(visits.assign(ln_feed=np.nan), pumps, nominal())
    assert np.isnan(nobody_said.brush).all()
    assert np.isfinite(nobody_said.load).all()


def test_the_judge_takes_volts_and_pressure_out():
    visits = readings()[lambda v: v["fuel_temp_c"] == CELSIUS]
    ln_a, ln_rpm = corrected(visits, VOLTS, KPA, DEFAULTS)
    assert np.abs(ln_a - np.log(AMPS)).max() < 0.003
    assert np.abs(ln_rpm - np.log(RPM)).max() < 0.003
