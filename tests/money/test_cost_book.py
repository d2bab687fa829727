"""Prices: elements, whole amounts, classes and depots, days, placeholders, and what is refused."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import pytest

from analytics.money.cost_book import ELEMENTS, read_costs, set_cost
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from tests.authors import ANYBODY


@pytest.fixture
def ledger(tmp_path):
    path = tmp_path / "fleet.duckdb"
    with open_ledger(path, read_only=False) as connection:
        connection.execute(
            "INSERT INTO pump_type (pump_type, price, recorded_at) VALUES ('FP-10', 310, now())"
        )
    return path


def test_default_elements_add_up_to_the_default_amounts(ledger):
    prices = read_costs(ledger).prices()
    assert (prices.planned, prices.failure) == (650.0, 2400.0)
    assert prices.capture == 30.0
    assert {"tow", "part", "labour_per_hour", "capture_hours"} <= set(prices.placeholders)


def test_an_element_moves_the_sum(ledger):
    assert (
        set_cost(ledger, "tow", 520, source="contract", author=ANYBODY)
        == f"tow is 520 USD from {date.today()} on."
    )
    prices = read_costs(ledger).prices()
    assert (prices.planned, prices.failure) == (650.0, 2520.0)
    assert "tow" not in prices.placeholders
    set_cost(ledger, "labour_per_hour", 100, author=ANYBODY)
    # 2.5 h, and 4 h at 1.25, twenty cheaper each.
    prices = read_costs(ledger).prices()
    assert (prices.planned, prices.failure) == (600.0, 2420.0)
    assert prices.capture == 25.0


def test_the_type_s_price_and_the_unit_s_hours_count(ledger):
    prices = read_costs(ledger).prices(pump_type="FP-10", job_hours=4.0)
    assert (prices.planned, prices.failure) == (650 + 100 + 1.5 * 120, 2500.0)


def test_a_whole_amount_stands_and_no_element_of_it_counts_beside_it(ledger):
    set_cost(ledger, "tow", 500, author=ANYBODY)
    set_cost(ledger, "failure_replacement", 3000, author=ANYBODY)
    assert read_costs(ledger).prices(pump_type="FP-10", job_hours=4.0).failure == 3000.0
    with pytest.raises(EntryRefused, match="count twice"):
        set_cost(ledger, "tow", 450, author=ANYBODY)
    with pytest.raises(EntryRefused, match="count twice"):
        set_cost(ledger, "tow", 450, depot="North", author=ANYBODY)
    set_cost(ledger, "labour_per_hour", 100, author=ANYBODY)  # also of a planned change and of a capture
    prices = read_costs(ledger).prices()
    assert (prices.planned, prices.failure, prices.capture) == (600.0, 3000.0, 25.0)
    table = read_costs(ledger).table().set_index("element")
    assert not table.loc["tow", "counts"]
    assert table.loc[["part", "labour_per_hour", "failure_replacement"], "counts"].all()


def test_a_whole_amount_that_happens_to_be_the_default_s_stands_too(ledger):
    set_cost(ledger, "failure_replacement", 2400, author=ANYBODY)
    with pytest.raises(EntryRefused, match="count twice"):
        set_cost(ledger, "tow", 450, author=ANYBODY)


def test_a_whole_amount_can_be_given_up_for_its_elements(ledger):
    set_cost(ledger, "failure_replacement", 3000, author=ANYBODY)
    text = set_cost(ledger, "failure_replacement", None, author=ANYBODY)
    assert "the sum of its elements" in text
    assert read_costs(ledger).prices().failure == 2400.0
    set_cost(ledger, "tow", 450, author=ANYBODY)
    assert read_costs(ledger).prices().failure == 2450.0
    with pytest.raises(EntryRefused, match="has no elements"):
        set_cost(ledger, "tow", None, author=ANYBODY)


def test_a_price_holds_from_today_and_leaves_the_past(ledger):
    set_cost(ledger, "tow", 500, author=ANYBODY)
    yesterday = date.today() - timedelta(days=1)
    assert read_costs(ledger, yesterday).prices().failure == 2400.0
    assert read_costs(ledger).on_day(yesterday).prices().failure == 2400.0
    assert read_costs(ledger).prices().failure == 2500.0


def test_what_if_prices_are_written_nowhere(ledger):
    book = read_costs(ledger)
    assert book.with_prices({"tow": 900.0, "part": 310.0}).prices().failure == 3000.0
    assert book.with_prices({"failure_replacement": 5000.0}).prices().failure == 5000.0
    stated = set(book.prices().placeholders) - set(book.with_prices({"tow": 900.0}).prices().placeholders)
    assert stated == {"tow"}  # what is supposed is no placeholder
    assert book.prices().failure == read_costs(ledger).prices().failure == 2400.0


def test_every_price_given_is_logged_with_the_one_before(ledger):
    set_cost(ledger, "tow", 500, source="contract", author=Author("MG", "manager"))
    set_cost(ledger, "tow", 450, vehicle_class="van", source="invoice", author=Author("MG", "manager"))
    with open_ledger(ledger) as connection:
        rows = connection.execute(
            "SELECT row_key, old_value, new_value, changed_by, reason FROM change_log ORDER BY change_id"
        ).fetchall()
    assert rows == [("tow", None, "500", "MG", "contract"), ("tow, van", "500", "450", "MG", "invoice")]


def test_depot_before_class_before_all(ledger):
    set_cost(ledger, "tow", 500, author=ANYBODY)
    set_cost(ledger, "tow", 700, vehicle_class="ambulance", author=ANYBODY)
    set_cost(ledger, "tow", 900, depot="North", author=ANYBODY)
    book = read_costs(ledger)
    assert [
        book.prices(c, d).failure for c, d in [(None, None), ("ambulance", "South"), ("ambulance", "North")]
    ] == [
        2500.0,
        2700.0,
        2900.0,
    ]
    frame = book.price_frame(
        pd.DataFrame(
            {"class": ["van", "ambulance"], "depot": [None, "South"], "pump_type": ["x", "x"]}, index=[7, 9]
        )
    )
    assert frame["failure"].to_dict() == {7: 2500.0, 9: 2700.0}


def test_prices_are_dated(ledger):
    set_cost(ledger, "tow", 500, valid_from=date(2026, 1, 1), author=ANYBODY)
    set_cost(ledger, "tow", 600, valid_from=date(2026, 6, 1), author=ANYBODY)
    assert read_costs(ledger, date(2026, 5, 31)).prices().failure == 2500.0
    assert read_costs(ledger, date(2026, 6, 1)).prices().failure == 2600.0


def test_a_setting_counts_as_a_whole_amount(ledger):
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute(
            "INSERT INTO setting (setting_id, key, value, recorded_at)"
            " VALUES (1, 'planned_replacement', '800', now())"
        )
    assert read_costs(ledger).prices().planned == 800.0


def test_the_table_shows_every_element_with_its_source(ledger):
    set_cost(ledger, "tow", 520, source="contract", depot="North", author=ANYBODY)
    table = read_costs(ledger).table(depot="North").set_index("element")
    assert len(table) == len(ELEMENTS) + 2
    assert table.loc["tow", ["amount", "confirmed", "source", "scope"]].tolist() == [
        520,
        True,
        "contract",
        "depot North",
    ]
    assert not table.loc["part", "confirmed"]
    assert table.loc["failure_replacement", "amount"] == 2520.0


@pytest.mark.parametrize(
    ("element", "amount", "text"),
    [
        ("tow", -1, "give a number of 0 or more"),
        ("tow", float("nan"), "give a number of 0 or more"),
        ("tow", float("inf"), "give a number of 0 or more"),
        ("failure_replacement", float("-inf"), "give a number of 0 or more"),
        ("towing", 5, "no cost element 'towing'"),
        ("planned_replacement", 0, "can't cost nothing"),
    ],
)
def test_what_is_no_price_is_refused(ledger, element, amount, text):
    with pytest.raises(EntryRefused, match=text):
        set_cost(ledger, element, amount, author=ANYBODY)


def test_a_ratio_below_one_is_told(ledger):
    assert "costs no more than a planned one" in set_cost(ledger, "failure_replacement", 400, author=ANYBODY)
