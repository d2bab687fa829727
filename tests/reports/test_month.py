"""The month on two pages: its figures are sums of the same events as the cost page's, and it stands alone."""

from __future__ import annotations

import re
from datetime import date

import numpy as np
import pytest

from analytics.cost_review.facts import ON_FAILURE, PUMP_KINDS, read_facts
from analytics.cost_review.month import days_of, month_of
from analytics.past.distance import distances_between
from analytics.scheduling.planning import plan
from dashboard.charts import on_paper
from dashboard.cli import main
from dashboard.parts import report
from dashboard.shell import paper
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import build_ledger


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    path = build_ledger(tmp_path_factory.mktemp("month") / "fleet.duckdb", fitted=True)
    with open_ledger(path, read_only=False) as con:
        con.execute(
            "UPDATE pump SET removed_on = DATE '2025-12-10', removed_odometer_km = 132800,"
            " removal = 'on_condition', found = 'worn', cost = 700 WHERE unit = '102'"
        )
        con.execute(
            "UPDATE pump SET removed_on = DATE '2025-12-20', removed_odometer_km = 133800, removal = "
            "'failed',"
            " found = 'worn', cost = 2500 WHERE unit = '106'"
        )
        con.execute("UPDATE vehicle SET depot = 'South' WHERE unit = '106'")
    return path


@pytest.fixture(scope="module")
def month(ledger):
    return month_of(ledger, "2025-12")


def test_its_money_is_the_sum_of_the_events_of_the_cost_page(ledger, month):
    facts = read_facts(ledger)
    mine = facts[(facts["month"] == "2025-12") & facts["kind"].isin(PUMP_KINDS)]
    assert (month.planned, month.on_the_road) == (700.0, 2500.0)
    assert month.planned + month.on_the_road == mine["cost"].sum()
    last = month.history.iloc[-1]
    assert (last["planned"], last["on_the_road"], last["failures"]) == (700.0, 2500.0, 1)
    assert month.history["on_the_road"].sum() == facts.loc[facts["kind"] == ON_FAILURE, "cost"].sum()
    text = report.rows_of(month)["Spent"]
    assert text.startswith("3,200 USD: 2,500 USD after failures, 700 USD on planned changes")


def test_a_depot_s_months_add_up_to_the_fleet_s(ledger, month):
    parts = [month_of(ledger, "2025-12", depot) for depot in ("North", "South")]
    for name in ("planned", "on_the_road", "pumps", "readings", "booked"):
        assert sum(getattr(p, name) for p in parts) == getattr(month, name), name
    assert sum(p.history["distance"].sum() for p in parts) == pytest.approx(month.history["distance"].sum())
    assert sum(p.told for p in parts) == pytest.approx(month.told)


def test_failures_are_told_over_the_distance_driven(ledger, month):
    """The fixture's units drive 9,000 km in 90 days, 100 a day: 31 days of eight units are 24,800 km."""
    with open_ledger(ledger) as connection:
        run = distances_between(connection, {"run": (date(2025, 10, 1), date(2025, 10, 31))})["run"]
    assert run.to_numpy() == pytest.approx(np.full(8, 3100.0))
    october = month.history[month.history["month"] == "2025-10"].iloc[0]
    assert october["distance"] == pytest.approx(8 * 3100 / 1.609344)


def test_it_is_one_file_with_three_charts_that_asks_for_nothing(ledger, month):
    html = report.html(month, plan(ledger, as_of=month.last))
    assert html.count("<svg") == 3
    assert not re.search(r"<script|<link|<img|src=|@import|url\(", html)
    assert set(re.findall(r"https?://[^'\" ]+", html)) == {"http://www.w3.org/2000/svg"}
    assert "3,200 USD" in html


def test_it_prints_on_two_pages(ledger, month):
    pytest.importorskip("weasyprint", exc_type=ImportError)
    pdf = paper.as_pdf(report.html(month, plan(ledger, as_of=month.last)))
    assert pdf.startswith(b"%PDF")
    from weasyprint import HTML

    assert len(HTML(string=report.html(month, plan(ledger, as_of=month.last))).render().pages) == 2


def test_the_command_writes_what_it_is_asked_for(ledger, tmp_path, capsys):
    file = tmp_path / "december.html"
    base = ["--ledger", str(ledger), "report", "--month", "2025-12"]
    assert main([*base, "--html", str(file)]) == 0
    assert "Fuel pumps in 2025-12" in file.read_text(encoding="utf-8")
    assert main(base) == 0
    assert "2,500 USD after failures" in capsys.readouterr().out
    for wrong, said in (
        (["--month", "2025-13"], "is no month"),
        (["--month", "2031-01"], "has not begun"),
        (["--depot", "West"], "There is no depot 'West'"),
        (["--since", "2025-01-01"], "--since goes with --day"),
        (["--html", str(tmp_path / "none" / "x.html")], "can't be written"),
    ):
        assert main(["--ledger", str(ledger), "report", *wrong]) == 1
        assert said in capsys.readouterr().err


def test_days_of_a_month():
    assert days_of("2024-02") == (date(2024, 2, 1), date(2024, 2, 29))
    with pytest.raises(EntryRefused):
        days_of("next")


def test_paper_charts_have_round_axes_and_a_bar_for_each_value():
    for most in (0.3, 1, 1.7, 4.3, 9, 12_100, 59_999, 1e6):
        step, top = on_paper.ticks(most)
        assert most <= top <= 2 * most
        assert 2 <= top / step <= 5.0001
    svg = on_paper.bars(["a", "b"], {"x": [1.0, 2.0], "y": [0.0, 1.0]}, words="<two>", marks=[0.5, np.nan])
    assert svg.count("<rect") == 3
    assert "&lt;two&gt;" in svg
