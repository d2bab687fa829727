"""Lives that can't be fitted are told in a sentence; types with few failures lean on the rest."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analytics.cost_review.age_replacement import best_age
from analytics.cost_review.type_lives import fit_types
from analytics.cost_review.weibull import Weibull, fit_weibull
from ingest.errors import EntryRefused


@pytest.mark.parametrize(
    ("exit", "failed", "entry", "text"),
    [
        ([100.0, 200.0], [False, False], None, "None of these lives ended in a failure"),
        ([], [], None, "None of these lives"),
        ([100.0, 90.0], [True, False], None, "no likeliest finite Weibull shape"),
        ([100.0, 100.0], [True, True], None, "no likeliest finite Weibull shape"),
        ([100.0, -5.0], [True, True], None, "Life 2 runs from 0 to -5"),
        ([100.0, float("nan")], [True, True], None, "Life 2"),
        ([100.0, 200.0], [True, True], [0.0, 200.0], "Life 2 runs from 200 to 200"),
    ],
)
def test_a_sentence_not_a_nan(exit, failed, entry, text):
    with pytest.raises(EntryRefused, match=text):
        fit_weibull(np.array(exit), np.array(failed, bool), entry)


def test_one_failure_among_survivors_has_an_answer():
    fit = fit_weibull(np.array([100.0, 150.0, 300.0]), np.array([True, False, False]))
    assert np.isfinite([fit.shape, fit.scale, fit.shape_se, fit.scale_se]).all()


@pytest.mark.parametrize(
    ("planned", "failure"), [(-1, 5), (0, 5), (1, float("nan")), (1, -5), (float("inf"), 5)]
)
def test_a_price_that_is_none(planned, failure):
    with pytest.raises(EntryRefused, match="must be a number above 0"):
        best_age(Weibull(2.0, 100.0), planned, failure)


def test_a_ratio_below_one_has_no_best_age():
    best = best_age(Weibull(2.0, 100.0), 650, 500)
    assert np.isinf(best.age)
    assert "costs no more" in best.why_none
    assert best.saving_share == 0


@pytest.mark.parametrize("shape", [1.0001, 1.02, 30.0, 150.0])
@pytest.mark.parametrize("ratio", [1.0001, 1.5, 1e6])
def test_extreme_shapes_and_ratios_stay_finite(shape, ratio):
    best = best_age(Weibull(shape, 1000.0), 1.0, ratio)
    assert np.isfinite(best.cost)
    assert best.cost <= best.cost_to_failure
    assert best.age > 0


def simulated(pump_type, n, scale, shape, observed, seed):
    rng = np.random.default_rng(seed)
    life = scale * rng.weibull(shape, n)
    entry = rng.uniform(0, 0.3, n) * observed
    keep = life > entry
    end = np.minimum(life, observed)
    frame = pd.DataFrame(
        {"pump_type": pump_type, "entry_km": entry, "now_km": end, "failed": life <= observed}
    )
    return frame[keep]


def test_types_with_many_failures_keep_their_own_answer():
    pumps = pd.concat(
        [simulated("A", 3000, 150e3, 3.0, 200e3, 1), simulated("B", 3000, 300e3, 1.5, 250e3, 2)],
        ignore_index=True,
    )
    lives = fit_types(pumps)
    for name, scale, shape in (("A", 150e3, 3.0), ("B", 300e3, 1.5)):
        rows = pumps[pumps["pump_type"] == name]
        plain = fit_weibull(rows["now_km"].to_numpy(), rows["failed"].to_numpy(), rows["entry_km"].to_numpy())
        found = lives.of(name)
        assert found.life.shape == pytest.approx(plain.shape, rel=0.02)
        assert found.life.scale == pytest.approx(plain.scale, rel=0.02)
        assert plain.shape == pytest.approx(shape, abs=4 * plain.shape_se)
        assert plain.scale == pytest.approx(scale, abs=4 * plain.scale_se)
        assert found.prior_share < 0.05


def test_a_type_with_few_failures_leans_on_the_rest_and_says_so():
    pumps = pd.concat(
        [simulated("A", 2000, 150e3, 3.0, 200e3, 1), simulated("C", 6, 150e3, 3.0, 120e3, 5)],
        ignore_index=True,
    )
    lives = fit_types(pumps)
    few = lives.of("C")
    assert few.prior_share > 0.6
    assert "not its own record" in few.text or "No failure" in few.text
    assert few.life.shape == pytest.approx(lives.fleet.life.shape, rel=0.2)
    assert lives.of("never seen") is lives.fleet


def test_no_lives_at_all_give_the_belief():
    lives = fit_types(pd.DataFrame({"pump_type": [], "entry_km": [], "now_km": [], "failed": []}))
    assert lives.fleet.life.scale == pytest.approx(250_000.0)
    assert lives.fleet.prior_share == pytest.approx(1.0)
