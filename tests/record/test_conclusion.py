"""The verdict on past forecasts, and what acting on their lists would have brought."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analytics.past.normal import as_known
from analytics.record.conclusion import acting, acting_words, days_outside, pairs_words, verdict
from analytics.record.plain_rules import RULES
from analytics.record.scores import auc_difference, auc_interval, calibration_slope


def forecasts(n=400, seed=1, bold=1.0, rule_sees=0.0):
    rng = np.random.default_rng(seed)
    p = np.clip(rng.beta(0.4, 3.0, n), 0.002, 0.98)
    told = np.clip(bold * p, 0, 1)
    out = pd.DataFrame(
        {"as_of": "2025-01-01", "pump_id": np.arange(n), "risk": told, "happened": rng.random(n) < p}
    )
    return out.assign(**{name: rule_sees * p + (1 - rule_sees) * rng.random(n) for name in RULES})


SOME = pd.DataFrame({"method": ["model"]})


def test_told_and_seen_in_line():
    rows = forecasts()
    text = verdict(rows, SOME)
    told, seen = rows["risk"].sum(), rows["happened"].sum()
    assert text.startswith(f"Told {told:,.1f} failures, seen {seen}: in line; it ranks ")
    assert "no plain rule does as well" in text


def test_forecasts_half_as_high_as_they_should_be_are_called_so():
    assert "more failed than the forecasts allow" in verdict(forecasts(bold=0.5), SOME)
    assert "fewer failed than the forecasts allow" in verdict(forecasts(bold=1.9), SOME)


def test_a_rule_that_ranks_as_well_is_named():
    rows = forecasts().assign(limits=lambda f: f["risk"])
    assert "'last reading against limits' does as well" in verdict(rows, SOME)


def test_a_lead_that_few_failures_cant_prove_is_told_as_such():
    rows = forecasts(n=60, rule_sees=0.6)
    text = verdict(rows, SOME)
    assert "does as well" not in text
    assert f"{rows['happened'].sum()} failures can't prove it" in text


def test_ranking_no_better_than_chance_is_said():
    rows = forecasts().assign(risk=0.1)
    assert "can't be told from chance" in verdict(rows, SOME)
    assert verdict(rows.head(0), SOME) == ""
    assert [pairs_words(x) for x in (0.91, 0.949, 0.98, 0.5)] == [
        "9 of 10",
        "95 of 100",
        "98 of 100",
        "5 of 10",
    ]


def test_days_outside_their_range_are_named():
    days = pd.DataFrame(
        {"as_of": ["2025-01-01", "2025-06-01", "2025-09-01"], "expected": [4.0, 4.0, 4.0],
         "low": [1.0, 1.0, 1.0], "high": [7.0, 7.0, 7.0], "failed": [5, 9, 0]}
    )  # fmt: skip
    said = days_outside(days)
    assert len(said) == 2
    assert "2025-06-01 9 failed, more" in said[0]
    assert "2025-09-01 0 failed, fewer" in said[1]


def test_what_acting_brings_is_counted_once_a_pump():
    rows = pd.DataFrame(
        {"as_of": ["a", "a", "b", "b"], "pump_id": [1, 2, 1, 3], "calls": [True, True, True, False],
         "happened": [True, False, True, True], "run_km": [4000.0, 8000.0, 100.0, 500.0], "planned": 650.0,
         "failure": 2400.0, "cost_per_km": 0.01}
    )  # fmt: skip
    a = acting(rows, "USD")
    assert (a.called, a.spared, a.missed) == (2, 1, 1)
    assert (a.cost, a.spared_money, a.given_up) == (1300.0, 1750.0, pytest.approx(120.0))
    assert a.saved == pytest.approx(1630.0)
    words = acting_words(a, "7,460 mi")
    assert "the 2 pumps" in words
    assert "spared 1 failure on the road" in words
    # One of two failed: 1,710 and -80, hence a sd of 1,790 by chance; told to hundreds.
    assert a.saved_sd == pytest.approx(np.sqrt(2) * np.std([1750 - 40, -80], ddof=1))
    assert "about 1,600 USD saved (8 in 10, by the chance of which of them fail: " in words
    assert "700 lost to 3,900 saved)" in words
    lost = acting_words(acting(rows.assign(happened=False), "USD"), "7,460 mi")
    assert "about 120 USD lost" in lost
    assert "called for no change; 2 pumps" in acting_words(acting(rows.assign(calls=False), "USD"), "0 mi")


def test_a_figure_is_rounded_where_its_uncertainty_begins():
    """GUM (JCGM 100:2008) 7.2.6: no digits that the uncertainty leaves open, its own to two at most."""
    known = [as_known(74_312.0, sd) for sd in (23_000.0, 9_400.0, 1_200.0, 3.0, 0.0)]
    assert known == [70_000.0, 74_000.0, 74_300.0, 74_300.0, 74_300.0]
    assert as_known(0.0, 50.0) == 0.0


def test_a_difference_of_areas_is_that_of_the_two_areas_and_knows_they_are_paired():
    rows = forecasts(rule_sees=0.5)
    p, rule, o = rows["risk"].to_numpy(), rows["limits"].to_numpy(), rows["happened"].to_numpy()
    more = auc_difference(p, rule, o)
    assert more.value == pytest.approx(auc_interval(p, o).value - auc_interval(rule, o).value)
    assert auc_difference(p, p, o) == (0.0, 0.0)
    apart = np.hypot(auc_interval(p, o).se, auc_interval(rule, o).se)
    assert 0 < more.se < apart


def test_clusters_of_equals_widen_the_slope_s_error():
    """Every forecast written down four times holds no more than once: the sandwich over pumps sees that."""
    rows = forecasts(n=1500)
    p, o, pump = (rows[name].to_numpy() for name in ("risk", "happened", "pump_id"))
    once = calibration_slope(p, o)
    four = [np.tile(x, 4) for x in (p, o, pump)]
    naive, aware = calibration_slope(*four[:2]), calibration_slope(*four)
    assert naive.value == pytest.approx(once.value)
    assert naive.se == pytest.approx(once.se / 2, rel=1e-6)
    assert aware.se == pytest.approx(once.se, rel=0.15)
    assert calibration_slope(p, o, pump).se == pytest.approx(once.se, rel=0.15)
