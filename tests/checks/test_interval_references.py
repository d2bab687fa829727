"""Intervals and exact tests against values printed elsewhere.

Newcombe 1998 (Statistics in Medicine 17, 857-872), table I, score method without continuity correction:
81/263 .2553-.3662, 15/148 .0624-.1605, 0/20 0-.1611, 1/29 .0061-.1718 (from memory).
Two Poisson rates: 11 events in 800 against 21 in 3,011, exact two-sided p .07967 (the example of R's
`poisson.test`, after Kerrich; from memory).
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from analytics.past.lots import TIMES, early_failures, likelihood_ratio, upper_tail
from analytics.record.hindsight import method_scores
from analytics.record.scores import auc_interval, reliability_bins
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at


@pytest.mark.parametrize(
    ("hits", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals_of_newcombe(hits, of, low, high):
    happened = np.arange(of) < hits
    [group] = reliability_bins(np.full(of, 0.5), happened, bins=1)
    assert (group["low"], group["high"]) == pytest.approx((low, high), abs=5e-5)


def test_two_poisson_rates():
    """Two-sided: outcomes no likelier than 11 of 32 are 11 or more, and 2 or fewer."""
    events, share = np.array([32]), np.array([800 / 3811])
    at_least = [upper_tail(k, events, share) for k in range(34)]
    chance = -np.diff(at_least)
    assert chance[2] <= chance[11] < chance[3]
    assert at_least[11] + 1 - at_least[3] == pytest.approx(0.07967, abs=5e-6)


def failed_early(k: int) -> pd.DataFrame:
    """Forty pumps of each of two lots; k of lot X failed at 20,000 km, none else."""
    fleet = history_at(simulate_fleet(FleetSpec(vehicles=5, seed=1)))
    pumps = pd.DataFrame({"pump_type": "A", "lot": ["X"] * 40 + ["Y"] * 40, "entry_km": 0.0, "now_km": 100e3})
    pumps["failed"] = np.arange(80) < k
    pumps.loc[pumps["failed"], "now_km"] = 20e3
    return early_failures(replace(fleet, pumps=pumps)).set_index("name")


def test_the_likelihood_ratio_is_that_of_a_binomial_share():
    """All failures in one band: s^k / (1 - e + s e)^n, the ratio of two binomial chances (scipy)."""
    n, k, e = 32, 20, 0.3
    ratios = [binom.pmf(k, n, s * e / (1 - e + s * e)) / binom.pmf(k, n, e) for s in TIMES]
    told = likelihood_ratio(np.array([k]), np.array([[n]]), np.array([[e]]))
    assert told[0] == pytest.approx(max(ratios), rel=1e-9)
    assert likelihood_ratio(np.array([2]), np.array([[n]]), np.array([[e]]))[0] == 1.0


def test_however_often_one_looks_equal_groups_seldom_pass():
    """Ville 1939: under equality a likelihood ratio ever passes 1/alpha with a chance of alpha at most."""
    rng = np.random.default_rng(7)
    hits = np.cumsum(rng.random((4000, 120)) < 0.25, axis=1)
    n = np.broadcast_to(np.arange(1, 121), hits.shape)
    for s in TIMES:
        ratio = hits * np.log(s) - n * np.log1p(0.25 * (s - 1))
        assert (ratio.max(1) >= np.log(20)).mean() < 0.05
    shares = np.full((n.size, 1), 0.25)
    best = likelihood_ratio(hits.ravel(), n.reshape(-1, 1), shares).reshape(n.shape)
    assert 0.02 < (best.max(1) >= 20).mean() < 0.11  # the likeliest of seven passes a little more often


def test_more_groups_ask_for_more():
    table = failed_early(6)
    assert table["threshold"].tolist() == pytest.approx([100.0 * len(table)] * len(table))
    found = [failed_early(k).loc["X (A)", "finding"] for k in range(1, 13)]
    assert found == sorted(found, key=["chance can do that", "suspect", "fails early"].index)
    assert set(found) == {"chance can do that", "suspect", "fails early"}


def test_a_forecast_said_four_times_is_no_surer_than_said_once():
    rng = np.random.default_rng(3)
    p, happened = rng.random(80), rng.random(80) < 0.3
    once = auc_interval(p, happened)
    again = auc_interval(np.tile(p, 4), np.tile(happened, 4), np.tile(np.arange(80), 4))
    assert again == pytest.approx(once, rel=1e-9)


def test_the_record_counts_a_pump_forecast_on_several_days_once():
    rng = np.random.default_rng(4)
    risk, happened = rng.random(60), rng.random(60) < 0.3
    day = pd.DataFrame({"pump_id": np.arange(60), "risk": risk, "happened": happened})
    day = day.assign(limits=risk, least_squares=risk, steady_drift=risk, age=risk)
    judged = pd.concat([day.assign(as_of=k) for k in range(4)], ignore_index=True)
    scores = method_scores(judged).set_index("method")
    # The first day only teaches the plain rules; on the other three each pump's forecast is the same.
    assert scores.loc["model", "auc_se"] == pytest.approx(auc_interval(risk, happened).se, rel=1e-9)


def test_what_a_pump_that_fails_and_did_not_shares_narrows_the_error():
    """Each pump is forecast twice, once it fails: both share its level, so their order is known better.

    Against 600 fleets drawn anew: the standard error of Obuchowski 1997 with its cross term.
    """
    rng = np.random.default_rng(8)
    n = 150
    happened, pump = np.repeat([True, False], n), np.tile(np.arange(n), 2)

    def drawn():
        level = rng.normal(0, 1, n)
        return auc_interval(np.concatenate([level + 0.5, level + rng.normal(0, 0.2, n)]), happened, pump)

    fleets = [drawn() for _ in range(600)]
    assert np.mean([f.se for f in fleets]) == pytest.approx(np.std([f.value for f in fleets]), rel=0.1)
