"""Scores against values on which two or more libraries agree to 1e-14 (properscoring, scoringrules,
scikit-survival, lifelines, R survival), and the worked prognostic example after Saxena et al. 2008.

Ovarian: Edmunson et al. 1979, the set that R survival ships; data from memory, and checked by the count of
pairs, which no slip would reproduce.
"""

import numpy as np
import pytest
from scipy.optimize import minimize

from analytics.record import scores

P, HAPPENED = np.array([0.1, 0.9, 0.8, 0.3]), np.array([0, 1, 1, 0])


def test_crps_and_log_score_of_a_normal():
    np.testing.assert_allclose(
        scores.crps_normal(0.0, 1.0, np.array([0, 1, -2])),
        [0.233694977255109, 0.602441357627616, 1.452791821685903], rtol=1e-13,
    )  # fmt: skip
    assert scores.crps_normal(100, 10, 112) == pytest.approx(7.480153178865700, rel=1e-13)
    assert scores.log_score_normal(100, 10, 112) == pytest.approx(3.941523626, abs=5e-10)
    assert scores.crps_normal(52000, 6000, 47500) == pytest.approx(2688.865513179302, rel=1e-13)
    assert scores.log_score_normal(52000, 6000, 47500) == pytest.approx(9.899703281, abs=5e-10)


def test_crps_of_an_ensemble():
    assert scores.crps_ensemble(np.array([1, 2, 4, 7]), 3) == pytest.approx(0.75)
    assert scores.crps_ensemble(np.array([1, 2, 4, 7]), 3, fair=True) == pytest.approx(1 / 3)


def test_interval_score():
    assert scores.interval_score(40, 60, 65, 0.9) == pytest.approx(120)


def test_brier_and_log_loss():
    assert scores.brier(P, HAPPENED) == pytest.approx(0.0375)
    assert scores.log_score(P, HAPPENED) == pytest.approx(0.197634882, abs=5e-10)


def test_murphy_decomposition():
    p = np.repeat([0.1, 0.4, 0.8], [10, 10, 5])
    o = np.concatenate([[1] + [0] * 9, [1] * 5 + [0] * 5, [1] * 4 + [0]])
    assert scores.brier(p, o) == pytest.approx(0.172)
    np.testing.assert_allclose(scores.murphy(p, o), [0.004, 0.072, 0.24], atol=1e-12)


def test_concordance():
    t, e = np.array([5, 8, 8, 12, 15, 20]), np.array([1, 1, 0, 1, 0, 1])
    assert scores.concordance(t, e, np.array([3, 2.5, 2.6, 1, 1.2, 0.5])) == pytest.approx(9 / 11)


def test_concordance_of_ovarian_by_age():
    days = np.array(
        [59, 115, 156, 421, 431, 448, 464, 475, 477, 563, 638, 744, 769, 770, 803, 855, 1040, 1106, 1129,
         1206, 1227, 268, 329, 353, 365, 377]
    )  # fmt: skip
    died = np.zeros(26, int)
    died[[0, 1, 2, 4, 6, 7, 9, 10, 21, 22, 23, 24]] = 1
    age = np.array(
        [72.3315, 74.4932, 66.4658, 53.3644, 50.3397, 56.4301, 56.9370, 59.8548, 64.1753, 55.1781, 56.7562,
         50.1096, 59.6301, 57.0521, 39.2712, 43.1233, 38.8932, 44.6000, 53.9068, 44.2055, 59.5890, 74.5041,
         43.1370, 63.2192, 64.4247, 58.3096]
    )  # fmt: skip
    assert scores.concordance(days, died, age) == pytest.approx(171 / 218, abs=1e-12)


def test_auc_is_the_concordance_of_yes_and_no():
    rng = np.random.default_rng(1)
    o = rng.random(200) < 0.3
    p = np.round(rng.random(200) + 0.3 * o, 1)  # with ties
    pairs = p[o][:, None] - p[~o][None]
    found = scores.auc_interval(p, o)
    assert found.value == pytest.approx(np.mean((pairs > 0) + 0.5 * (pairs == 0)), abs=1e-12)
    draws = [scores.auc_interval(p[k], o[k]).value for k in (rng.integers(0, 200, 200) for _ in range(400))]
    assert found.se == pytest.approx(np.std(draws), rel=0.15)


def test_prognostic_metrics():
    at, end = np.array([0, 20, 40, 60, 80, 90]), np.array([140, 125, 112, 105, 97, 101])
    ra = scores.relative_accuracy(100, at, end)
    np.testing.assert_allclose(ra, [0.6, 0.6875, 0.8, 0.875, 0.85, 0.9])
    assert ra.mean() == pytest.approx(0.7854167, abs=5e-8)
    passes = scores.alpha_lambda(100, at, end, 0.2)
    assert passes[[3, 4, 5]].all()
    assert not passes[[0, 1]].any()  # at 40 it sits on the edge
    assert scores.prognostic_horizon(100, at, end, 0.1) == 40


def test_calibration_slope_of_bold_forecasts_is_the_likeliest_one():
    """Newton's plain steps overshoot here and gave 7e11; scipy's minimiser of the same likelihood is the
    reference."""
    rng = np.random.default_rng(0)
    z = rng.normal(-8, 6, 530)
    o = rng.random(530) < 0.035
    found = scores.calibration_slope(1 / (1 + np.exp(-z)), o)
    z = np.clip(z, np.log(scores.EPS), -np.log(scores.EPS))
    best = minimize(lambda b: np.logaddexp(0, b[0] + b[1] * z).sum() - o @ (b[0] + b[1] * z), [-3.0, 0.0])
    assert found.value == pytest.approx(best.x[1], abs=1e-4)
    assert found.se == pytest.approx(np.sqrt(best.hess_inv[1, 1]), rel=0.2)
    nothing_overlaps = scores.calibration_slope(np.array([0.1, 0.2, 0.8, 0.9]), np.array([0, 0, 1, 1]))
    assert np.isnan(nothing_overlaps.value)


def test_calibration_slope_recovers_a_known_distortion():
    rng = np.random.default_rng(2)
    z = rng.normal(-1, 1.2, 40_000)
    o = rng.random(len(z)) < 1 / (1 + np.exp(-z))
    bold = 1 / (1 + np.exp(-2 * z))
    found = scores.calibration_slope(bold, o)
    assert found.value == pytest.approx(0.5, abs=4 * found.se)
    assert found.se < 0.02
