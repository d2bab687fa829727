"""Every setting that is offered is read by something: none is changed, dated and logged for nothing."""

from datetime import date
from typing import ClassVar

import pytest

from analytics.cost_review import intervals
from analytics.cost_review.costs import cost_review
from analytics.judging.verdict import judge_visit
from analytics.money.cost_book import read_costs
from analytics.record.backtest import backtest
from analytics.risk.ranking import rank
from analytics.scheduling.planning import plan
from ingest.author import Author
from ingest.intake.taking import take_folder
from ingest.ledger import settings
from ingest.ledger.connection import open_ledger
from ingest.ledger.forgetting import forget_overdue
from ingest.trade_numbers import SETTINGS
from ingest.visit.checks import check_visit
from ingest.visit.entry import VisitEntry
from tests.learning.conftest import no_long_run
from tests.ledger_fixture import LAST_VISIT, build_ledger
from tests.pages.page_runs import open_page

__all__ = ["no_long_run"]  # lives simulated from what was learned ask for no setting


class Watched(dict):
    """Settings that remember which of them were asked for."""

    asked: ClassVar[set[str]] = set()

    def __getitem__(self, key):
        self.asked.add(key)
        return super().__getitem__(key)

    def get(self, key, default=None):
        self.asked.add(key)
        return super().get(key, default)

    def __or__(self, other):
        return Watched({**self, **other})


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    """What list, plan, review, look back, verdict, entry and pages ask for, on the small fleet."""
    path = build_ledger(tmp_path_factory.mktemp("settings") / "fleet.duckdb")
    with open_ledger(path, read_only=False) as con:
        con.execute("UPDATE pump_type SET rpm_low = NULL, ripple_limit_pct = NULL WHERE pump_type = 'FP-10'")
        con.execute("UPDATE vehicle SET pm_interval_km = NULL, pm_interval_days = NULL WHERE unit = '103'")
        con.execute("UPDATE visit SET duty_pct = 60 WHERE unit = '103'")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "DEFAULTS", Watched(settings.DEFAULTS))
        patch.setattr(Watched, "asked", set())
        patch.setenv("PUMPLEDGER", str(path))
        patch.setattr(intervals, "TIMES", (1.0,))  # each is one more simulation, which asks for none either
        rank(path, as_of=LAST_VISIT)
        plan(path, as_of=LAST_VISIT)
        cost_review(path, LAST_VISIT, lives=50)
        backtest(path, cutoffs=1)
        with open_ledger(path) as con:
            for visit_id in (1, 5, 11):
                judge_visit(con, visit_id)
            entry = VisitEntry(
                "101", "main", visited_on=date(2026, 3, 1), odometer_km=150_000.0, meter_a=60.0
            )
            check_visit(con, entry, None, today=date(2026, 3, 1))
        take_folder(path, tmp_path_factory.mktemp("captures"), author=Author("T", "manager"))
        forget_overdue(path, author=Author("T", "manager"), dry_run=True)
        for view, query in (("pump_history", {"pump": "1"}), ("log_visit", {"unit": "101"}), ("costs", {})):
            open_page(view, **query)
        return set(Watched.asked)


IN_THE_COST_BOOK = ("planned_replacement", "failure_replacement")  # which asks only for what a fleet chose


@pytest.mark.parametrize("name", [name for name in SETTINGS if name not in IN_THE_COST_BOOK])
def test_a_setting_is_read(asked, name):
    assert name in asked


@pytest.mark.parametrize("name", IN_THE_COST_BOOK)
def test_a_price_set_is_the_price_used(tmp_path, name):
    path = tmp_path / "fleet.duckdb"
    with open_ledger(path, read_only=False):
        pass
    part = name.split("_")[0]
    before = getattr(read_costs(path).prices(), part)
    settings.set_setting(path, name, 4321.0, author=Author("T", "manager"), reason="test")
    assert getattr(read_costs(path).prices(), part) == 4321 != before
