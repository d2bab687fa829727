"""Crossing lives, first passages and random slopes against published and recomputed values.

GaAs laser: Meeker & Escobar 1998, table C.17 (operating current, limit 10 %); book list to the hour from
memory, all fifteen agree; the Weibull fit of these lives computed with lifelines 0.30.3 and surpyval 0.25.
Alloy-A: same book, crack growth (R nlme's Fatigue); interpolated passages of 1.6 in. Both files belong to the
shared checks, not to the project. Threshold voltages: Tobias & Trindade, p. 216, via NIST Dataplot's
TOB216B.DAT. Toy and random-slope values: computed with scipy and by simulation.

Not checked, for nothing here fits it: lognormal slopes, and the book's path model of Alloy-A (nonlinear in
its two random effects).
"""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.cost_review.weibull import fit_weibull
from analytics.trend.first_passage import Wiener, fit_lines, fit_wiener, line_crossing, passage
from analytics.trend.mixed_model import fit_random_slope, group_sums
from analytics.wear_model.failure_risk import crossing

SHARED = Path(os.environ.get("PUMPLEDGER_SHARED", Path(__file__).parents[2] / "../shared")) / "checks"


def table(name: str) -> pd.DataFrame:
    if not (SHARED / name).exists():
        pytest.skip("the shared check data are not here")
    return pd.read_csv(SHARED / name)


def test_gaas_laser_lives_by_line_per_unit():
    data = table("gaaslaser.csv")
    unit, _ = pd.factorize(data["unit"])
    lives = line_crossing(
        fit_lines(unit, data["hours"].to_numpy(float), data["increase"].to_numpy(float), 15), 10.0
    )
    expected = [
        3702.0, 4194.4, 5846.8, 6172.1, 5301.0, 3592.4, 6050.8, 6538.5, 5110.1, 3306.5, 5326.3, 4994.6,
        4720.5, 5688.9, 6101.8,
    ]  # fmt: skip
    np.testing.assert_allclose(lives, expected, atol=0.06)
    found = fit_weibull(lives, np.ones(15, bool))
    assert found.shape == pytest.approx(6.40707, abs=5e-5)
    assert found.scale == pytest.approx(5507.595, abs=5e-3)


def first_passage(x: np.ndarray, y: np.ndarray, limit: float) -> float:
    """Where a path passes the limit, on the line between the two points about it."""
    k = int(np.argmax(y >= limit))
    return line_crossing(fit_lines(np.zeros(2, int), x[k - 1 : k + 1], y[k - 1 : k + 1], 1), limit)[0]


def test_gaas_laser_actual_passages():
    """Only units 1, 6 and 10 pass 10 % within the test: sooner by their path or later than by their line."""
    passed = {
        unit: first_passage(path["hours"].to_numpy(float), path["increase"].to_numpy(), 10.0)
        for unit, path in table("gaaslaser.csv").groupby("unit")
        if path["increase"].max() >= 10
    }
    assert [unit % 100 for unit in passed] == [1, 6, 10]
    np.testing.assert_allclose(list(passed.values()), [3780.8, 3522.9, 3374.4], atol=0.06)


def test_gaas_laser_as_wiener_process():
    data = table("gaaslaser.csv").sort_values(["unit", "hours"])
    dy, same = np.diff(data["increase"]), np.diff(data["unit"]) == 0
    process = fit_wiener(dy[same], np.diff(data["hours"].to_numpy(float))[same])
    assert process.drift == pytest.approx(0.00203790667, rel=1e-8)
    assert process.variance == pytest.approx(1.602672942e-4, rel=1e-8)
    assert process.log_likelihood == pytest.approx(45.519548, abs=1e-5)
    life = passage(process, 10.0)
    assert life.mean() == pytest.approx(4906.99607, rel=1e-8)
    assert life.var() == pytest.approx(189361.652, rel=1e-6)
    assert life.cdf(5000) == pytest.approx(0.601102989, rel=1e-7)
    np.testing.assert_allclose(life.ppf([0.1, 0.5]), [4363.4874, 4887.7890], rtol=1e-7)


def test_inverse_gaussian_toy():
    life = passage(Wiener(0.5, 4.0, 0.0), 10.0)
    assert (life.mean(), life.var()) == (pytest.approx(20), pytest.approx(320))
    np.testing.assert_allclose(
        life.cdf([5, 10, 20, 40]), [0.07837135, 0.32244967, 0.65439678, 0.89325437], atol=5e-9
    )
    assert life.pdf(20) == pytest.approx(0.02230155, abs=5e-9)
    np.testing.assert_allclose(life.ppf([0.1, 0.5, 0.9]), [5.47741129, 14.43447788, 41.21295394], rtol=1e-8)


@pytest.mark.parametrize(
    ("t", "chance"), [(3000, 0.000429060), (4000, 0.105649774), (5000, 0.5), (7000, 0.923436274)]
)
def test_random_slope_reaches_its_level(t, chance):
    """The formula behind the wear and drag risk, with a sharp level: P(T <= t) = Phi((mean - D/t)/sd)."""
    one = np.ones(1)
    found = crossing(0 * one, 0.002 * one, 0 * one, 0 * one, 0.0004**2 * one, t * one, 0.0, 10.0, 1e-9)
    assert -np.expm1(-found[0]) == pytest.approx(chance, abs=2e-9)


@pytest.mark.parametrize(("t", "chance"), [(3000, 0.018072571), (6000, 0.876244279)])
def test_random_slope_and_intercept(t, chance):
    one = np.ones(1)
    found = crossing(
        one, 0.002 * one, 0.25 * one, 0.3 * 0.5 * 0.0004 * one, 0.0004**2 * one, t * one, 0.0, 10.0, 1e-9
    )
    assert -np.expm1(-found[0]) == pytest.approx(chance, abs=2e-9)


def test_alloy_a_passages():
    data = table("alloya.csv")
    passages = [
        first_passage(path["megacycles"].to_numpy(), path["inches"].to_numpy(), 1.6)
        for _, path in data.groupby("specimen")
        if path["inches"].max() >= 1.6
    ]
    expected = [
        0.0875, 0.1000, 0.1011, 0.1028, 0.1031, 0.1053, 0.1057, 0.1085, 0.1129, 0.1153, 0.1169, 0.1175,
    ]  # fmt: skip
    np.testing.assert_allclose(sorted(passages), expected, atol=6e-5)


def test_falling_threshold_voltages():
    volts = [
        (0.99, 0.83, 0.68),
        (0.82, 0.72, 0.65),
        (0.96, 0.88, 0.80),
        (0.87, 0.72, 0.60),
        (0.91, 0.85, 0.78),
    ]
    unit, hours = np.repeat(np.arange(5), 3), np.tile([0.0, 500, 1000], 5)
    lives = line_crossing(fit_lines(unit, hours, np.ravel(volts), 5), 0.5)
    np.testing.assert_allclose(lives, [1575.27, 1852.94, 2875.00, 1351.85, 3166.67], atol=0.006)


def test_random_slope_fit_recovers_the_laser_population():
    """Random slopes through all units agree with the mean and spread of the fifteen single lines."""
    data = table("gaaslaser.csv")
    unit, _ = pd.factorize(data["unit"])
    x, y = data["hours"].to_numpy(float), data["increase"].to_numpy(float)
    lines = fit_lines(unit, x, y, 15)
    found = fit_random_slope(group_sums(unit, x, y, 15))
    assert found.beta[1] == pytest.approx(lines.slope.mean(), rel=1e-6)  # balanced: the means are equal
    assert np.sqrt(found.covariance[1, 1]) == pytest.approx(lines.slope.std(ddof=1), rel=0.02)
