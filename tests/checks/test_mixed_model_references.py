"""Random slopes against published fits.

sleepstudy: Bates et al. 2015, lme4 vignette p. 31-32 (1743.6, 612.1, 35.07, 9.60, 654.9), re-optimised to
1e-10 with R lme4 1.1-31. The data file belongs to the shared checks and is not part of the project.

Not checked: Oxide (lots, wafers within lots), for every line here has a slope, and types are drawn together
with a belief about how far they differ, which no published fit has.
"""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.trend.mixed_model import fit_random_slope, group_sums

SHARED = Path(os.environ.get("PUMPLEDGER_SHARED", Path(__file__).parents[2] / "../shared"))

# Potthoff & Roy 1964 (R nlme's Orthodont): distance in mm at ages 8, 10, 12, 14; from memory of the book, and
# checked by the likelihood below, which no slip of a digit would reproduce.
ORTHODONT = """
26 25 29 31|21.5 22.5 23 26.5|23 22.5 24 27.5|25.5 27.5 26.5 27|20 23.5 22.5 26|24.5 25.5 27 28.5
22 22 24.5 26.5|24 21.5 24.5 25.5|23 20.5 31 26|27.5 28 31 31.5|23 23 23.5 25|21.5 23.5 24 28
17 24.5 26 29.5
22.5 25.5 25.5 26|23 24.5 26 30|22 21.5 23.5 25|21 20 21.5 23|21 21.5 24 25.5|20.5 24 24.5 26
23.5 24.5 25 26.5
21.5 23 22.5 23.5|20 21 21 22.5|21.5 22.5 23 25|23 23 23.5 24|20 21 22 21.5|16.5 19 19 19.5|24.5 25 28 28"""


@pytest.fixture(scope="module")
def sleepstudy():
    path = SHARED / "checks" / "sleepstudy.csv"
    if not path.exists():
        pytest.skip("the shared check data are not here")
    data = pd.read_csv(path)
    code, names = pd.factorize(data["Subject"])
    sums = group_sums(code, data["Days"].to_numpy(float), data["Reaction"].to_numpy(float), len(names))
    return sums, list(names)


def test_sleepstudy_reml(sleepstudy):
    sums, names = sleepstudy
    found = fit_random_slope(sums)
    assert found.deviance == pytest.approx(1743.628272, abs=1e-5)
    np.testing.assert_allclose(found.beta, [251.405105, 10.467286], atol=1e-6)
    np.testing.assert_allclose(found.beta_se, [6.824557, 1.545789], rtol=3e-5)
    np.testing.assert_allclose(np.diag(found.covariance), [612.089998, 35.071665], rtol=1e-4)
    assert found.covariance[0, 1] == pytest.approx(9.604320, rel=2e-3)
    assert found.residual_var == pytest.approx(654.941015, rel=2e-5)
    who = names.index(308)
    np.testing.assert_allclose(found.blup[who], [2.258564, 9.198972], rtol=1e-3)
    np.testing.assert_allclose(found.blup[names.index(309)], [-40.398580, -8.619703], rtol=1e-3)
    np.testing.assert_allclose(found.blup[names.index(335)], [-0.333694, -10.752160], rtol=5e-3)
    np.testing.assert_allclose(np.diag(found.blup_cov[who]), [145.705112, 5.312274], rtol=1e-3)
    assert found.blup_cov[who][0, 1] == pytest.approx(-21.444428, rel=1e-3)


def test_sleepstudy_ml(sleepstudy):
    found = fit_random_slope(sleepstudy[0], reml=False)
    assert found.deviance == pytest.approx(1751.939344, abs=1e-5)
    np.testing.assert_allclose(found.beta_se, [6.632277, 1.502237], rtol=3e-5)
    np.testing.assert_allclose(np.diag(found.covariance), [565.515503, 32.682198], rtol=1e-4)
    assert found.residual_var == pytest.approx(654.941014, rel=2e-5)


def test_orthodont_reml():
    rows = [[float(v) for v in child.split()] for child in ORTHODONT.strip().replace("\n", "|").split("|")]
    assert len(rows) == 27
    y = np.array(rows).ravel()
    found = fit_random_slope(group_sums(np.repeat(np.arange(27), 4), np.tile([8.0, 10, 12, 14], 27), y, 27))
    # R nlme 3.1-162: log-likelihood, fixed effects, standard deviations, correlation, residual
    assert -found.deviance / 2 == pytest.approx(-221.318343, abs=1e-5)
    np.testing.assert_allclose(found.beta, [16.761111, 0.660185], atol=1e-6)
    sd = np.sqrt(np.diag(found.covariance))
    np.testing.assert_allclose(sd, [2.32703, 0.226428], rtol=2e-4)
    assert found.covariance[0, 1] / sd.prod() == pytest.approx(-0.609, abs=5e-4)
    assert np.sqrt(found.residual_var) == pytest.approx(1.310040, rel=1e-5)


def test_readings_on_exact_lines_leave_finite_errors():
    """Without any noise the likelihood has no end; lines and errors must still come out."""
    x = np.tile(np.arange(5.0), 6)
    group = np.repeat(np.arange(6), 5)
    y = 8 + 0.3 * group + (0.4 + 0.1 * group) * x
    found = fit_random_slope(group_sums(group, x, y, 6))
    np.testing.assert_allclose(found.beta, [8.75, 0.65], atol=1e-6)
    assert np.isfinite(found.beta_se).all()
    assert (found.beta_se > 0).all()
    np.testing.assert_allclose(found.blup[:, 1], 0.1 * (np.arange(6) - 2.5), atol=1e-4)
