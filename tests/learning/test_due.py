"""When a stored fit is learned anew."""

from dataclasses import replace

from analytics.past.history import load_history
from analytics.risk.forecast import due, fit_for
from tests.ledger_fixture import build_ledger


def test_a_fit_serves_until_failures_are_on_record_for_much_longer(tmp_path):
    """As when somebody tells, after the first load, since when breakdowns were written down: until then only
    what happened between readings counted, and a fleet that lives long was told four times its failures."""
    ledger = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    history = load_history(ledger)
    learned = fit_for(ledger, history)
    assert fit_for(ledger, history).fit_id == learned.fit_id
    since_new = replace(history, pumps=history.pumps.assign(entry_km=0.0))
    anew = fit_for(ledger, since_new)
    assert anew.fit_id != learned.fit_id
    assert fit_for(ledger, since_new).fit_id == anew.fit_id
    # Ten vans are learned anew within months, not after the year that thirty visits more would take.
    seen = len(history.visits)
    assert due(replace(learned, visits=seen - 10), history)
    assert not due(replace(learned, visits=seen - 5), history)
