"""What was entered last holds, also where the machine's clock was set back meanwhile."""

from datetime import date, datetime

import pytest

from analytics.cost_review.costs import read_costs
from analytics.money.cost_book import set_cost
from analytics.scheduling import bookings
from dashboard.cli import main
from ingest.ledger import transaction
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import set_setting, settings_at
from ingest.visit.choices import AS_TYPED
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_visits
from tests.ledger.killed_upgrades import make_old
from tests.ledger_fixture import build_ledger


@pytest.fixture
def ledger(tmp_path):
    return build_ledger(tmp_path / "fleet.duckdb")


@pytest.fixture
def set_back(monkeypatch):
    """Set the clock back by decades."""
    return lambda: monkeypatch.setattr(transaction, "utc_now", lambda: datetime(2001, 1, 1))


def test_of_two_settings_from_one_day_on(ledger, set_back):
    set_setting(ledger, "ripple_limit_pct", 12, author=ANYBODY, reason="first")
    set_back()
    set_setting(ledger, "ripple_limit_pct", 11, author=ANYBODY, reason="second")
    with open_ledger(ledger) as con:
        assert settings_at(con)["ripple_limit_pct"] == 11


def test_of_two_prices_from_one_day_on(ledger, set_back):
    set_cost(ledger, "planned_replacement", 700, author=ANYBODY)
    set_back()
    set_cost(ledger, "planned_replacement", 710, author=ANYBODY)
    assert read_costs(ledger).prices().planned == 710


def test_of_two_decisions_about_a_pump(ledger, set_back):
    bookings.reject(ledger, 1, author=ANYBODY, reason="retired soon")
    set_back()
    bookings.withdraw(ledger, 1, author=ANYBODY)
    assert bookings.newest_decisions(ledger)["status"].tolist() == ["withdrawn"]


def test_an_answer_stands_until_a_later_load_changes_the_row(tmp_path, set_back):
    """The load's own clock stands on today; the answer is given decades before it, and is not asked again."""
    ledger = tmp_path / "l.duckdb"
    visits = steady_visits(n=6)
    visits[3]["odometer"] = visits[1]["odometer"]
    folder = write_visits(tmp_path / "f", visits, **ONE_UNIT)
    assert main(["load", str(folder), "--ledger", str(ledger)]) == 0
    visits[4]["mean_a"] = 5.25  # the load changes a row after which it is asked about, and one it is not
    visits[3]["supply_v"] = 13.3
    write_visits(folder, visits, **ONE_UNIT)
    assert main(["load", str(folder), "--ledger", str(ledger)]) == 0
    from dashboard.data.changes import settle

    set_back()
    with open_ledger(ledger) as con:
        asked = con.execute("SELECT question_id FROM question WHERE status = 'open'").fetchall()
    assert asked
    for (question_id,) in asked:
        settle(ledger, [question_id], AS_TYPED, "as driven", ANYBODY)
    assert main(["load", str(folder), "--ledger", str(ledger)]) == 0
    with open_ledger(ledger) as con:
        assert con.execute("SELECT count(*) FROM question WHERE status = 'open'").fetchall() == [(0,)]


def test_settings_of_an_older_ledger_keep_their_order(tmp_path):
    path = tmp_path / "old.duckdb"
    make_old(path, 4, settings=[("11", date(2026, 2, 1)), ("12", date(2026, 1, 1))])
    with open_ledger(path) as con:
        assert con.execute("SELECT setting_id, value FROM setting ORDER BY 1").fetchall() == [
            (1, "12"),
            (2, "11"),
        ]
        assert settings_at(con)["ripple_limit_pct"] == 11
