"""A file that ends the library that reads it is one sentence on one page; every other page lives on."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.browser.browsing import DESKTOP, LEAN, PHONE, served, settle
from tests.browser.test_main_paths import enter
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv

SHARED = Path(os.environ.get("PUMPLEDGER_SHARED", Path(__file__).parents[2] / "../shared"))
HOSTILE = SHARED / "captures/hostile_footer_ends_the_reader.parquet"
SENTENCE = f"{HOSTILE.name}: the file is damaged so that reading it breaks off; export or copy it again."
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not HOSTILE.exists(), reason="the shared captures are not here"),
]


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A server of its own: whatever happens to it happens to no other test."""
    with served(build_ledger(tmp_path_factory.mktemp("hostile") / "fleet.duckdb"), LEAN) as where:
        yield where


def opened(watch, address, size, unit):
    watched = watch(size)
    watched.page.goto(f"{address}/log-visit?unit={unit}")
    settle(watched.page)
    return watched


def test_the_page_says_it_and_the_server_and_other_sessions_live_on(watch, address, tmp_path):
    other = opened(watch, address, PHONE, "105").page
    enter(other, "Odometer", "141000 km")
    mine = opened(watch, address, DESKTOP, "101")
    page = mine.page
    enter(page, "Odometer", "151000 km")
    for _ in range(2):
        page.set_input_files("input[type=file]", str(HOSTILE))
        page.get_by_text(SENTENCE).wait_for()
        settle(page)
    # this page goes on with a sound file, and has kept what was typed
    page.set_input_files("input[type=file]", str(write_capture_csv(tmp_path / "stop.csv", small_capture())))
    page.get_by_text("Next test.").wait_for()
    settle(page)
    assert page.get_by_text(SENTENCE).count() == 0
    assert page.get_by_role("textbox", name="Odometer", exact=True).input_value() == "151000 km"
    # the other session was never cut off: same connection, same entries, and it answers
    assert other.get_by_role("textbox", name="Odometer", exact=True).input_value() == "141000 km"
    enter(other, "Odometer", "142000 km")
    other.set_input_files(
        "input[type=file]", str(write_capture_csv(tmp_path / "b.csv", small_capture(rpm=6100)))
    )
    other.get_by_text("Next test.").wait_for()
    assert mine.complaints == []
