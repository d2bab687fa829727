"""What all page tests share."""

import pytest

from dashboard.data.answer_store import AnswerStore


@pytest.fixture(autouse=True)
def no_forecast_record(request, monkeypatch):
    """Nothing is worked out for the forecast record, which takes a process of its own for longer than a test
    of any page waits: its page says so here. It is tried in test_answer_store and in the browser."""
    if "test_answer_store" not in request.node.nodeid:
        monkeypatch.setattr(AnswerStore, "soon", lambda *_: None)
