"""Headers and figures stand on one day: that of the newest fact of any kind."""

from datetime import date

import pytest

from analytics.past.history import load_history
from dashboard.data.queries import last_fact
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from tests.ledger_fixture import LAST_VISIT, build_ledger


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("newest") / "fleet.duckdb")


@pytest.mark.parametrize(
    ("table", "row", "newest"),
    [
        ("service", {"done_on": date(2026, 3, 1), "work": "filter"}, date(2026, 3, 1)),
        ("breakdown", {"happened_on": date(2026, 3, 2), "pump_confirmed": "no"}, date(2026, 3, 2)),
        ("breakdown", {"happened_on": date(2087, 3, 2), "pump_confirmed": "no"}, date(2026, 3, 2)),
    ],
)
def test_work_and_breakdowns_count_as_visits_do(ledger, table, row, newest):
    assert last_fact(ledger) >= LAST_VISIT
    with open_ledger(ledger, read_only=False) as connection:
        insert_row(connection, table, {"unit": "105"} | row)
    assert last_fact(ledger) == load_history(ledger).as_of == newest
