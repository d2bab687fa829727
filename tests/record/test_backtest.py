"""Past forecasts against what came, without a look ahead; lots that fail early."""

import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.past.lots import early_failures, upper_tail
from analytics.past.normal import as_known
from analytics.record.backtest import backtest_histories, cutoff_days
from analytics.record.scores import auc_interval
from dashboard.words import formats
from dashboard.words.formats import as_csv
from dashboard.words.record import acting_line, forecast_rows
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
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
    cover = found[1].coverage.set_index("readings").loc["all"]
    assert cover["ended"] >= 60
    assert abs(cover["coverage"] - 0.8) < 3 * cover["coverage_se"] < 0.3


def test_strip_downs_are_counted(found):
    acted = found[1].acted
    assert acted["taken_off_on_condition"] == (
        acted["confirmed_on_strip_down"] + acted["tested_good"] + acted["not_examined"]
    )
    assert acted["flagged_and_left"] > 0


def test_strip_downs_of_flagged_pumps_are_among_those_taken_off(found):
    acted, forecasts = found[1].acted, found[1].forecasts
    assert acted["taken_off_in_between"] == forecasts["taken_off"].sum()
    assert 0 < acted["flagged_and_taken_off"] <= acted["taken_off_in_between"]
    assert acted["flagged_and_taken_off_confirmed"] <= acted["flagged_and_taken_off"]
    assert f"{acted['taken_off_in_between']} more" in found[1].text


def test_expected_and_failed_add_up_over_the_days(found):
    by_day = found[1].by_day
    judged = found[1].forecasts[found[1].forecasts["judged"]]
    assert by_day["failed"].sum() == judged["happened"].sum()
    assert by_day["expected"].sum() == pytest.approx(judged["risk"].sum())
    assert ((by_day["low"] <= by_day["expected"]) & (by_day["expected"] <= by_day["high"])).all()
    assert sum(group["n"] for group in found[1].reliability) == len(judged)


def test_each_figure_of_the_page_adds_up_from_the_exported_forecasts(found):
    """What the page says, worked out again from the file that it offers."""
    made = found[1]
    saved = pd.read_csv(io.BytesIO(as_csv(forecast_rows(made.forecasts, "mi"))), encoding="utf-8-sig")
    saved["pump"] = saved["unit"].astype(str) + saved["position"] + saved["fitted_on"]
    assert not saved.duplicated(["as_of", "pump"]).any()
    judged = saved[saved["judged"]]
    days = judged.groupby("as_of")
    assert made.by_day["forecasts"].tolist() == days.size().tolist()
    assert made.by_day["failed"].tolist() == days["happened"].sum().tolist()
    np.testing.assert_allclose(made.by_day["expected"], days["risk"].sum(), rtol=1e-9)
    told, seen = judged["risk"].sum(), judged["happened"].sum()
    assert made.verdict.startswith(f"Told {told:,.1f} failures, seen {seen:,}: ")
    groups = pd.DataFrame(made.reliability)
    assert (groups["n"] * groups["forecast"]).sum() == pytest.approx(told)
    assert (groups["n"] * groups["happened"]).sum() == pytest.approx(seen)

    called = judged[judged["calls"]].sort_values("as_of", kind="stable").drop_duplicates("pump")
    failed = called[called["happened"]]
    given_up = (called["run_mi"] * called["cost_per_mi"]).sum()
    spared = (failed["failure"] - failed["planned"]).sum()
    missed = judged[judged["happened"] & ~judged["pump"].isin(called["pump"])]
    words = acting_line(made)
    assert f"the {len(called):,} pumps that" in words
    assert f"cost about {as_known(called['planned'].sum(), 0):,.0f} USD" in words
    assert len(failed) > 1
    assert f"spared {len(failed):,} failures on the road, worth {as_known(spared, 0):,.0f} more" in words
    assert f"gives up {formats.about(called['run_mi'].sum())} mi of running" in words
    assert f"about {as_known(abs(spared - given_up), made.acting.saved_sd):,.0f} USD" in words
    assert f"{missed['pump'].nunique():,} more failed" in words


def small_fleet(**changes):
    """History and two past days of a small simulated fleet."""
    fleet = simulate_fleet(FleetSpec(**({"vehicles": 12, "seed": 1, "years": 4} | changes)))
    everything = history_at(fleet)
    days = cutoff_days(everything, 2)
    return everything, [history_at(fleet, d.isoformat()) for d in days]


def test_records_too_short_say_so():
    short = history_at(simulate_fleet(FleetSpec(vehicles=3, seed=1, years=0.2)))
    assert "too short" in backtest_histories(short, []).text


def test_one_vehicle_gets_a_sentence_and_no_comparison():
    made = backtest_histories(*small_fleet(vehicles=1))
    assert len(made.forecasts) == 2
    assert not len(made.scores)
    assert made.text.startswith("2 forecasts on 2 past days")


def test_no_failure_yet_says_what_was_expected_and_how_likely_none_was():
    everything, pasts = small_fleet()
    alive = replace(everything, pumps=everything.pumps.assign(failed=False, removed=False))
    made = backtest_histories(alive, pasts)
    judged = made.forecasts[made.forecasts["judged"]]
    expected, none = made.by_day["expected"].sum(), np.prod(1 - judged["risk"].to_numpy(float))
    assert f"none was followed by a failure before the next visit was due, where {expected:.1f}" in made.text
    assert f"the chance of none was {100 * none:.0f} %" in made.text
    assert "taken off" not in made.text
    assert not len(made.scores)


def test_nothing_recorded_says_so():
    everything, _ = small_fleet()
    bare = replace(everything, visits=everything.visits.iloc[:0])
    assert "No visit is recorded" in backtest_histories(bare, []).text
    assert "No pump is recorded" in backtest_histories(replace(bare, pumps=bare.pumps.iloc[:0]), []).text


def test_an_invented_fleet_is_called_so():
    everything, pasts = small_fleet()
    made = backtest_histories(everything, pasts, invented=True)
    assert made.text.startswith("The records of this fleet are invented")


def test_auc_of_repeated_pumps_has_the_error_of_resampled_pumps():
    """Each pump is forecast on four days alike: the plain formula would promise half the error."""
    rng = np.random.default_rng(3)
    pump = np.repeat(np.arange(150), 4)
    worn = np.repeat(rng.normal(size=150), 4)
    happened = np.repeat(rng.random(150) < 0.25, 4)
    p = worn + 0.8 * happened + rng.normal(0, 0.1, 600)
    rows = np.arange(600).reshape(150, 4)
    drawn = [rows[rng.integers(0, 150, 150)].ravel() for _ in range(400)]
    resampled = np.std([auc_interval(p[k], happened[k]).value for k in drawn])
    assert auc_interval(p, happened, pump).se == pytest.approx(resampled, rel=0.12)
    assert auc_interval(p, happened).se < 0.65 * resampled
    alone = auc_interval(p, happened, np.arange(600)).se
    assert alone == pytest.approx(auc_interval(p, happened).se, rel=1e-9)


def lot_history(bad_km: float):
    """Sixty pumps, ten of them lot X that fail at `bad_km`; a tenth of the others fail at 90,000 km."""
    fleet = simulate_fleet(FleetSpec(vehicles=5, seed=1))
    history = history_at(fleet)
    n = 60
    lot = np.array(["X"] * 10 + ["Y"] * 50)
    failed = (lot == "X") | (np.arange(n) % 10 == 9)
    now = np.where(lot == "X", bad_km, np.where(failed, 90e3, 120e3))
    pumps = pd.DataFrame({"pump_type": "A", "lot": lot, "failed": failed, "entry_km": 0.0, "now_km": now})
    return replace(history, pumps=pumps)


def test_a_bad_lot_is_flagged_and_a_good_one_is_not():
    table = early_failures(lot_history(20e3)).set_index("name")
    assert table.loc["X (A)", "flagged"]
    assert not table.loc["Y (A)", "flagged"]


def test_chance_seldom_flags_anything():
    """Thirty looks at five equal lots: the family of tests stays below its 5 %."""
    rng = np.random.default_rng(9)
    base = lot_history(20e3)
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
