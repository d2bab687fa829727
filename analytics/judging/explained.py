"""How much of what a reading shows volts, load and a clamp's zero explain by themselves, told by its size.

Motor: ingest/sensitivities.py; speeds that none turns: analytics.past.own_first_readings.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analytics.judging.baseline import NOMINAL, number, pump_volts, system_v, text
from analytics.past.own_first_readings import TIMES_WITHIN, impossible
from ingest.sensitivities import log_volts_ratio
from ingest.settings_in_force import Settings

# [P] with which delivery at pressure falls with the motor's volts: shut-off pressure goes with the square of
# the speed (affinity laws of turbine pumps), flow against pressure a little faster.
FLOW_BY_VOLTS = 3.0
UNSURE_SHARE = 0.3  # [P] of what the volts explain of current and speed, by which that may be off


def _volts_short(visits: pd.DataFrame, settings: Settings, lost_v: Any = 0.0) -> np.ndarray:
    """Return ln of reference volts over the motor's (n,), 0 where it has as many or they were not read at the
    pump; lost_v: taken off what was read."""
    reference_v = float(settings["reference_supply_v"]) * system_v(visits) / 12.0
    return np.maximum(-log_volts_ratio(pump_volts(visits) - lost_v, reference_v), 0.0)


def _lost_to_ground_v(visits: pd.DataFrame) -> np.ndarray:
    """The drop to ground (n,), which volts read against the body do not show."""
    return np.maximum(number(visits, "drop_ground_v", 0.0), 0.0)


def flow_left(visits: pd.DataFrame, settings: Settings, *, at_worst: bool = False) -> np.ndarray:
    """Return the share of its pressure and delivery that a sound pump keeps at the volts read at it (n,), NaN
    where they were not; at_worst: less the drop to ground."""
    lost_v = _lost_to_ground_v(visits) if at_worst else 0.0
    share = np.exp(-FLOW_BY_VOLTS * _volts_short(visits, settings, lost_v))
    return np.where(np.isnan(pump_volts(visits)), np.nan, share)


def change_facts(visits: pd.DataFrame, settings: Settings) -> dict[str, np.ndarray]:
    """Return `volts_leave_more` (n,): the reading is down by more than its volts, read at the pump, explain;
    `speed_doubtful`: no pump on its volts turns so; `speed_halved`: half its own or less on its own
    current.

    visits: in order of pump and time, with current_change_pct and speed_change_pct, corrected for volts,
    at_spec_a, and the facts of the circuit and the connector.
    """
    short = _volts_short(visits, settings)
    unsure = UNSURE_SHARE * short + _volts_short(visits, settings, _lost_to_ground_v(visits)) - short
    by_current, by_speed = (unsure * of for of in (NOMINAL.current_volts, NOMINAL.speed_volts))
    amps, speed = (1 + number(visits, f"{of}_change_pct") / 100 for of in ("current", "speed"))
    far = 1 - settings["baseline_far_pct"] / 100
    low_a = number(visits, "current_low_a")
    more = (amps < far * np.exp(-by_current)) | (speed < far * np.exp(-by_speed))
    more |= number(visits, "at_spec_a") + number(visits, "book_accuracy_a") < low_a * np.exp(-by_current)
    return {
        "volts_leave_more": more & ~np.isnan(pump_volts(visits)),
        "speed_halved": _halved(amps, speed, settings),
        "speed_doubtful": _speed_doubtful(visits, amps, speed, settings),
    }


def _halved(amps: np.ndarray, speed: np.ndarray, settings: Settings) -> np.ndarray:
    same_current = abs(amps - 1) <= settings["baseline_change_pct"] / 100
    return (speed * 2 - 1 <= TIMES_WITHIN) & same_current


def _speed_doubtful(
    visits: pd.DataFrame, amps: np.ndarray, speed: np.ndarray, settings: Settings
) -> np.ndarray:
    """Whether a speed, as times its own, is beyond what a motor of so many times its current can turn, about
    twice its own on the same current, hardly any on it, or half or less where the circuit is proven.

    A pump whose regulator holds the pressure has the same torque, so the same current, at any speed: on half
    the volts it turns half as fast, which is what a lost supply looks like until volts at the pump and the
    connector are found good.
    """
    some = settings["baseline_change_pct"] / 100
    half = _halved(amps, speed, settings)
    volts_known = ~np.isnan(pump_volts(visits))
    return impossible(amps, speed, volts_known, some) | (half & _circuit_proven(visits, half))


def _circuit_proven(visits: pd.DataFrame, shown: np.ndarray) -> np.ndarray:
    """Whether, since the visits in a row that show something (n,) began, good volts were read at the pump
    (said to be there, or with both drops) and its connector was found good."""
    pump = visits["pump_id"]
    began = pd.Series(~shown, index=visits.index).groupby(pump).cumsum()
    volts = visits["supply_good"].to_numpy(bool) & (
        (text(visits, "supply_v_at") == "pump").to_numpy() | visits["drops_passed"].to_numpy(bool)
    )
    found = [
        pd.Series(fact & shown, index=visits.index).groupby([pump, began]).cummax().to_numpy(bool)
        for fact in (volts, visits["connector_good"].to_numpy(bool))
    ]
    return np.logical_and.reduce(found)


def may_be_none(mean_a: np.ndarray, accuracy_a: np.ndarray) -> np.ndarray:
    """Whether a clamp with nothing in it may read as much as this (n,)."""
    return mean_a <= accuracy_a
