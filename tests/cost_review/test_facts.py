"""One ledger of money: a breakdown and the pump it ended are one event, and every sum is over the same
rows."""

from __future__ import annotations

import io
from datetime import date

import pandas as pd
import pytest

from analytics.cost_review.facts import BESIDE, ON_FAILURE, OPEN, PUMP_KINDS, by_kind, by_month, read_facts
from analytics.money.cost_book import set_cost
from dashboard.cli import main
from dashboard.views.costs import spent as page
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger


@pytest.fixture
def ledger(tmp_path):
    path = build_ledger(tmp_path / "fleet.duckdb", fitted=True)
    with open_ledger(path, read_only=False) as con:
        for unit, day, confirmed, cost in (
            ("102", date(2025, 3, 1), "yes", 1900.0),  # its pump was changed a week later, for 700 more told
            ("103", date(2025, 4, 1), "no", 350.0),
            ("105", date(2025, 5, 1), "unknown", 500.0),
            ("106", date(2025, 6, 1), "yes", 2050.0),  # the pump has not been changed yet
        ):
            row = {"unit": unit, "position": "main", "happened_on": day, "pump_confirmed": confirmed}
            insert_row(con, "breakdown", row | {"cost": cost})
        con.execute(
            "UPDATE pump SET removed_on = DATE '2025-03-08', removed_odometer_km = 105000, removal = "
            "'failed',"
            " found = 'worn', cost = 700 WHERE unit = '102'"
        )
        con.execute(
            "UPDATE pump SET removed_on = DATE '2025-07-01', removed_odometer_km = 120000,"
            " removal = 'on_condition' WHERE unit = '105'"
        )
    return path


def test_a_breakdown_and_its_pump_are_one_event(ledger):
    facts = read_facts(ledger)
    event = facts[facts["unit"] == "102"]
    assert len(event) == 1
    row = event.iloc[0]
    assert (row["kind"], row["cost"], row["breakdown_cost"], row["pump_cost"]) == (
        ON_FAILURE,
        1900,
        1900,
        700,
    )
    assert row["day"] == pd.Timestamp("2025-03-01")
    assert row["cost_from"] == "breakdown and pump, the larger"


def test_every_row_is_of_one_kind_and_its_amount_has_one_source(ledger):
    facts = read_facts(ledger)
    once = facts[facts["unit"] != "105"]
    assert dict(zip(once["unit"], once["kind"], strict=True)) == {
        "104": ON_FAILURE, "102": ON_FAILURE, "103": BESIDE, "106": ON_FAILURE,
    }  # fmt: skip
    assert set(facts.loc[facts["unit"] == "105", "kind"]) == {OPEN, "planned on condition"}
    assert ((facts["cost_recorded"] == 0) | (facts["cost_estimated"] == 0)).all()
    assert facts.loc[facts["kind"] == "planned on condition", "cost_from"].tolist() == ["prices of the day"]
    assert facts.loc[facts["kind"] == "planned on condition", "cost"].tolist() == [650.0]


def test_every_figure_adds_up_from_the_exported_table(ledger, capsys):
    """From the CSV alone: by year and kind, by month, and the page's own table, each to the cent."""
    assert main(["cost", "--ledger", str(ledger), "--csv", "facts"]) == 0
    table = pd.read_csv(io.StringIO(capsys.readouterr().out))
    pumps = table[table["kind"].isin(PUMP_KINDS)]
    facts = read_facts(ledger)
    assert pumps["cost"].sum() == pytest.approx(2310 + 1900 + 2050 + 650)
    told = by_kind(facts).groupby(["year", "kind"])[["cost_recorded", "cost_estimated"]].sum().sum(axis=1)
    pd.testing.assert_series_equal(told, pumps.groupby(["year", "kind"])["cost"].sum(), check_names=False)
    months = by_month(facts).set_index(["month", "kind"])["amount"]
    kind = pumps["kind"].map(lambda k: "on the road" if k == ON_FAILURE else "planned")
    pd.testing.assert_series_equal(
        months, pumps.assign(kind=kind).groupby(["month", "kind"])["cost"].sum(), check_names=False
    )
    shown = page.by_year(page.of_pumps(facts), "USD")
    assert shown["In all, USD"].sum() == pytest.approx(pumps["cost"].sum())
    assert not table["day"].astype(str).str.contains("00:00").any()


def test_a_price_given_today_moves_no_estimate_of_the_past(ledger):
    before = read_facts(ledger)
    set_cost(ledger, "planned_replacement", 999.0, author=ANYBODY)
    pd.testing.assert_frame_equal(read_facts(ledger), before)
    set_cost(ledger, "planned_replacement", 888.0, valid_from=date(2025, 6, 30), author=ANYBODY)
    after = read_facts(ledger)
    assert after.loc[after["kind"] == "planned on condition", "cost"].tolist() == [888.0]
