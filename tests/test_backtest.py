"""Past forecasts against what came, without a look ahead; lots that fail early."""

import numpy as np
import pandas as pd
import pytest

from analytics.backtest import backtest_histories, cutoff_days
from analytics.lots import early_failures, upper_tail
from demo_fleet.fleet import FleetSpec, simulate_fleet
from tests.fleet_frames import history_at


@pytest.fixture(scope="module")
def found():
    fleet = simulate_fleet(FleetSpec(vehicles=150, seed=43, removed_on_condition=0.1))
    everything = history_at(fleet)
    days = cutoff_days(everything, 3)
    return everything, backtest_histories(everything, [history_at(fleet, d.isoformat()) for d in days])


def test_the_model_beats_the_plain_rules(found):
    scores = found[1].scores.set_index("method")
    rules = scores.drop("model")
    assert scores.loc["model", "auc"] > 0.75
    assert scores.loc["model", "auc"] > rules["auc"].max()
    assert scores.loc["model", "skill"] > rules["skill"].max() + 0.05
    assert scores.loc["model", "log_score"] < rules["log_score"].min()


def test_only_pumps_that_could_be_seen_through_are_judged(found):
    everything, made = found
    judged = made.forecasts[made.forecasts["judged"]]
    later = everything.pumps.set_index("pump_id").loc[judged["pump_id"]]
    assert (later["removal"].to_numpy()[~judged["happened"].to_numpy()] != "").any()
    assert not made.forecasts[made.forecasts["taken_off"]]["judged"].any()
    assert judged["happened"].sum() == made.scores["failures"].max() or len(made.cutoffs) > 1


def test_intervals_cover(found):
    cover = found[1].coverage.set_index("readings")
    assert 0.68 < cover.loc["all", "coverage"] < 0.92


def test_strip_downs_are_counted(found):
    acted = found[1].acted
    assert acted["taken_off_on_condition"] == (
        acted["confirmed_on_strip_down"] + acted["tested_good"] + acted["not_examined"]
    )
    assert acted["flagged_and_left"] > 0


def test_records_too_short_say_so():
    short = history_at(simulate_fleet(FleetSpec(vehicles=3, seed=1, years=0.2)))
    assert "too short" in backtest_histories(short, []).text


def lot_history(bad_km: float):
    """Sixty pumps, ten of them lot X that fail at `bad_km`; a tenth of the others fail at 90,000 km."""
    fleet = simulate_fleet(FleetSpec(vehicles=5, seed=1))
    history = history_at(fleet)
    n = 60
    lot = np.array(["X"] * 10 + ["Y"] * 50)
    failed = (lot == "X") | (np.arange(n) % 10 == 9)
    now = np.where(lot == "X", bad_km, np.where(failed, 90e3, 120e3))
    pumps = pd.DataFrame({"pump_type": "A", "lot": lot, "failed": failed, "entry_km": 0.0, "now_km": now})
    from dataclasses import replace

    return replace(history, pumps=pumps)


def test_a_bad_lot_is_flagged_and_a_good_one_is_not():
    table = early_failures(lot_history(20e3)).set_index("name")
    assert table.loc["X (A)", "flagged"]
    assert not table.loc["Y (A)", "flagged"]


def test_chance_seldom_flags_anything():
    """Thirty looks at five equal lots: the family of tests stays below its 5 %."""
    rng = np.random.default_rng(9)
    base = lot_history(20e3)
    from dataclasses import replace

    alarms = 0
    for _ in range(60):
        life = rng.weibull(2.0, 100) * 90e3
        end = rng.uniform(20e3, 120e3, 100)
        pumps = pd.DataFrame(
            {"pump_type": "A", "lot": rng.choice(list("PQRST"), 100), "failed": life < end, "entry_km": 0.0,
             "now_km": np.minimum(life, end)}
        )  # fmt: skip
        alarms += bool(early_failures(replace(base, pumps=pumps))["flagged"].any())
    assert alarms <= 4


def test_upper_tail_is_the_binomial_tail():
    from scipy.stats import binom

    assert upper_tail(3, np.array([10]), np.array([0.2])) == pytest.approx(binom.sf(2, 10, 0.2))
    both = upper_tail(4, np.array([6, 6]), np.array([0.3, 0.3]))
    assert both == pytest.approx(binom.sf(3, 12, 0.3))
