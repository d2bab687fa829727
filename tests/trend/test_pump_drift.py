"""One pump's lines from its own unit's rows are those of the whole fleet's scoring."""

import numpy as np
import pytest

from analytics.learning.fitting import fit_history, store_fit
from analytics.past.history import load_history
from analytics.risk.pump_drift import pump_drift
from analytics.trend.drift import drift_of
from ingest.metrics import trended
from tests.ledger_fixture import LAST_VISIT, build_ledger


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("drift") / "fleet.duckdb")


def test_without_a_fit_there_are_readings_at_reference_and_no_lines(ledger):
    found = pump_drift(ledger, 1, LAST_VISIT)
    assert found.drift == dict.fromkeys(m.name for m in trended())
    assert found.visits["rpm"].notna().all()


def test_one_pump_is_scored_as_in_the_fleet(ledger):
    history = load_history(ledger)
    made = store_fit(ledger, fit_history(history))
    found = pump_drift(ledger, 1, LAST_VISIT)
    code = made.parameters.type_codes(history.pumps["pump_type"])
    row = int(np.flatnonzero(history.pumps["pump_id"] == 1)[0])
    assert any(drift is not None for drift in found.drift.values())
    for metric, drift in found.drift.items():
        if drift is None:
            continue
        whole = drift_of(history, code, made.parameters.exponents, metric, made.drift[metric])
        for name in ("level", "level_se", "slope", "slope_se", "own_share"):
            assert getattr(drift, name)[0] == pytest.approx(getattr(whole, name)[row], rel=1e-3), name
        ahead = found.ahead(metric, np.array([0.0, 20_000.0]))
        assert ahead["value"].iloc[0] == pytest.approx(drift.level[0])
        assert (ahead["high"] - ahead["low"]).is_monotonic_increasing


def test_a_pump_that_is_not_there_has_none(ledger):
    assert pump_drift(ledger, 999, LAST_VISIT) is None
