"""Every page in a real browser: nothing from outside, no console error, small, readable, fit for a phone."""

from __future__ import annotations

from urllib.parse import quote

import pytest

from dashboard.shell.navigation import PAGES
from dashboard.words.formats import ACTION_SHAPES, ACTION_WORDS
from tests.browser.browsing import DESKTOP, PHONE, go, settle

pytestmark = pytest.mark.browser

MOST_BYTES = 5_000_000
THUMB_PX = 48


def address_of(view: str) -> str:
    return PAGES[view].address + ("?pump=1" if view == "pump_history" else "")


# What opens under a page's own tabs, each at an address of its own.
PARTS = {
    "pump?pump=1&history_part": ("What is expected", "Waveforms", "Visits"),
    "costs?costs_part": (
        "Spent", "Policies", "How often to capture", "Budget", "Best age", "Types and lots",
        "Lists and outcomes",
    ),
    "fleet-data?part": (
        "Pump types", "Where to clamp", "Clamps", "Work done", "Prices", "Settings", "Changes",
        "Bring in a folder",
    ),
}  # fmt: skip

# Rules that only the framework's own markup breaks; docs/pages.md says where.
FRAMEWORKS_OWN: set[str] = set()

# Elements that reach beyond the screen, other than inside what scrolls by itself.
TOO_WIDE = """() => {
    const width = document.documentElement.clientWidth;
    const scrolls = element => {
        for (let at = element.parentElement; at; at = at.parentElement)
            if (getComputedStyle(at).overflowX !== 'visible' && at.getBoundingClientRect().right <= width + 1)
                return true;
        return false;
    };
    return [...document.querySelectorAll('[data-testid="stMain"] *')]
        .filter(e => e.getBoundingClientRect().right > width + 1 && !scrolls(e))
        .map(e => e.tagName + ' ' + e.className + ' ' + Math.round(e.getBoundingClientRect().right));
}"""

# Tools that appear over a table or chart, where they lie over what stands around it.
OUTSIDE_THEIR_OWN = """() => [...document.querySelectorAll('.stElementToolbar')].filter(tools => {
    const box = tools.getBoundingClientRect(), own = tools.parentElement.getBoundingClientRect();
    const fits = own.height >= box.height;
    return box.height > 0 && (box.top < own.top - 1 || fits && box.bottom > own.bottom + 1);
}).length"""

# What is touched and is lower than a thumb; a button within a box counts as the box.
TOO_LOW = """least => {
    const frames = ['[data-testid=stTextInputRootElement]', '[data-testid=stNumberInputContainer]',
        '[data-testid=stDateInputField]', '[data-testid=stExpandSidebarButton]',
        '.stSelectbox [role=group]', '.stMultiSelect [role=group]'];
    const touched = 'button, summary, [role=tab], [role=radio], [data-testid=stRadioOption], '
        + '[data-testid=stPageLink-NavLink], ' + frames.join(', ');
    const inFrame = e => frames.some(f => !e.matches(f) && e.closest(f));
    return [...document.querySelectorAll(touched)].filter(e => {
        const box = e.getBoundingClientRect();
        return box.height > 1 && box.right > 0 && getComputedStyle(e).visibility !== 'hidden'
            && !inFrame(e) && box.height < least - 0.5;
    }).map(e => `${e.tagName} ${e.getAttribute('data-testid') || ''} ${(e.innerText || '').slice(0, 30)} `
        + Math.round(e.getBoundingClientRect().height));
}"""


@pytest.fixture(scope="module")
def axe():
    return pytest.importorskip("axe_playwright_python.sync_playwright").Axe()


def faults(watched, axe, rules: dict | None = None) -> list[str]:
    """What is wrong with the page as it stands; rules: axe's options, where not all of them are tried."""
    page = watched.page
    found = [f"wider than the screen: {what}" for what in page.evaluate(TOO_WIDE)[:3]]
    if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
        found.append("the page scrolls sideways")
    if outside := page.evaluate(OUTSIDE_THEIR_OWN):
        found.append(f"{outside} tables or charts have their tools over what stands around them")
    if page.locator('[data-testid="stException"]').count():
        found.append("an exception is shown")
    if page.viewport_size["width"] == PHONE["width"]:
        found += [f"lower than a thumb: {what}" for what in page.evaluate(TOO_LOW, THUMB_PX)]
    # All that it finds no fault with would be up to three megabytes, written and read.
    violations = axe.run(page, options={"resultTypes": ["violations"]} | (rules or {})).response["violations"]
    for violation in violations:  # contrast among them
        if violation["impact"] in ("serious", "critical") and violation["id"] not in FRAMEWORKS_OWN:
            found.append(f"{violation['id']}: {violation['nodes'][0]['html'][:160]}")
    return found


COLOURS = {"runOnly": ["color-contrast"]}
GROUND = """getComputedStyle(document.querySelector('[data-testid="stApp"]')).backgroundColor"""


def turn(page) -> None:
    """Let night fall on an open page, or day break."""
    before = page.evaluate(GROUND)
    night = page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    page.emulate_media(color_scheme="light" if night else "dark")
    page.wait_for_function(f"before => {GROUND} !== before", arg=before)
    settle(page)


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_pages_are_complete_quiet_small_and_readable(watch, address, axe, size):
    """By day and by night: every other page opens by night; each is turned once, which changes colours."""
    watched = watch(size)
    found = {}
    for view, entry in PAGES.items():
        watched.bytes_received = 0
        if size is PHONE and found:  # at the desk each is loaded at its own address
            go(watched.page, address_of(view))
        else:
            watched.page.goto(f"{address}/{address_of(view)}")
            settle(watched.page)
        watched.page.locator("h1", has_text=entry.title).first.wait_for()
        assert watched.page.locator("h1").first.inner_text() == entry.title
        assert watched.bytes_received < MOST_BYTES, view
        found[view] = faults(watched, axe)
        turn(watched.page)
        found[view] += faults(watched, axe, COLOURS)
    assert found == {view: [] for view in PAGES}
    assert watched.outside == []
    assert watched.complaints == []


def test_parts_of_pages_are_readable_and_fit_a_phone(watch, address, axe):
    watched = watch(PHONE)
    found = {}
    watched.page.goto(address)
    settle(watched.page)
    for start, parts in PARTS.items():
        for part in parts:
            go(watched.page, f"{start}={quote(part)}")
            assert watched.page.get_by_role("tab", selected=True).first.inner_text() == part
            found[part] = faults(watched, axe)
    assert found == {part: [] for parts in PARTS.values() for part in parts}
    assert watched.complaints == []


@pytest.fixture(scope="module")
def loaded(browser, address):
    """A page at the desk, loaded once for tests that go to an address of their own."""
    with browser.new_context(viewport=DESKTOP) as context:
        context.set_default_timeout(120_000)
        page = context.new_page()
        page.goto(address)
        settle(page)
        yield page


@pytest.fixture
def page(loaded):
    yield loaded
    loaded.emulate_media(media="screen")


def test_reduced_to_grey_the_risk_list_still_says_everything(page):
    """Actions carry a shape and words, so nothing rests on colour."""
    go(page, "pumps-by-risk")
    text = page.locator('[data-testid="stMain"]').inner_text()
    assert any(f"{shape} {ACTION_WORDS[action]}" in text for action, shape in ACTION_SHAPES.items())


def test_on_paper_a_list_is_a_table_of_its_rows_and_on_the_screen_there_is_none(page):
    go(page, "fleet-data?part=Pump+types")
    assert page.locator(".on-paper").count() == 1
    assert page.locator(".on-paper td").count() == 0
    page.emulate_media(media="print")
    page.locator(".on-paper td", has_text="FP\N{NON-BREAKING HYPHEN}10").first.wait_for()
    assert page.locator('[data-testid="stDataFrame"]').first.is_hidden()
    # A fold that is shut and holds boxes to fill leaves no label over nothing; no more do tabs left shut.
    assert page.get_by_text("Change a pump type, or add one").is_hidden()
    assert page.get_by_role("tab", name="Prices").is_hidden()
    page.emulate_media(media="screen")
    page.locator(".on-paper td").first.wait_for(state="detached")
    assert page.get_by_text("Change a pump type, or add one").is_visible()


def test_on_paper_a_fold_that_is_shut_is_read_whole(page):
    go(page, "")
    shut = page.locator("details:not([open])", has_text="risk").first
    inner = shut.get_by_test_id("stCaptionContainer").first
    assert inner.is_hidden()
    page.emulate_media(media="print")
    assert inner.is_visible()
    assert shut.bounding_box()["height"] > shut.locator("summary").bounding_box()["height"]
