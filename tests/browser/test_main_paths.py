"""The main path of each of the three users, on a phone and at a desk, and one by keyboard alone."""

from __future__ import annotations

import re

import pytest

from ingest.ledger.connection import open_ledger
from tests.browser.browsing import DESKTOP, LEAN, PHONE, ask, go, served, settle
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv

pytestmark = pytest.mark.browser
at_both_widths = pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
UNITS = {PHONE["width"]: ("101", "105"), DESKTOP["width"]: ("104", "102")}  # the technician's, the planner's


@pytest.fixture(scope="module")
def own_ledger(tmp_path_factory):
    """A ledger of its own: these tests write."""
    return build_ledger(tmp_path_factory.mktemp("paths") / "fleet.duckdb", fitted=True)


@pytest.fixture(scope="module")
def own_address(own_ledger):
    with served(own_ledger, LEAN) as where:
        yield where


IN_SIGHT = """element => {
    const box = element.getBoundingClientRect();
    return box.top >= 0 && box.bottom <= window.innerHeight;
}"""


def enter(page, label: str, text: str) -> None:
    page.get_by_role("textbox", name=label, exact=True).fill(text)
    ask(page, lambda: page.keyboard.press("Enter"))


def press(page, name: str) -> None:
    ask(page, page.get_by_role("button", name=name).click)


@at_both_widths
def test_technician_uploads_answers_a_warning_and_saves(watch, own_address, own_ledger, tmp_path, size):
    upload = write_capture_csv(tmp_path / "stop.csv", small_capture(rpm=6000.0 + size["width"] / 10))
    page = watch(size).page
    page.goto(f"{own_address}/log-visit?unit={UNITS[size['width']][0]}")
    settle(page)
    press(page, "Read it, go on")
    # A phone stays where it was read to: the first box to fill is in sight.
    assert size is DESKTOP or page.get_by_text("Last visit").evaluate(IN_SIGHT)
    enter(page, "Odometer", "1000 mi")
    page.get_by_text("Idle", exact=True).click()
    settle(page)
    page.set_input_files("input[type=file]", str(upload))
    page.get_by_text("Next test.").wait_for()
    settle(page)
    enter(page, "Your initials", "AB")
    press(page, "Save the visit")
    page.get_by_text("Not stored yet").wait_for()
    settle(page)  # the boxes arrive after the sentence above them
    # A reload in the middle loses nothing that was typed.
    assert "odometer" not in page.url  # addresses hold keys and filters alone
    page.reload()
    settle(page)
    page.get_by_text("Choose stop.csv again").wait_for()
    page.set_input_files("input[type=file]", str(upload))
    page.get_by_text("Next test.").wait_for()
    settle(page)
    press(page, "Save the visit")
    page.get_by_text("Not stored yet").wait_for()
    settle(page)
    boxes = page.get_by_placeholder("if it is right: why")
    boxes.first.wait_for()
    for i in range(boxes.count()):
        boxes.nth(i).fill("new instrument cluster")
        page.keyboard.press("Enter")
        settle(page)
    press(page, "Save the visit")
    stored = page.get_by_text(re.compile(r"Stored as visit (\d+)"))
    stored.wait_for()
    visit = re.search(r"Stored as visit (\d+)", stored.inner_text())[1]
    with open_ledger(own_ledger) as connection:
        rows = connection.execute("SELECT technician FROM visit WHERE visit_id = ?", [visit]).fetchall()
    assert rows == [("AB",)]
    page.reload()
    page.get_by_text(f"Visit {visit} is stored.").wait_for()


@at_both_widths
def test_planner_finds_a_pump_opens_it_and_books_it(watch, own_address, own_ledger, size):
    unit = UNITS[size["width"]][1]
    with open_ledger(own_ledger) as connection:
        (pump,) = connection.execute("SELECT pump_id FROM pump WHERE unit = ?", [unit]).fetchone()
    page = watch(size).page
    page.goto(f"{own_address}/pumps-by-risk")
    settle(page)
    enter(page, "Find", unit)
    page.get_by_text(re.compile("Of 1 pump")).wait_for()
    go(page, f"pump?pump={pump}")
    page.get_by_text(f"unit {unit}").first.wait_for()
    go(page, f"plan-board?pump={pump}")
    entries = page.evaluate("[...document.querySelectorAll('input')].map(box => box.value)")
    assert any(f"unit {unit}" in text for text in entries)
    page.get_by_text("Pin to this day", exact=True).click()
    page.get_by_role("textbox", name="Reason").fill("noisy on every stop")
    page.get_by_role("textbox", name="Your initials").last.fill("PL")
    press(page, "Decide")
    page.get_by_text(re.compile(r"^\d+ (change|check)s?\b.* planned, ")).wait_for()
    with open_ledger(own_ledger) as connection:
        rows = connection.execute(
            "SELECT status, decided_by FROM booking WHERE pump_id = ?", [pump]
        ).fetchall()
    assert rows == [("pinned", "PL")]


@at_both_widths
def test_manager_sees_the_cost_move_with_a_price(watch, own_address, size):
    page = watch(size).page
    page.goto(f"{own_address}/costs")
    settle(page)
    page.get_by_role("tab", name="Policies").click()
    sentence = page.get_by_text(re.compile("^At these prices"))
    before = sentence.inner_text()
    slider = page.get_by_role("slider").nth(1)
    slider.focus()
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    page.wait_for_function("before => !document.body.innerText.includes(before)", arg=before)
    settle(page)
    assert sentence.inner_text() != before


def test_meter_visit_by_keyboard_alone(watch, own_address, own_ledger):
    page = watch().page
    page.goto(f"{own_address}/log-visit?unit=103")
    settle(page)

    def go_to(label: str) -> None:
        for _ in range(80):
            page.keyboard.press("Tab")
            focused = page.evaluate(
                "document.activeElement.getAttribute('aria-label') || document.activeElement.innerText || ''"
            )
            if focused.strip() == label:
                return
        raise AssertionError(f"the Tab key never reached {label!r}")

    go_to("Odometer")
    page.keyboard.type("88000 mi")
    go_to("Key-on prime")
    page.keyboard.press("ArrowRight")
    go_to("Capture file")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.get_by_role("textbox", name="Average on the meter, A").wait_for()
    settle(page)
    go_to("Average on the meter, A")
    page.keyboard.type("5.5")
    page.keyboard.press("Enter")
    settle(page)
    go_to("Your initials")
    page.keyboard.type("KB")
    page.keyboard.press("Enter")
    settle(page)
    go_to("Save the visit")
    page.keyboard.press("Enter")
    page.get_by_text(re.compile("Stored as visit")).wait_for()
    with open_ledger(own_ledger) as connection:
        rows = connection.execute("SELECT meter_a FROM visit WHERE technician = 'KB'").fetchall()
    assert rows == [(5.5,)]
