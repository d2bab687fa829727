"""What many pumps' readings do together is taken off them; what one pump does, or all do slowly, is not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analytics.past.common_steps import without_common_steps

PUMPS, VISITS, EVERY = 20, 8, 120
FROM = 700  # the day of the step


def fleet(**step: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Twenty pumps of one depot and twenty of another, read every 120 days; step: ln of a metric in the first
    depot from a day on."""
    rng = np.random.default_rng(5)
    pump = np.repeat(np.arange(2 * PUMPS), VISITS)
    day = np.tile(np.arange(VISITS) * EVERY, 2 * PUMPS) + 3.0 * pump
    own = rng.normal(0, 0.05, (3, 2 * PUMPS))[:, pump] + rng.normal(
        0, [[0.015], [0.01], [0.08]], (3, len(pump))
    )
    visits = pd.DataFrame(
        {
            "pump": pump, "day": day, "state": "idle", "duty_step": -1, "low_speed": 0.0, "usable": True,
            "clamp": np.where(pump < PUMPS, "K1", "K2"), "supply_v": 13.5, "supply_v_at": "pump",
            "fuel_pressure_kpa": np.nan, "fuel_temp_c": 25.0,
        }
    )  # fmt: skip
    for name, usual, ln in zip(("mean_a", "rpm", "ripple_pct"), (5.0, 6000.0, 8.0), own, strict=True):
        shifted = (pump < PUMPS) & (day >= FROM)
        visits[name] = usual * np.exp(ln + shifted * step.get(name, 0.0))
    pumps = pd.DataFrame(
        {
            "depot": np.where(np.arange(2 * PUMPS) < PUMPS, "North", "South"), "pump_type": "T",
            "reference_v": 13.5, "rated_pressure_kpa": 400.0,
        }
    )  # fmt: skip
    return visits, pumps


@pytest.mark.parametrize(
    ("metric", "size"), [("mean_a", -0.128), ("mean_a", 0.113), ("rpm", -0.066), ("ripple_pct", 0.53)]
)
@pytest.mark.parametrize("new_name", [False, True])
def test_a_step_of_all_that_a_clamp_reads_is_taken_off(metric, size, new_name):
    visits, pumps = fleet(**{metric: size})
    shifted = (visits["pump"] < PUMPS) & (visits["day"] >= FROM)
    if new_name:
        visits.loc[shifted, "clamp"] = "K9"
    made, steps = without_common_steps(visits, pumps)
    [step] = steps
    assert (step.metric, step.by, step.name) == (metric, "clamp", "K9" if new_name else "K1")
    assert step.share == pytest.approx(np.expm1(size), abs=0.25 * abs(size))
    assert step.day == visits["day"][shifted].min()
    unshifted = visits[metric] / np.where(shifted, np.exp(size), 1.0)
    assert np.abs(np.log(made[metric] / unshifted)).max() < 0.25 * abs(size)
    others = [name for name in ("mean_a", "rpm", "ripple_pct") if name != metric]
    pd.testing.assert_frame_equal(made[others], visits[others])


def test_without_a_clamps_name_the_depot_shows_it():
    visits, pumps = fleet(mean_a=0.08, rpm=-0.05)
    _, steps = without_common_steps(visits.drop(columns="clamp"), pumps)
    assert {(step.metric, step.by, step.name) for step in steps} == {
        ("mean_a", "depot", "North"), ("rpm", "depot", "North"),
    }  # fmt: skip


def test_volts_that_are_truly_low_explain_themselves():
    visits, pumps = fleet(mean_a=-0.05, rpm=-0.13)
    low = (visits["pump"] < PUMPS) & (visits["day"] >= FROM)
    visits["supply_v"] = visits["supply_v"].mask(low, 12.0)
    assert not [step for step in without_common_steps(visits, pumps)[1] if step.metric == "rpm"]


@pytest.mark.parametrize("drift_a_year", [0.03, -0.04])
def test_what_all_do_slowly_stays(drift_a_year):
    visits, pumps = fleet()
    for name in ("mean_a", "rpm"):
        visits[name] *= np.exp(drift_a_year * visits["day"] / 365)
    made, steps = without_common_steps(visits, pumps)
    assert steps == ()
    assert made is visits


def test_some_pumps_that_wear_are_no_common_step():
    visits, pumps = fleet()
    worn = (visits["pump"] % 3 == 0) & (visits["day"] >= FROM)
    visits["rpm"] *= np.where(worn, 0.8, 1.0)
    assert without_common_steps(visits, pumps)[1] == ()


def test_one_state_is_not_held_against_another():
    visits, pumps = fleet(mean_a=-0.12)
    visits["state"] = np.where((visits["pump"] < PUMPS) & (visits["day"] >= FROM), "prime", "idle")
    assert without_common_steps(visits, pumps)[1] == ()
