"""The onset of a damage on the Nile's annual flow, whose level fell at once in 1899 (the dam at Aswan).

Source of the flow: test_local_level_reference.py. That the flow fell at once between 1898 and 1899, and that
no other year's change can compare: Cobb 1978 (Biometrika 65:243), and since then every text on change points
(from memory). 1913 is the driest year of all: an outlier of the level after the fall, Durbin & Koopman 2012,
Time Series Analysis by State Space Methods, section 2.12 (from memory).
Exact values: each year in which the fall may have come makes the flow a multivariate normal; the chance of
each by Bayes' rule with scipy's `multivariate_normal`, which shares no line with the filter.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from analytics.wear_model.drag import DragParameters, advance, prior
from tests.checks.test_local_level_reference import NILE

FIRST_YEAR, FELL, DRIEST = 1871, 1899, 1913
SCALE = 100.0  # of the flow, 10^8 m3
NOISE = 15_099.0 / SCALE**2  # Durbin & Koopman's variance of a year
FALL, FALL_SD, LEVEL_SD, HAZARD = 2.5, 1.0, 1.5, 0.01  # a belief: so much, once in a century
LOW = (1100.0 - NILE) / SCALE  # rises as the flow falls, as a channel does with its damage
KM = 10_000.0  # of a year, in which growth is told


def filtered(low: np.ndarray, wild: float) -> np.ndarray:
    """Chance after each year that the level has fallen, by the filter of the damages."""
    one = np.ones(1)
    p = DragParameters(
        level=0 * one, level_var=LEVEL_SD**2, noise=NOISE, filter_per_km=0.0, scale_km=KM / HAZARD, shape=1.0,
        starts=one, growth=1e-9, growth_cv=1.0, walk=0.0, bad=wild, jump=FALL, jump_sd=FALL_SD,
    )  # fmt: skip
    state, fell = prior(p, np.zeros(1, int)), []
    for year, y in enumerate(low):
        state, _ = advance(p, state, one * KM * year, one * KM * (year + 1), one, one * y, one * NOISE, 1e12)
        fell.append(float(state.started[0]))
    return np.array(fell)


def exact(low: np.ndarray) -> np.ndarray:
    """The same by adding up over every year in which it may have fallen."""
    out = []
    for n in range(1, len(low) + 1):
        weights = []
        for at in range(n + 1):  # n: not yet
            after = (np.arange(n) >= at).astype(float)
            cov = NOISE * np.eye(n) + LEVEL_SD**2 + FALL_SD**2 * np.outer(after, after)
            chance = -HAZARD * min(at, n) + (np.log(-np.expm1(-HAZARD)) if at < n else 0.0)
            weights.append(chance + multivariate_normal(FALL * after, cov).logpdf(low[:n]))
        share = np.exp(np.array(weights) - max(weights))
        out.append(1 - share[-1] / share.sum())
    return np.array(out)


@pytest.fixture(scope="module")
def by_enumeration():
    return exact(LOW[:50])


def test_the_chance_that_the_level_has_fallen(by_enumeration):
    # Merging the years into one normal costs the filter something in between.
    assert filtered(LOW[:50], 1e-12) == pytest.approx(by_enumeration, abs=0.03)


def test_the_fall_of_1899_is_found_within_a_few_years_and_no_other_before():
    fell = filtered(LOW, 0.02)
    years = FIRST_YEAR + np.arange(len(LOW))
    assert (fell[years < FELL] < 0.5).all()
    assert (fell[years >= FELL + 3] > 0.9).all()
    assert (fell[years > 1910] > 0.99).all()


def test_one_dry_year_alone_is_no_fall():
    # The driest year put among those before the dam: it passes as wild, and the next years say so.
    low = LOW[:28].copy()
    low[14] = LOW[DRIEST - FIRST_YEAR]
    fell = filtered(low, 0.02)
    assert fell[13] < 0.1
    assert fell[14:].max() < 0.3
    assert fell[-1] < 0.03
