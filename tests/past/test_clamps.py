"""A clamp's own bias is taken off the current it reads where pumps are read by several clamps, only there."""

import numpy as np
import pandas as pd
import pytest

from analytics.past.clamps import clamps_at, effects_of, learn_clamps

BIAS = {"A": 0.03, "B": -0.02, "C": -0.01}


def read(pumps=60, each=8, clamps=("A", "B", "C"), seed=1):
    """Visits of pumps read by clamps in turn, with ln amps, and what they would be by a true clamp."""
    rng = np.random.default_rng(seed)
    visits = pd.DataFrame(
        {
            "pump": np.repeat(np.arange(pumps), each),
            "day": np.tile(20_000 + 90 * np.arange(each), pumps),
            "clamp": rng.choice(clamps, pumps * each),
        }
    )
    own = np.repeat(rng.normal(1.6, 0.1, pumps), each) + rng.normal(0, 0.01, len(visits))
    return visits, own + visits["clamp"].map(BIAS).fillna(0.0).to_numpy(), own


def test_bias_between_clamps_is_found_to_a_fifth():
    visits, shown, own = read()
    taken_off = effects_of(learn_clamps(visits, shown), visits)
    left = pd.Series(shown - taken_off - own).groupby(visits["clamp"]).mean()
    assert left.max() - left.min() < 0.2 * (max(BIAS.values()) - min(BIAS.values()))


def test_pumps_that_start_to_drag_leave_the_clamps_as_they_are():
    visits, shown, _ = read()
    drags = (visits["pump"] < 6).to_numpy() & (visits["day"] > 20_300).to_numpy()
    plain, dragged = (learn_clamps(visits, y) for y in (shown, shown + 0.2 * drags))
    assert max(abs(plain[at] - dragged[at]) for at in plain) < 0.008


def test_a_clamp_that_shares_no_pump_with_another_gets_nothing():
    visits, shown, _ = read()
    alone = visits.assign(clamp="Z", pump=visits["pump"] + 1000)
    drifts = shown + 0.001 * (alone["day"] - 20_000)
    effects = learn_clamps(pd.concat([visits, alone], ignore_index=True), np.concatenate([shown, drifts]))
    assert {at[0] for at in effects} == {"A", "B", "C"}
    assert not effects_of(effects, alone).any()


@pytest.mark.parametrize("clamps", [("A",), (None,)])
def test_one_clamp_or_none_named_teaches_nothing(clamps):
    visits, shown, _ = read(clamps=clamps)
    assert learn_clamps(visits, shown) == {}


def test_no_clamp_on_a_visit_no_correction():
    visits, shown, _ = read()
    unnamed = visits.assign(clamp=visits["clamp"].where(visits["pump"] > 0, None))
    assert (clamps_at(unnamed)[0][unnamed["pump"] == 0] == -1).all()
    taken_off = effects_of(learn_clamps(unnamed, shown), unnamed)
    assert not taken_off[(unnamed["pump"] == 0).to_numpy()].any()
    assert taken_off[(unnamed["pump"] > 0).to_numpy()].all()


def test_a_later_reading_is_corrected_as_the_clamps_last_were():
    """Else every pump's load would seem to step where a new half-year begins after the fit."""
    visits, shown, _ = read()
    effects = learn_clamps(visits, shown)
    last = visits.sort_values("day").groupby("clamp").tail(1)
    later = last.assign(day=last["day"] + 2000)
    np.testing.assert_allclose(effects_of(effects, later), effects_of(effects, last))
