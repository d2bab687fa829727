"""Lines, planes and robust planes against NIST's certified values, a worked example and a robust fit.

- NIST StRD, Norris: data and certified values as shipped in scipy's test files.
- NIST StRD, Longley and Pontius: certified values as shipped in statsmodels 0.15.0 (Pontius' standard
  deviation computed with 60 digits); data from memory: no slip of a digit would reproduce the values.
- NIST StRD, NoInt1: data and certified values from memory, the values computed anew.
- Phones (Rousseeuw & Leroy 1987, R MASS's `phones`; the file belongs to the shared checks): Huber's fit of
  statsmodels 0.15.0 (HuberT(1.345), scale by the median absolute value); R MASS's rlm agrees to 5e-6.

Sen's slope (1968) is not among them: nothing here takes the median of slopes between all pairs.
"""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy

from analytics.past.least_squares import fit_plane, fit_plane_robustly
from analytics.trend.first_passage import fit_lines

SHARED = Path(os.environ.get("PUMPLEDGER_SHARED", Path(__file__).parents[2] / "../shared"))
NORRIS = Path(scipy.__file__).parent / "stats/tests/data/nist_linregress/Norris.dat"

# Employed (thousands) on: price deflator, product, unemployed, forces, population, year.
LONGLEY = """
60323 83.0 234289 2356 1590 107608 1947
61122 88.5 259426 2325 1456 108632 1948
60171 88.2 258054 3682 1616 109773 1949
61187 89.5 284599 3351 1650 110929 1950
63221 96.2 328975 2099 3099 112075 1951
63639 98.1 346999 1932 3594 113270 1952
64989 99.0 365385 1870 3547 115094 1953
63761 100.0 363112 3578 3350 116219 1954
66019 101.2 397469 2904 3048 117388 1955
67857 104.6 419180 2822 2857 118734 1956
68169 108.4 442769 2936 2798 120445 1957
66513 110.8 444546 4681 2637 121950 1958
68655 112.6 482704 3813 2552 123366 1959
69564 114.2 502601 3931 2514 125368 1960
69331 115.7 518173 4806 2572 127852 1961
70551 116.9 554894 4007 2827 130081 1962"""
# Deflection of a load cell at 150,000, 300,000 ... 3,000,000, two runs.
PONTIUS = """
.11019 .21956 .32949 .43899 .54803 .65694 .76562 .87487 .98292 1.09146
1.20001 1.30822 1.41599 1.52399 1.63194 1.73947 1.84646 1.95392 2.06128 2.16844
.11052 .22018 .32939 .43886 .54798 .65739 .76596 .87474 .98300 1.09150
1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829"""


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
    r_squared = 1 - 34 * found.residual_sd[0] ** 2 / np.sum((y - y.mean()) ** 2)
    assert r_squared == pytest.approx(0.999993745883712, rel=1e-14)


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


def test_longley():
    """Six covariates that all but determine each other: X'X alone would keep two digits."""
    rows = np.array([line.split() for line in LONGLEY.strip().splitlines()], float)
    found = fit_plane(np.column_stack([np.ones(16), rows[:, 1:]]), rows[:, 0])
    certified = [
        -3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683,
        -1.03322686717359, -0.0511041056535807, 1829.15146461355,
    ]  # fmt: skip
    np.testing.assert_allclose(found, certified, rtol=1e-10)


def test_pontius():
    y = np.array(PONTIUS.split(), float)
    load = np.tile(np.arange(1.0, 21) * 150_000, 2)
    x = np.column_stack([np.ones(40), load, load**2])
    found = fit_plane(x, y)
    np.testing.assert_allclose(
        found, [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14], rtol=1e-11
    )
    rest = y - x @ found
    assert np.sqrt(rest @ rest / 37) == pytest.approx(2.05177424076185e-04, rel=1e-11)


def test_noint1():
    """Through the origin, as the effects of volts, pressure and warmth are fitted."""
    x, y = np.arange(60.0, 71), np.arange(130.0, 141)
    slope = fit_plane(x[:, None], y)[0]
    assert slope == pytest.approx(2.07438016528926, rel=1e-14)
    sd = np.sqrt(np.sum((y - slope * x) ** 2) / 10)
    assert sd == pytest.approx(3.56753034006338, rel=1e-13)
    assert sd / np.sqrt(x @ x) == pytest.approx(0.0165289256198347, rel=1e-13)


def test_phones_robustly():
    """Six years were counted in minutes instead of calls; least squares follows them, Huber's fit hardly."""
    path = SHARED / "checks" / "phones.csv"
    if not path.exists():
        pytest.skip("the shared check data are not here")
    data = pd.read_csv(path)
    x, y = np.column_stack([np.ones(len(data)), data["year"]]), data["calls"].to_numpy(float)
    np.testing.assert_allclose(fit_plane(x, y), [-260.0592, 5.04148], rtol=1e-6)
    found, sd = fit_plane_robustly(x, y, far=1.345, rounds=1000, settled=0.0)
    np.testing.assert_allclose(found, [-102.53015, 2.03961], rtol=1e-5)
    assert sd == pytest.approx(9.01, abs=0.005)


def test_a_belief_pulls_as_its_weight_says():
    """By hand: one covariate, X'X = 4, noise variance 1/4, prior variance 1/16 make 16 against 16."""
    found = fit_plane(np.ones((4, 1)), np.full(4, 3.0), sd=0.5, prior_sd=0.25)
    assert found[0] == pytest.approx(1.5)
