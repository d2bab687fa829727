"""Every page in a real browser: nothing from outside, no console error, small, readable, fit for a phone."""

from __future__ import annotations

from urllib.parse import quote

import pytest

from dashboard.navigation import PAGES
from tests.browser.browsing import DESKTOP, PHONE, settle

pytestmark = pytest.mark.browser

MOST_BYTES = 5_000_000


def address_of(view: str) -> str:
    return PAGES[view].address + ("?pump=1" if view == "pump_history" else "")


# What opens under a page's own tabs, each at an address of its own.
PARTS = {
    "pump?pump=1&history_part": ("What is expected", "Waveforms", "Visits"),
    "costs?costs_part": ("Policies", "Best age", "Types and lots", "Lists and outcomes"),
    "fleet-data?part": (
        "Pump types", "Where to clamp", "Work done", "Prices", "Settings", "Changes", "Bring in a folder"
    ),
}  # fmt: skip


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_pages_are_complete_quiet_and_small(watch, address, size):
    watched = watch(size)
    for view, entry in PAGES.items():
        watched.bytes_received = 0
        watched.page.goto(f"{address}/{address_of(view)}")
        settle(watched.page)
        assert watched.page.locator("h1").first.inner_text() == entry.title
        assert watched.page.locator('[data-testid="stException"]').count() == 0
        assert watched.bytes_received < MOST_BYTES, view
        overflow = watched.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert overflow <= 0, f"{view} is wider than the screen"
    assert watched.outside == []
    assert watched.complaints == []


# Rules that only the framework's own markup breaks; docs/pages.md says where.
FRAMEWORKS_OWN: set[str] = set()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_accessibility_finding(watch, address, scheme):
    axe_playwright = pytest.importorskip("axe_playwright_python.sync_playwright")
    watched = watch(DESKTOP, scheme)
    found = {}
    places = [address_of(view) for view in PAGES]
    if scheme == "light":  # the colours of the parts are those of the pages
        places += [f"{start}={quote(part)}" for start, parts in PARTS.items() for part in parts]
    for view in places:
        watched.page.goto(f"{address}/{view}")
        settle(watched.page)
        result = axe_playwright.Axe().run(watched.page).response
        for violation in result["violations"]:
            if violation["impact"] in ("serious", "critical") and violation["id"] not in FRAMEWORKS_OWN:
                nodes = [node["html"][:160] for node in violation["nodes"][:3]]
                found.setdefault(violation["id"], []).append((view, nodes))
    assert found == {}


def test_reduced_to_grey_the_risk_list_still_says_everything(watch, address):
    """Actions carry a shape and words, so nothing rests on colour."""
    watched = watch()
    watched.page.goto(f"{address}/pumps-by-risk")
    settle(watched.page)
    text = watched.page.locator('[data-testid="stMain"]').inner_text()
    assert any(shape in text for shape in "■▲◆↻")
