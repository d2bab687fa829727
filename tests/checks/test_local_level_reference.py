"""The Kalman filter of wear on the annual flow of the Nile, the usual example of a local level.

Flow at Aswan 1871 to 1970, 10^8 m3: Cobb 1978 (Biometrika 65:243), R's `Nile`, statsmodels' `nile`. Variances
15099 and 1469.1: Durbin & Koopman 2012, Time Series Analysis by State Space Methods, section 2.2. Expected
values computed with statsmodels 0.15.0 (UnobservedComponents, 'llevel', level unknown with variance 1e7); the
gaps are those of the same book's section 2.7.
"""

import numpy as np
import pytest

from analytics.wear_model.level_rate import LevelRate, update

NILE = np.array([
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799,
    958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916,
    692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698,
    845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801,
    1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170,
    912, 746, 919, 718, 714, 740,
], float)  # fmt: skip
READING_VAR, LEVEL_VAR = 15_099.0, 1_469.1
NEVER_WILD = 1e-300


def filtered(flow):
    """Levels after each year, their variances and the log-likelihood of all years but the first.

    The walk is the damage's, without a rate.
    """
    nil = np.zeros(1)
    state = LevelRate(nil, nil, nil, nil, nil, nil, nil + 1e7, nil, nil)
    levels, variances, total = [], [], 0.0
    for year, y in enumerate(flow):
        if year:
            state = state._replace(ww=state.ww + LEVEL_VAR)
        state, log_likelihood, _ = update(state, np.array([y]), READING_VAR, NEVER_WILD)
        levels.append(state.w[0])
        variances.append(state.ww[0])
        total += log_likelihood[0] if year else 0.0
    return np.array(levels), np.array(variances), total


def test_the_level_of_the_nile():
    levels, variances, log_likelihood = filtered(NILE)
    assert levels[:3] == pytest.approx([1118.31146152, 1140.10843916, 1072.31601849], rel=1e-9)
    assert levels[-1] == pytest.approx(798.3702926083578, rel=1e-9)
    assert variances[-1] == pytest.approx(4032.157941808782, rel=1e-9)
    assert log_likelihood == pytest.approx(-632.5442122782629, rel=1e-9)


def test_the_level_of_the_nile_where_years_are_missing():
    flow = NILE.copy()
    flow[20:40] = flow[60:80] = np.nan
    levels, variances, log_likelihood = filtered(flow)
    years = [39, 79, 99]
    assert levels[years] == pytest.approx([1026.1394344, 834.26141677, 798.31511462], rel=1e-9)
    assert variances[years] == pytest.approx([33414.19612369, 33414.18679745, 4032.18679745], rel=1e-9)
    assert log_likelihood == pytest.approx(-380.58561134444585, rel=1e-9)
