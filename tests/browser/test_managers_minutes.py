"""A manager's ten minutes in a real browser: the answer, what it rests on, a what-if, the record, a
report."""

from __future__ import annotations

import io
import re

import pandas as pd
import pytest

from ingest.ledger.connection import open_ledger
from tests.browser.browsing import downloaded, settle

pytestmark = pytest.mark.browser


def prices_in(ledger) -> list:
    with open_ledger(ledger) as connection:
        return connection.execute("SELECT * FROM cost_entry ORDER BY cost_id").fetchall()


def number(text: str) -> float:
    return float(text.replace(",", ""))


def test_the_manager_leaves_with_an_answer_and_the_rows_behind_it(watch, address, ledger):
    page = watch().page
    before = prices_in(ledger)
    page.goto(f"{address}/costs")
    settle(page)
    # The answer first: which policy, what a year costs, how sure.
    answer = page.get_by_test_id("stMarkdown").filter(has_text="The answer:")
    answer.wait_for(timeout=120_000)
    settle(page)
    first = answer.inner_text()
    assert re.search(r"in a year at|costs more than it saves", first)
    body = page.inner_text("body")
    assert re.search(r"On this fleet, in a year at [\d.,]+ (million )?mi: run to failure [\d.,]+", body)
    assert body.index("The answer:") < body.index("Spent in")

    # Spent opens into its events, and they sum.
    page.get_by_role("tab", name="Spent").click()
    page.get_by_text(re.compile("each counted once")).wait_for()
    settle(page)
    body = page.inner_text("body")
    total = number(re.search(r"([\d,]+) USD in \d+ events?, each counted once", body)[1])
    table = pd.read_csv(io.BytesIO(downloaded(page, page.get_by_role("button", name="Save as CSV").nth(1))))
    assert table["Cost, USD"].sum() == pytest.approx(total, abs=0.5)
    assert not table["Day"].str.contains("00:00").any()

    # What if failures were dearer: the words move, no price does.
    page.get_by_role("tab", name="Policies").click()
    settle(page)
    said = page.get_by_text(re.compile("^At these prices"))
    said.wait_for()
    now = said.inner_text()
    slider = page.get_by_role("slider").nth(1)
    slider.focus()
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    page.wait_for_function("now => !document.body.innerText.includes(now)", arg=now)
    settle(page)
    assert prices_in(ledger) == before

    # How often to capture, as a decision.
    page.get_by_role("tab", name="How often to capture").click()
    page.get_by_text("Saving a year against running to failure").wait_for()

    # The month to take away.
    report = downloaded(page, page.get_by_role("button", name="Report as HTML")).decode()
    assert report.count("<svg") == 3
    assert "Fuel pumps in" in report


def test_the_forecast_record_comes_by_itself(watch, address):
    page = watch().page
    page.goto(f"{address}/forecast-record")
    page.get_by_text(re.compile("past day|records are too short|In short:")).first.wait_for(timeout=120_000)
    assert not page.get_by_role("button", name="Work it out").count()
