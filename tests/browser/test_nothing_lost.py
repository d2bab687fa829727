"""What a technician has typed outlasts a cut connection, a new server, a refused file and another page."""

from __future__ import annotations

import re

import pytest

from ingest.ledger.connection import open_ledger
from tests.browser.browsing import LEAN, PHONE, free_port, served, settle
from tests.browser.cut_line import line_to
from tests.browser.test_main_paths import enter, press
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("lost")


@pytest.fixture(scope="module")
def upload(folder):
    return write_capture_csv(folder / "stop.csv", small_capture())


@pytest.fixture(scope="module")
def ledger(folder):
    return build_ledger(folder / "fleet.duckdb")


@pytest.fixture(scope="module")
def port():
    return free_port()


@pytest.fixture(scope="module")
def address(ledger, port):
    with served(ledger, LEAN, port=port) as where:
        yield where


def box(page, label: str):
    return page.get_by_role("textbox", name=label, exact=True)


def fill_in(page, address: str, unit: str, upload) -> None:
    """Fill in a visit as far as the initials, and leave the fuel pressure typed but not entered."""
    page.goto(f"{address}/log-visit?unit={unit}")
    settle(page)
    enter(page, "Odometer", "141000 km")
    page.get_by_text("Idle", exact=True).click()
    settle(page)
    choose(page, upload)
    enter(page, "Your initials", "AB")
    page.get_by_text("Volts, pressure, fuel", exact=True).click()
    box(page, "Fuel pressure").fill("58 psi")


def choose(page, upload) -> None:
    page.set_input_files("input[type=file]", str(upload))
    page.get_by_text("Next test.").wait_for()
    settle(page)


def all_there(page) -> bool:
    typed = {"Odometer": "141000 km", "Your initials": "AB", "Fuel pressure": "58 psi"}
    return all(box(page, label).input_value() == text for label, text in typed.items())


def wait_until_back(page) -> None:
    page.wait_for_function("() => !document.querySelector('input[aria-label=Odometer]').disabled")
    settle(page)


def save(page) -> None:
    press(page, "Save the visit")
    page.get_by_text("Stored as visit").wait_for()


def stored(ledger, unit: str):
    with open_ledger(ledger) as connection:
        return connection.execute(
            "SELECT odometer_entered, round(fuel_pressure_kpa), technician, state FROM visit"
            " WHERE unit = ? AND technician = 'AB'",
            [unit],
        ).fetchall()


def test_a_cut_connection_loses_nothing_typed_nor_the_file(watch, address, ledger, upload):
    page = watch(PHONE).page
    with line_to(address) as line:
        fill_in(page, line.address, "102", upload)
        line.cut()
        page.wait_for_function("() => document.querySelector('input[aria-label=Odometer]').disabled")
        assert all_there(page)  # and nobody can type into a box that goes nowhere
        line.mend()
        wait_until_back(page)
        assert all_there(page)
        save(page)  # at once: the pressure was never entered, and comes in after the press
    assert stored(ledger, "102") == [(141_000.0, 400.0, "AB", "idle")]


def test_a_server_started_anew_asks_for_the_file_alone(watch, folder, upload):
    """The page stays open, so the session is new to the server: what it held of the file is gone."""
    ledger = build_ledger(folder / "anew.duckdb")
    port = free_port()
    page = watch(PHONE).page
    with served(ledger, LEAN, port=port) as address:
        fill_in(page, address, "103", upload)
    with served(ledger, LEAN, port=port):
        wait_until_back(page)
        press(page, "Save the visit")
        page.get_by_text(re.compile("Choose stop.csv again")).wait_for()
        assert all_there(page)
        choose(page, upload)
        assert page.get_by_text(re.compile("Choose stop.csv again")).count() == 0
        save(page)
    assert stored(ledger, "103") == [(141_000.0, 400.0, "AB", "idle")]


def test_a_good_file_after_a_refused_one_is_measured_in_the_same_form(watch, address, folder, upload):
    page = watch(PHONE).page
    refused = folder / "notes.csv"
    refused.write_text("hello\nworld\n")
    page.goto(f"{address}/log-visit?unit=104")
    settle(page)
    enter(page, "Odometer", "141000 km")
    page.set_input_files("input[type=file]", str(refused))
    page.get_by_text(re.compile("notes.csv: no rows of numbers")).wait_for()
    settle(page)
    choose(page, upload)
    assert page.get_by_text(re.compile("no rows of numbers")).count() == 0
    assert box(page, "Odometer").input_value() == "141000 km"
    # A file taken out by hand is not asked for again.
    page.get_by_role("button", name="Remove stop.csv").click()
    page.get_by_text("Next test.").wait_for(state="detached")
    settle(page)
    assert page.get_by_text(re.compile("Choose .* again")).count() == 0


def test_a_look_at_another_page_loses_nothing_typed(watch, address, upload):
    page = watch().page
    fill_in(page, address, "105", upload)
    page.keyboard.press("Enter")
    settle(page)
    page.get_by_test_id("stTopNavLink").filter(has_text="Today").click()
    page.locator("h1", has_text="Today").wait_for()
    settle(page)
    page.go_back()
    page.locator("h1", has_text="Log a visit").wait_for()
    page.get_by_text(re.compile("Choose stop.csv again")).wait_for()
    settle(page)
    for label, text in (("Odometer", "141000 km"), ("Fuel pressure", "58 psi")):
        assert box(page, label).input_value() == text
    assert "unit=105" in page.url
