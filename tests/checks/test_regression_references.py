"""Least-squares lines against NIST's certified Norris data (read from scipy's test files) and a worked
example."""

from pathlib import Path

import numpy as np
import pytest
import scipy

from analytics.first_passage import fit_lines

NORRIS = Path(scipy.__file__).parent / "stats/tests/data/nist_linregress/Norris.dat"


def test_norris():
    if not NORRIS.exists():
        pytest.skip("this scipy ships without its test data")
    rows = [line.split() for line in NORRIS.read_text().splitlines()[60:96]]
    y, x = np.array(rows, float).T
    found = fit_lines(np.zeros(len(x), int), x, y, 1)
    assert len(x) == 36
    assert found.intercept[0] == pytest.approx(-0.262323073774029, rel=1e-11)
    assert found.slope[0] == pytest.approx(1.00211681802045, rel=1e-13)
    assert found.intercept_se[0] == pytest.approx(0.232818234301152, rel=1e-11)
    assert found.slope_se[0] == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert found.residual_sd[0] == pytest.approx(0.884796396144373, rel=1e-11)


def test_toluca():
    """Kutner et al., Applied Linear Statistical Models (data from memory; all the book's figures are
    reproduced)."""
    x = [
        80,
        30,
        50,
        90,
        70,
        60,
        120,
        80,
        100,
        50,
        40,
        70,
        90,
        20,
        110,
        100,
        30,
        50,
        90,
        110,
        30,
        90,
        40,
        80,
        70,
    ]
    y = [
        399,
        121,
        221,
        376,
        361,
        224,
        546,
        352,
        353,
        157,
        160,
        252,
        389,
        113,
        435,
        420,
        212,
        268,
        377,
        421,
        273,
        468,
        244,
        342,
        323,
    ]
    found = fit_lines(np.zeros(25, int), np.array(x, float), np.array(y, float), 1)
    assert found.intercept[0] == pytest.approx(62.365859, abs=5e-7)
    assert found.slope[0] == pytest.approx(3.570202, abs=5e-7)
    assert found.residual_sd[0] ** 2 == pytest.approx(2383.7156, abs=5e-5)
