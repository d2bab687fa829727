"""The trade's own limits, typed in: what is judged on either side of each.

Ground side: up to 0.1 V under load is usual, supply side 0.5 V (several public pages). Clamp: 2 % of the
reading and 0.05 A (common practice, no source). A 24 V unit is held against twice the volts.
"""

import numpy as np
import pandas as pd
import pytest

from analytics.judging.judge import judge
from ingest.accuracy import mean_accuracy_a
from tests.judging.test_verdict import HEALTHY, history, last_rule


@pytest.mark.parametrize(
    ("side", "volts", "rule"),
    [
        ("drop_ground_v", 0.09, "healthy"),
        ("drop_ground_v", 0.12, "circuit-drop"),
        ("drop_supply_v", 0.45, "healthy"),
        ("drop_supply_v", 0.55, "circuit-drop"),
    ],
)
def test_volts_lost_on_either_side(side, volts, rule):
    assert last_rule({side: volts}) == rule


def test_half_width_of_a_mean_by_an_unnamed_clamp():
    # 2 % of 5 A and 0.05 A are 0.15 A; with 0.04 A of standard error, twice that: hypot(0.15, 0.08) = 0.17
    assert mean_accuracy_a(5.0, 0.0) == pytest.approx(0.15)
    assert mean_accuracy_a(5.0, 0.04) == pytest.approx(0.17)


def fed(system_v: float, supply_v: float, **more) -> pd.Series:
    visits = history({"system_v": system_v, "supply_v": supply_v} | more)
    visits.loc[0, ["system_v", "supply_v"]] = system_v, 13.5 * system_v / 12
    return judge(visits).iloc[-1]


def test_a_24_v_unit_is_held_against_twice_the_volts():
    for supply_v in (11.5, 12.5, 14.0):
        at_12, at_24 = fed(12.0, supply_v), fed(24.0, 2 * supply_v)
        assert at_24["supply_low"] == at_12["supply_low"] == (supply_v < 12)
    assert fed(24.0, 27.0)["ln_rpm"] == pytest.approx(fed(12.0, 13.5)["ln_rpm"], abs=1e-12)
    # (26 - .7) / (27 - .7) is a fall of 3.9 %, and speed goes with the power 1 / .811 of it.
    low = fed(24.0, 26.0)
    assert low["ln_rpm"] - np.log(HEALTHY["rpm"]) == pytest.approx(-np.log(25.3 / 26.3) / 0.811, rel=1e-4)
