"""Taps, scroll and seconds of the main path of each of the three users, on a copy of a ledger.

python -m tests.benchmarks.page_paths demo/pumpledger.duckdb [FOLDER for pictures]

A tap is one touch; a file picked counts two, the button and the file. Scroll is how far the page has to move
until what is touched or read next lies on the screen, in screens of the device. Typing counts 3 characters a
second; the rest is the page's own time on this machine. The technician's path is a later visit of the day:
clamp, state and initials stand there from the one before. The planner opens the list, reads why the first
pump is there and books it; the manager opens the costs and reads what policies would cost. What the program
works out once for each state of the ledger is there before.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pandas as pd
from playwright.sync_api import sync_playwright

from dashboard.data import queries
from ingest.ledger.backup import backup
from ingest.units import KM_PER_MILE
from tests.browser.browsing import DESKTOP, FLAGS, PHONE, chromium, served, settle
from tests.ledger_fixture import small_capture, write_capture_csv

CHARACTERS_A_SECOND = 3
NEEDED_PX = """element => {
    const box = element.getBoundingClientRect(), high = window.innerHeight;
    if (box.top >= 0 && box.bottom <= high) return 0;
    const wanted = box.top < 0 ? box.top : Math.min(box.bottom - high, box.top);
    return Math.abs(wanted);
}"""


class Path_:
    """One person at one page: what they touched, typed and scrolled, and how long the page took."""

    def __init__(self, page):
        self.page = page
        self.taps = self.typed = 0
        self.screens = self.seconds = 0.0

    def see(self, locator):
        """Bring something onto the screen, as a person does who looks for it."""
        locator.wait_for()
        self.screens += locator.evaluate(NEEDED_PX) / self.page.viewport_size["height"]
        locator.scroll_into_view_if_needed()
        return locator

    def tap(self, locator) -> None:
        self.see(locator).click()
        self.taps += 1

    def type(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.typed += len(text)

    @contextmanager
    def timed(self) -> Iterator[None]:
        began = time.perf_counter()
        yield
        self.seconds += time.perf_counter() - began

    def line(self, name: str) -> str:
        seconds = self.seconds + self.typed / CHARACTERS_A_SECOND
        counted = f"{self.taps:2} taps, {self.typed:2} typed, {self.screens:.1f} screens"
        return f"{name:12} {counted}, {seconds:.1f} s"


def box(page, label: str):
    return page.get_by_role("textbox", name=label, exact=True)


def log(path: Path_, unit: str, odometer: str, upload: Path, *, first: bool) -> None:
    """Log one visit from the empty page to what was stored."""
    page = path.page
    path.tap(page.get_by_role("combobox", name="Unit"))
    path.type(unit)
    page.keyboard.press("Enter")
    settle(page)
    path.tap(box(page, "Odometer"))
    path.type(odometer)
    if first:
        path.tap(page.get_by_text("Idle", exact=True))
    settle(page)
    path.see(page.get_by_test_id("stFileUploader"))
    path.taps += 2
    with path.timed():
        page.set_input_files("input[type=file]", str(upload))
        answer = page.get_by_text("Next test.")
        answer.wait_for()
        settle(page)
    path.see(answer)
    if first:
        path.tap(box(page, "Your initials"))
        path.type("AB")
    with path.timed():
        path.tap(page.get_by_role("button", name="Save the visit"))
        page.get_by_text("Stored as visit").wait_for()
    settle(page)


def technician(page, address: str, units: list[tuple[str, str]], uploads: list[Path], shots: Path | None):
    page.goto(f"{address}/log-visit")
    settle(page)
    page.get_by_role("button", name="Read it, go on").click()
    settle(page)
    log(Path_(page), *units[0], uploads[0], first=True)
    page.get_by_role("button", name="Log the next visit").click()
    settle(page)
    path = Path_(page)
    log(path, *units[1], uploads[1], first=False)
    with path.timed(), page.expect_download() as sheet:
        page.get_by_role("button", name="Visit sheet to print").click()
    if shots:
        sheet.value.save_as(shots / "visit_sheet.html")
    return path


def planner(page, address: str, shots: Path | None):
    path = Path_(page)
    page.goto(f"{address}/pumps-by-risk")
    with path.timed():
        settle(page)
    table = path.see(page.get_by_test_id("stDataFrame").first)
    grid = table.bounding_box()
    with path.timed():
        page.mouse.click(grid["x"] + 16, grid["y"] + 52)
        path.taps += 1
        page.get_by_text("What to do").first.wait_for()
    path.see(page.get_by_text("What to do").first)
    with path.timed():
        path.tap(page.get_by_text("Book, pin or reject"))
        path.tap(box(page, "Your initials"))
        path.type("AB")
        path.tap(page.get_by_role("button", name="Decide", exact=True))
        page.get_by_text("1 pump decided").wait_for()
    if shots:
        page.screenshot(path=str(shots / "planner.png"))
    return path


def manager(page, address: str, shots: Path | None):
    path = Path_(page)
    with path.timed():
        page.goto(f"{address}/costs")
        settle(page)
        path.tap(page.get_by_role("tab", name="Policies"))
        path.see(page.get_by_text("At these prices").first)
    if shots:
        page.screenshot(path=str(shots / "manager.png"))
    return path


def main(ledger: Path, shots: Path | None = None) -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        copy = Path(folder) / "copy.duckdb"
        backup(ledger, copy)
        rows = queries.ask(
            copy, "units_list", rows=40, skip=0, depots=(), types=(), classes=(), find="", order="unit"
        )
        lately = rows["last_visited_on"] > rows["last_visited_on"].max() - pd.Timedelta(days=20)
        units, uploads = [], []
        for k, row in enumerate(rows[lately].head(2).to_dict("records")):
            pump = queries.ask(copy, "unit_card", unit=row["unit"])["pump_id"].iloc[0]
            last = queries.ask(copy, "visits_of_pump", pump_id=int(pump)).dropna(subset=["mean_a"]).iloc[-1]
            units.append((str(row["unit"]), f"{row['last_odometer_km'] / KM_PER_MILE + 900:.0f}"))
            like_it = small_capture(rpm=float(last["rpm"]) + k, mean_a=float(last["mean_a"]), seconds=1.0)
            uploads.append(write_capture_csv(Path(folder) / f"stop{k}.csv", like_it))
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        with served(copy) as address:
            page = browser.new_page(viewport=DESKTOP)
            for view in ("pumps-by-risk", "costs"):  # what takes long is worked out once, before
                page.goto(f"{address}/{view}")
                settle(page)
            page.close()
            for name, size, walk in (
                ("technician", PHONE, lambda p: technician(p, address, units, uploads, shots)),
                ("planner", DESKTOP, lambda p: planner(p, address, shots)),
                ("manager", DESKTOP, lambda p: manager(p, address, shots)),
            ):
                page = browser.new_page(viewport=size, has_touch=size is PHONE)
                page.set_default_timeout(60_000)
                print(walk(page).line(name), flush=True)
                page.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None)
