"""A planner's week: find a pump and book it, move it by keyboard, meet a late part, lose a bay and a unit,
plan again, print and hand out the calendar."""

from __future__ import annotations

import re
from datetime import date, timedelta

import icalendar
import pytest

from ingest.ledger.connection import open_ledger
from tests.browser.browsing import LEAN, PHONE, downloaded, served, settle
from tests.ledger_fixture import build_ledger

pytestmark = pytest.mark.browser
UNIT = "101"  # its pump is of a type with one part on hand, four days to order


@pytest.fixture(scope="module")
def own_ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("week") / "fleet.duckdb", fitted=True)


@pytest.fixture(scope="module")
def own_address(own_ledger):
    with served(own_ledger, LEAN) as where:
        yield where


def change(ledger, statement: str, *values) -> None:
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute(statement, list(values))


def decisions(ledger) -> list[tuple]:
    with open_ledger(ledger) as connection:
        return connection.execute(
            "SELECT status, planned_on, decided_by FROM booking JOIN pump USING (pump_id) WHERE unit = ? "
            "ORDER BY booking_id",
            [UNIT],
        ).fetchall()


def open_board(page, address: str) -> None:
    page.goto(f"{address}/plan-board")
    settle(page)


def put(page, week: date) -> None:
    """Choose the unit's job and put it into a week, by keyboard alone."""
    job = page.get_by_role("button", name=re.compile(f"{UNIT}: "))
    job.focus()
    page.keyboard.press("Enter")
    assert job.get_attribute("aria-pressed") == "true"
    there = page.get_by_role("button", name=re.compile(f"Put it into the week of {week}, North"))
    for key in ["ArrowRight"] * 8 + ["ArrowLeft"] * 8:
        label = page.evaluate(
            "(() => { let e = document.activeElement; while (e.shadowRoot && e.shadowRoot.activeElement)"
            " e = e.shadowRoot.activeElement; return e.getAttribute('aria-label') || ''; })()"
        )
        if label == there.get_attribute("aria-label"):
            break
        page.keyboard.press(key)
    else:
        raise AssertionError("the arrow keys never reached that week")
    page.keyboard.press("Enter")
    settle(page)


@pytest.mark.timeout(900)  # a whole week on a busy machine
def test_a_planners_week(watch, own_address, own_ledger, tmp_path):
    today = date.today()
    monday = today - timedelta(days=today.weekday())
    first, later = monday + timedelta(days=14), monday + timedelta(days=28)
    page = watch().page

    # Find it and book it.
    open_board(page, own_address)
    page.get_by_role("textbox", name="Find a unit").fill(UNIT)
    page.keyboard.press("Enter")
    settle(page)
    page.get_by_text("Pin to this day", exact=True).click()
    page.get_by_test_id("stDateInput").last.get_by_role("spinbutton").first.click()
    page.keyboard.type(first.strftime("%Y%m%d"))
    page.get_by_role("textbox", name="Reason").fill("noisy on every stop")
    page.get_by_role("textbox", name="Your initials").last.fill("PL")
    page.get_by_role("button", name="Decide", exact=True).click()
    page.get_by_text(re.compile("is pinned on")).wait_for()
    settle(page)
    assert decisions(own_ledger) == [("pinned", first, "PL")]

    # Move it two weeks: the price first.
    open_board(page, own_address)
    put(page, later)
    asked = page.get_by_role("dialog")  # over the page: the board is taller than a screen
    asked.get_by_text(re.compile(r"2 weeks later (costs|saves)")).wait_for()
    asked.get_by_role("textbox", name="Your initials").fill("PL")
    asked.get_by_role("button", name="Move it").click()
    page.get_by_text(re.compile("is pinned on")).wait_for()
    settle(page)
    moved = decisions(own_ledger)[-1]
    assert moved[0] == "pinned"
    assert later <= moved[1] < later + timedelta(days=7)

    # The part is gone, the next one takes long: an early week needs a reason.
    change(own_ledger, "UPDATE stock SET on_hand = 0")
    change(own_ledger, "UPDATE pump_type SET lead_time_days = 21")
    open_board(page, own_address)
    put(page, first)
    asked.get_by_text(re.compile("no part is left by then")).wait_for()
    asked.get_by_role("button", name="Move it").click()
    asked.get_by_text("Say why it goes there all the same.").wait_for()
    settle(page)
    assert decisions(own_ledger)[-1] == moved

    # The bay is lost: the cell says so.
    change(own_ledger, "INSERT INTO bay_hours VALUES ('North', ?, 0, NULL, now())", later)
    open_board(page, own_address)
    page.get_by_text(re.compile(r"over by \d")).first.wait_for()
    settle(page)

    # Paper and calendar are what the page shows.
    assert (
        UNIT in downloaded(page, page.get_by_role("button", name="Work list to print", exact=True)).decode()
    )
    events = icalendar.Calendar.from_ical(
        downloaded(page, page.get_by_role("button", name="Calendar file", exact=True))
    ).walk("VEVENT")
    assert any(UNIT in str(event["SUMMARY"]) for event in events)

    # The unit is sold: the page says that its booking makes no sense any more.
    change(own_ledger, "UPDATE vehicle SET retires_on = ? WHERE unit = ?", today - timedelta(days=1), UNIT)
    open_board(page, own_address)
    page.get_by_text(re.compile(f"Unit {UNIT} is booked for .*, but retires on")).wait_for()


def test_on_a_phone_the_jobs_stand_in_a_list(watch, own_address):
    page = watch(PHONE).page
    open_board(page, own_address)
    if page.get_by_text("No job is planned.").count():
        return
    page.get_by_text("On a screen this narrow").wait_for()
    assert not page.locator("table").first.is_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
