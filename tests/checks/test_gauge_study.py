"""Measurement studies against published worked examples."""

import numpy as np
import pandas as pd
import pytest

from ingest.checking.gauge_study import gauge_study, study_from
from ingest.errors import EntryRefused

# NIST/SEMATECH e-Handbook of Statistical Methods, 3.2.3.2, two-way crossed: diameters of parts turned on five
# machines by a day and a night operator, five each. Data and printed table both from memory; the table
# follows from the data to all digits printed, which two slips of memory would not.
DAY = [[.125, .127, .125, .126, .128], [.118, .122, .120, .124, .119], [.123, .125, .125, .124, .126],
       [.126, .128, .126, .127, .129], [.118, .129, .127, .120, .121]]  # fmt: skip
NIGHT = [[.124, .128, .127, .126, .129], [.116, .125, .119, .125, .120], [.122, .121, .124, .126, .125],
         [.126, .129, .125, .130, .124], [.125, .123, .114, .124, .117]]  # fmt: skip
# AIAG, Measurement Systems Analysis: three appraisers, ten parts, three trials, deviations in mm. Data and
# table from memory, likewise; five parts also read in a public package's documentation, with their table.
AIAG = [
    [[.29, .41, .64], [-.56, -.68, -.58], [1.34, 1.17, 1.27], [.47, .50, .64], [-.80, -.92, -.84],
     [.02, -.11, -.21], [.59, .75, .66], [-.31, -.20, -.17], [2.26, 1.99, 2.01], [-1.36, -1.25, -1.31]],
    [[.08, .25, .07], [-.47, -1.22, -.68], [1.19, .94, 1.34], [.01, 1.03, .20], [-.56, -1.20, -1.28],
     [-.20, .22, .06], [.47, .55, .83], [-.63, .08, -.34], [1.80, 2.12, 2.19], [-1.68, -1.62, -1.50]],
    [[.04, -.11, -.15], [-1.38, -1.13, -.96], [.88, 1.09, .67], [.14, .20, .11], [-1.46, -1.07, -1.45],
     [-.29, -.67, -.49], [.02, .01, .21], [-.46, -.56, -.49], [1.77, 1.45, 1.87], [-1.49, -1.77, -2.16]],
]  # fmt: skip


def table(study):
    return [(s.squares, s.freedom) for s in (study.pump, study.technician, study.interaction, study.residual)]


def test_the_nist_handbooks_worked_example():
    study = gauge_study(np.array([DAY, NIGHT]))
    printed = [(0.000303, 4), (0.00000392, 1), (0.0000147, 4), (0.000346, 40)]
    for (squares, freedom), (wanted, degrees) in zip(table(study), printed, strict=True):
        assert squares == pytest.approx(wanted, rel=2e-3)
        assert freedom == degrees
    assert sum(squares for squares, _ in table(study)) == pytest.approx(0.000668, abs=5e-7)
    assert study.pump.mean_square / study.residual.mean_square == pytest.approx(8.8, abs=0.05)
    assert study.technician.mean_square / study.residual.mean_square == pytest.approx(0.45, abs=0.005)
    assert study.interaction.mean_square / study.residual.mean_square == pytest.approx(0.42, abs=0.005)


def test_the_aiag_manuals_worked_example():
    study = gauge_study(np.array(AIAG))
    printed = [(88.3619, 9), (3.1673, 2), (0.3590, 18), (2.7589, 60)]
    for (squares, freedom), (wanted, degrees) in zip(table(study), printed, strict=True):
        assert squares == pytest.approx(wanted, abs=6e-5)
        assert freedom == degrees
    assert study.pooled  # its interaction is not significant (F 0.434)
    sds = (study.repeatability_sd, study.reproducibility_sd, study.gauge_sd, study.pump_sd)
    assert sds == pytest.approx((0.1999, 0.2268, 0.3024, 1.0424), abs=2e-4)
    assert study.gauge_share_pct == pytest.approx(27.86, abs=0.05)


def test_five_parts_of_it_as_a_public_package_documents_them():
    study = gauge_study(np.array(AIAG)[:, :5] + 3)
    assert [round(s, 3) for s, _ in table(study)] == [28.909, 1.63, 0.065, 1.712]


def test_a_study_comes_as_a_table_and_must_be_even():
    rows = pd.DataFrame(
        [
            (t, p, AIAG[i][j][k])
            for k in range(3)
            for i, t in enumerate("ABC")
            for j, p in enumerate("abcdefghij")
        ],
        columns=["technician", "pump", "measured"],
    )
    assert study_from(rows).gauge_sd == pytest.approx(gauge_study(np.array(AIAG)).gauge_sd)
    with pytest.raises(EntryRefused, match="same number of times"):
        study_from(rows.iloc[1:])
    with pytest.raises(EntryRefused, match="pump is missing"):
        study_from(rows.drop(columns="pump"))
    with pytest.raises(EntryRefused, match="Row 2 of the study, measured: 'high' is not a number"):
        study_from(rows.assign(measured="high"))
    written = rows["measured"].map(lambda value: f"{value:.2f} A".replace(".", ","))
    assert study_from(rows.assign(measured=written)) == study_from(rows)
