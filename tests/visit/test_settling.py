"""Doubtful visits are put right or taken out from the pages, with a reason, and stay in the record."""

import pandas as pd
import pytest

from dashboard.data import loaders, queries
from dashboard.parts import settling
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page, words


@pytest.fixture
def ledger(tmp_path, monkeypatch):
    path = build_ledger(tmp_path / "fleet.duckdb")
    with open_ledger(path, read_only=False) as connection:
        connection.execute("UPDATE visit SET in_trend = FALSE WHERE visit_id = 3")
    monkeypatch.setenv("PUMPLEDGER", str(path))
    return path


def rows(ledger, statement):
    with open_ledger(ledger) as connection:
        return connection.execute(statement).fetchall()


def press(page, label):
    next(b for b in page.button if b.label == label).click()
    return page.run()


def test_a_question_says_which_visit_it_is_about(ledger):
    text = words(open_page("open_questions"))
    assert "unit 101 · visit of 2025-07-05 by TK · out of the trend until settled" in text


def test_a_visit_is_withdrawn_with_its_question_and_stays_in_the_record(ledger):
    page = open_page("open_questions")
    press(page, "Withdraw the visit")
    assert "Give a reason" in words(page)
    page.text_input(key="answered_by").set_value("PL")
    page.text_input(key="why_1").set_value("another vehicle's file")
    press(page, "Withdraw the visit")
    assert "Nothing is in doubt" in words(page)
    assert rows(ledger, "SELECT withdrawn FROM visit WHERE visit_id = 3") == [(True,)]
    assert rows(ledger, "SELECT status, answer FROM question") == [
        ("corrected", "withdrawn: another vehicle's file")
    ]
    assert rows(ledger, "SELECT field, new_value, changed_by, reason FROM change_log") == [
        ("withdrawn", "True", "PL", "another vehicle's file")
    ]
    kept = settling.withdrawn_table(queries.ask(ledger, "withdrawn_visits", pump_id=1), "km")
    assert kept["Why"].tolist() == ["another vehicle's file"]
    assert len(queries.ask(ledger, "visits_of_pump", pump_id=1)) == 4


def test_a_right_odometer_settles_the_question(ledger):
    page = open_page("open_questions")
    page.text_input(key="answered_by").set_value("PL")
    page.text_input(key="why_1").set_value("misread")
    press(page, "Correct the odometer")
    assert "Give the right value" in words(page)
    page.text_input(key="right_1").set_value("117000 km")
    press(page, "Correct the odometer")
    assert "stands there already" in words(page)
    page.text_input(key="right_1").set_value("116500 km")
    press(page, "Correct the odometer")
    assert rows(ledger, "SELECT odometer_km, in_trend FROM visit WHERE visit_id = 3") == [(116500.0, True)]
    assert rows(ledger, "SELECT status FROM question") == [("corrected",)]
    before = rows(ledger, "SELECT field, old_value FROM change_log")
    assert ("odometer_km", "117000") in before


def test_a_visit_without_a_question_is_put_right_from_its_pumps_history(ledger, monkeypatch):
    monkeypatch.setattr(loaders, "ranking", lambda: pd.DataFrame({"pump_id": []}))  # takes its time, unasked
    page = open_page("pump_history", pump="1", history_part="Visits")
    page.selectbox(key="visit_to_repair").set_value(5).run()
    page.text_input(key="repair_km_5").set_value("136000 km")
    page.text_input(key="repair_why_5").set_value("one digit off")
    page.text_input(key="repair_by_5").set_value("PL")
    press(page, "Correct the odometer")
    assert "is corrected" in words(page)
    assert rows(ledger, "SELECT odometer_km FROM visit WHERE visit_id = 5") == [(136000.0,)]
    page.text_input(key="repair_why_5").set_value("not this pump")
    page.text_input(key="repair_by_5").set_value("PL")
    press(page, "Withdraw the visit")
    assert "stays in the record" in words(page)
    assert rows(ledger, "SELECT withdrawn FROM visit WHERE visit_id = 5") == [(True,)]
    assert page.dataframe[1].value["Why"].tolist() == ["not this pump"]
