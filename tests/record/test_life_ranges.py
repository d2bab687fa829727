"""The 80 % ranges of lives: right forecasts hold, wrong hazards don't, and too few ended lives say nothing.

With hazards told c times too high, -ln(1 - u) is c times a standard exponential E (Cox & Snell 1968), so that
P(.1 <= u <= .9) = exp(-.105/c) - exp(-2.303/c): .80, .63 and .35 for c of 1, 2 and 5.
"""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import ecdf

from analytics.record.life_ranges import ENOUGH_ENDED, coverage, held_by


def lives(n, times_too_high, seed, followed=2.5):
    """u of n lives and whether they ended, followed for a random time about `followed` mean lives."""
    rng = np.random.default_rng(seed)
    life, seen = rng.exponential(1.0, n), rng.exponential(followed, n)
    return -np.expm1(-times_too_high * np.minimum(life, seen)), life <= seen


@pytest.mark.parametrize(("times", "holds"), [(1.0, 0.8), (2.0, 0.633), (5.0, 0.348), (0.5, 0.8)])
def test_the_share_held_is_that_of_theory(times, holds):
    found = held_by(*lives(40_000, times, seed=int(10 * times)))
    exact = np.exp(np.log(0.9) / times) - np.exp(np.log(0.1) / times)
    assert times == 0.5 or exact == pytest.approx(holds, abs=1e-3)
    assert found.value == pytest.approx(exact, abs=4 * found.se)


@pytest.mark.parametrize("times", [2.0, 5.0])
def test_hazards_too_high_fail_with_a_few_hundred_lives(times):
    found = [held_by(*lives(260, times, seed)) for seed in range(40)]
    fails = [f.value + 1.96 * f.se < 0.8 for f in found]
    assert np.mean(fails) > 0.9


def test_right_forecasts_pass():
    found = [held_by(*lives(260, 1.0, seed)) for seed in range(100)]
    inside = [abs(f.value - 0.8) < 1.96 * f.se for f in found]
    assert np.mean(inside) > 0.88


def test_the_product_limit_is_that_of_a_reference_library():
    from scipy.stats import CensoredData

    u, ended = lives(300, 1.0, seed=3)
    reference = ecdf(CensoredData(uncensored=u[ended], right=u[~ended])).sf
    expected = reference.evaluate(np.nextafter(0.1, 0)) - reference.evaluate(0.9)
    assert held_by(u, ended).value == pytest.approx(float(expected), abs=1e-12)


def test_too_few_ended_lives_or_none_followed_far_enough_say_nothing():
    u, ended = lives(400, 1.0, seed=1)
    assert np.isfinite(held_by(u, ended).value)
    few = np.flatnonzero(ended)[: ENOUGH_ENDED - 1]
    assert np.isnan(held_by(u, np.isin(np.arange(400), few)).value)
    assert np.isnan(held_by(np.minimum(u, 0.35), ended).value)


@pytest.mark.parametrize(("times", "passes"), [(1.0, True), (2.0, False), (5.0, False)])
def test_lives_followed_less_far_stand_for_all(times, passes):
    rng = np.random.default_rng(7)
    life, seen = rng.exponential(1.0, 20_000), rng.uniform(0.0, 1.2 / times, 20_000)
    found = held_by(-np.expm1(-times * np.minimum(life, seen)), life <= seen)
    assert (abs(found.value - 0.8) < 4 * found.se) == passes


def test_a_life_counts_once_by_its_first_forecast():
    u, ended = lives(200, 1.0, seed=2)
    first = pd.DataFrame(
        {"as_of": 1, "pump_id": range(200), "ran_km": 1.0, "chance_by_end": u, "failed_later": ended,
         "readings": 3}
    )  # fmt: skip
    again = first.assign(as_of=2, chance_by_end=0.5)
    made = coverage(pd.concat([again, first])).set_index("readings").loc["all"]
    assert made["n"] == 200
    assert made["coverage"] == held_by(u, ended).value
