"""What all page tests share."""

import pytest

from analytics.cost_review import intervals
from dashboard.data.answer_store import AnswerStore


@pytest.fixture(autouse=True)
def no_forecast_record(request, monkeypatch):
    """Nothing is worked out for the forecast record, which takes a process of its own for longer than a test
    of any page waits: its page says so here. It is tried in test_answer_store and in the browser."""
    if "test_answer_store" not in request.node.nodeid:
        monkeypatch.setattr(AnswerStore, "soon", lambda *_: None)


@pytest.fixture(autouse=True)
def two_intervals(monkeypatch):
    """How often to capture is weighed at two distances, not at six: each is a simulation of its own."""
    monkeypatch.setattr(intervals, "TIMES", (1.0, 2.0))
