"""A list ranked in parts by other processes is the one ranked here, figure by figure."""

import os
from concurrent.futures import ProcessPoolExecutor
from unittest.mock import Mock

import pandas as pd
import pytest

from analytics.judging import judged
from analytics.past import frames
from analytics.risk.ranking import rank
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
    there = rank(ledger, where=Where(processes=1))
    assert here["risk"].notna().any()
    pd.testing.assert_frame_equal(there, here, rtol=1e-9, atol=1e-9)


def test_parts_come_in_order_and_a_lost_process_is_one_sentence():
    assert list(in_parts(pow, [(2, n) for n in range(5)], None)) == [1, 2, 4, 8, 16]
    with pytest.raises(LedgerError, match="fewer --processes"):
        list(in_parts(os._exit, [(1,)], Where(processes=1)))
    with pytest.raises(EntryRefused, match="0 processes"):
        list(in_parts(pow, [(2, 1)], Where(processes=0)))


def test_a_process_that_cannot_begin_is_one_sentence(monkeypatch):
    monkeypatch.setattr(ProcessPoolExecutor, "submit", Mock(side_effect=OSError("no memory")))
    with pytest.raises(LedgerError, match="could not begin"):
        list(in_parts(pow, [(2, 1)], Where(processes=1)))
    with pytest.raises(LedgerError, match="could not begin"), workers(Where(processes=1), "math"):
        pass
