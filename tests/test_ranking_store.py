"""The ranking kept in memory: renewed with the ledger, and shown at once where that takes time."""

import threading

import pandas as pd
import pytest

import analytics.ranking
from dashboard import ranking_store
from dashboard.ranking_store import RankingStore


@pytest.fixture
def calls(monkeypatch):
    made = []
    go = threading.Event()
    go.set()

    def rank(ledger):
        go.wait(10)
        made.append(ledger)
        return pd.DataFrame({"pump_id": [1, 2], "risk": [0.1, 0.2 + len(made)]})

    monkeypatch.setattr(analytics.ranking, "rank", rank)
    return made, go


def test_a_small_fleet_is_ranked_once_for_each_state(calls, tmp_path):
    made, _ = calls
    store = RankingStore(tmp_path)
    assert store.get((1,)).pumps["pump_id"].tolist() == [2, 1]
    store.get((1,))
    assert len(made) == 1
    assert store.get((2,)).stamp == (2,)
    assert len(made) == 2


def test_a_large_fleet_shows_the_last_ranking_while_the_next_is_made(calls, tmp_path, monkeypatch):
    monkeypatch.setattr(ranking_store, "LARGE", 2)
    made, go = calls
    store = RankingStore(tmp_path)
    store.get((1,))
    go.clear()
    assert store.get((2,)).stamp == (1,)
    assert store.get((2,)).stamp == (1,)  # no second worker
    go.set()
    store._worker.join(10)
    assert store.get((2,)).stamp == (2,)
    assert len(made) == 2
