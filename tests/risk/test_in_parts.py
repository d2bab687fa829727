"""A list ranked in parts by other processes is the one ranked here, figure by figure."""

import os
from pathlib import Path
from unittest.mock import MagicMock

import pandas as pd
import pytest

from analytics.judging import judged
from analytics.past import frames
from analytics.risk import by_size
from analytics.risk.forecast import GRID_KM, forecast
from analytics.risk.ranking import rank
from analytics.scheduling.inputs import read_inputs
from ingest.chains.parts import in_parts, workers
from ingest.chains.running import Where
from ingest.errors import EntryRefused, LedgerError
from tests.ledger_fixture import build_ledger


def test_in_another_process_and_in_many_parts_each_figure_is_the_same(tmp_path, monkeypatch):
    ledger = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    monkeypatch.setattr(judged, "FEW_VISITS", 0)
    here = rank(ledger)
    for module in (frames, judged):
        monkeypatch.setattr(module, "PUMPS_AT_ONCE", 2)
    with workers(Where(processes=1), "analytics.scheduling.inputs"):
        there = rank(ledger, where=Where(processes=1))
        planned = read_inputs(ledger, None, Where(processes=1))
    assert here["risk"].notna().any()
    pd.testing.assert_frame_equal(there, here, rtol=1e-9, atol=1e-9)
    order = planned.pumps.set_index("pump_id").loc[here["pump_id"]].reset_index()[here.columns]
    pd.testing.assert_frame_equal(order, here, rtol=1e-9, atol=1e-9)
    at_once = forecast(ledger, grid_km=GRID_KM)
    for name in ("pump_id", "survival", "by_age_survival", "new_pump_survival", "km_per_day"):
        assert getattr(planned.forecast, name) == pytest.approx(getattr(at_once, name), abs=1e-9)


@pytest.mark.parametrize(
    ("pumps", "cores", "where"), [(25_000, 2, None), (25_001, 1, None), (25_001, 2, Where())]
)
def test_only_a_large_fleet_is_given_to_more_processes_unasked(pumps, cores, where, monkeypatch):
    connection = MagicMock()
    connection.__enter__().execute().fetchall.return_value = [(pumps,)]
    monkeypatch.setattr(by_size, "open_ledger", lambda ledger: connection)
    monkeypatch.setattr(by_size, "usable_cores", lambda: cores)
    assert by_size.where_by_size(Path("fleet.duckdb")) == where


def test_parts_come_in_order_and_a_lost_process_is_one_sentence():
    assert list(in_parts(pow, [(2, n) for n in range(5)], None)) == [1, 2, 4, 8, 16]
    with pytest.raises(LedgerError, match="fewer --processes"):
        list(in_parts(os._exit, [(1,)], Where(processes=1)))
    with pytest.raises(EntryRefused, match="0 processes"):
        list(in_parts(pow, [(2, 1)], Where(processes=0)))
