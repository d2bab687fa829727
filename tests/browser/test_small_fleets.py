"""Every page of a house that has only begun, or has ended, as a browser shows it; one depot, no prices."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from dashboard.shell.navigation import PAGES
from tests.browser.browsing import LEAN, go, served, settle
from tests.pages.test_small_fleets import FLEETS, load

WALKED = [
    "vehicles without a pump", "one pump, no visit",
    "two pumps, and a filter for a unit that has none", "three pumps", "all retired",
]  # fmt: skip
WRONG = ("Something went wrong", "Traceback", "None", "nan", "NaT", "1970", "undefined")  # of any page
NO_PUMP = "No pump is in service."
NOTHING_TO_DO = "nothing to do before the next visits"
FIRST_WORDS = {
    "today": {
        WALKED[0]: NO_PUMP, WALKED[1]: f"Of 1 pump: {NOTHING_TO_DO}",
        WALKED[2]: f"Of 2 pumps: {NOTHING_TO_DO}", WALKED[3]: f"Of 3 pumps: {NOTHING_TO_DO}",
        WALKED[4]: NO_PUMP,
    },
    "pumps_by_risk": {WALKED[0]: NO_PUMP, WALKED[3]: "Of 3 pumps", WALKED[4]: NO_PUMP},
    "pump_history": {
        WALKED[0]: "no pump or unit of this ledger is called that",
        WALKED[1]: "Nothing was captured of this pump yet.", WALKED[2]: "One reading only",
        WALKED[4]: "This pump was removed on 2026-03-01",
    },
    "plan_board": {
        WALKED[0]: "no pump is in service", WALKED[1]: "none pays", WALKED[4]: "no pump is in service",
    },
    "costs": {WALKED[1]: "No breakdown or planned change is recorded yet.", WALKED[4]: "2 planned changes"},
    "fleet_data": {
        WALKED[0]: "2 units, 0 pumps in service and no visit yet",
        WALKED[3]: "3 pumps in service and 9 visits",
    },
    "open_questions": dict.fromkeys(WALKED, "Nothing is in doubt."),
}  # fmt: skip


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    """A server, and what puts another fleet under it: its ledger takes the place of the last one's."""
    folder = tmp_path_factory.mktemp("houses")
    ledgers = {name: load(folder / str(number), FLEETS[name]) for number, name in enumerate(WALKED)}
    shown = folder / "fleet.duckdb"

    def move_in(name: str) -> None:
        copy = shutil.copy(ledgers[name], folder / "next.duckdb")
        Path(copy).replace(shown)

    move_in(WALKED[0])
    with served(shown, LEAN) as address:
        yield address, move_in


def test_pages_of_small_fleets(watch, house):
    address, move_in = house
    watched = watch()
    page = watched.page
    page.goto(address)
    settle(page)
    wrong, missing = [], []
    for name in WALKED:
        move_in(name)
        for view, entry in PAGES.items():
            go(page, f"{entry.address}?pump=1" if view == "pump_history" else entry.address)
            assert page.locator("h1").first.inner_text() == entry.title
            told = page.locator('[data-testid="stMain"]').inner_text()
            wrong += [(name, view, word) for word in WRONG if re.search(rf"\b{word}\b(?!\.)", told)]
            first = FIRST_WORDS.get(view, {}).get(name, "")
            missing += [] if first in told else [(name, view, first, told[:300])]
    assert wrong == []
    assert missing == []
    assert watched.complaints == []
