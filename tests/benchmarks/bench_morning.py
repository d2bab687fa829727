"""A technician's morning at the bench: ten captures from a folder to ten stored visits, in the browser; and
the tray's page with as many files as asked for.

python -m tests.benchmarks.bench_morning [FILES IN THE TRAY] [FOLDER for pictures]

Counted: taps, keys, and the page's own seconds; typing counts 3 characters a second and each tap one. The
files are named by unit, as a scope is told to; each visit gets the odometer that the technician reads.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

from ingest.ledger.connection import open_ledger
from ingest.units import KM_PER_MILE
from tests.benchmarks.page_paths import CHARACTERS_A_SECOND, Path_, box
from tests.browser.browsing import DESKTOP, FLAGS, PHONE, ask, chromium, served, settle
from tests.ledger_fixture import LAST_VISIT, build_ledger, small_capture, write_capture_csv

VISITS = 10
TAP_S = 1.0
WAIT_MS = 120_000  # on a busy machine
FIRST_ODOMETER_PX = (190, 52)  # from the table's corner


def morning(folder: Path, units: list[str]) -> None:
    """Write a capture of each unit, named by it."""
    folder.mkdir()
    rng = np.random.default_rng(3)
    for unit in units:
        capture = small_capture(rpm=5900 + rng.uniform(0, 200), mean_a=5.1 + rng.uniform(0, 0.2))
        write_capture_csv(folder / f"{unit}.csv", capture)


def fleet(ledger: Path, units: int) -> list[tuple[str, str]]:
    """Return units with a pump, the fixture's and more, and the odometer that each shows now."""
    with open_ledger(ledger, read_only=False) as connection:
        known = connection.execute(
            "SELECT p.unit, max(v.odometer_km) FROM pump p LEFT JOIN visit v USING (pump_id)"
            " WHERE p.removed_on IS NULL GROUP BY 1 ORDER BY 1"
        ).fetchall()
        for n in range(units - len(known)):
            unit = f"9{n:02d}"
            connection.execute("INSERT INTO vehicle (unit, recorded_at) VALUES (?, now())", [unit])
            connection.execute(
                "INSERT INTO pump (pump_id, unit, position, pump_type, fitted_on, recorded_at) SELECT"
                " max(pump_id) + 1, ?, 'main', 'FP-10', ?, now() FROM pump",
                [unit, LAST_VISIT],
            )
            known.append((unit, None))
    return [(unit, f"{((km or 60_000) + 4_000) / KM_PER_MILE:.0f}") for unit, km in known[:units]]


def fill_tray(ledger: Path, files: int) -> None:
    """Put so many files into the tray, as taking them in does (which tray_files.py measures)."""
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute(
            "INSERT INTO tray (tray_id, status, file_name, file_hash, unit, matched_by, reason, captured_on,"
            " mean_a, rpm, picture, taken_by, recorded_at) SELECT n, 'waiting', 'scope' || n || '.csv',"
            " 'hash' || n, CASE WHEN n % 2 = 0 THEN '101' END, CASE WHEN n % 2 = 0 THEN 'name' END,"
            " CASE WHEN n % 2 = 1 THEN 'Neither its name nor a sidecar tells the unit.' END, current_date,"
            " 5 + random(), 6000, list_transform(range(48), lambda i: 5 + random()), 'bench', now()"
            " FROM range(1, ? + 1) r(n)",
            [files],
        )


def store_morning(page, folder: Path, odometers: dict[str, str], shots: Path | None, name: str) -> Path_:
    """Take a folder in and store its files as visits, each with its odometer."""
    path = Path_(page)
    path.tap(page.get_by_text("Take captures from a folder"))
    settle(page)
    path.tap(box(page, "Folder on this machine"))
    path.type(str(folder))
    path.tap(box(page, "Your initials").first)
    path.type("AB")
    with path.timed():
        ask(page, lambda: path.tap(page.get_by_role("button", name="Take them in")))
        page.get_by_text("looked at:").wait_for()
        settle(page)
    grid = page.get_by_test_id("stDataFrame").first
    path.see(grid)
    if shots:
        page.screenshot(path=shots / f"tray_{name}.png", full_page=True)
    order = grid.locator('[role=gridcell][aria-colindex="2"]')
    units = [order.nth(i).inner_text() for i in range(order.count())]
    shown = grid.bounding_box()
    page.mouse.click(shown["x"] + FIRST_ODOMETER_PX[0], shown["y"] + FIRST_ODOMETER_PX[1])
    page.wait_for_timeout(500)
    path.taps += 1
    for unit in [u for u in units if u in odometers]:
        page.keyboard.type(odometers[unit], delay=120)
        page.wait_for_timeout(300)
        page.keyboard.press("Enter")
        page.wait_for_timeout(500)
        path.typed += len(odometers[unit]) + 1
    settle(page)
    path.tap(box(page, "Your initials").last)
    path.type("AB")
    page.keyboard.press("Tab")
    settle(page)
    if shots:
        page.screenshot(path=shots / f"tray_typed_{name}.png", full_page=True)
    with path.timed():
        path.tap(page.get_by_role("button", name="ticked"))
        page.get_by_text("stored.").wait_for()
        settle(page)
    return path


def main(files: int, shots: Path | None) -> None:
    """Print what ten visits and a full tray take at two widths."""
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as play:
        root = Path(scratch)
        browser = play.chromium.launch(executable_path=chromium(), args=FLAGS)
        for name, size in (("1280", DESKTOP), ("390", PHONE)):
            ledger = build_ledger(root / f"fleet_{name}.duckdb")
            units = fleet(ledger, VISITS)
            morning(root / f"m{name}", [unit for unit, _ in units])
            with served(ledger) as address:
                page = browser.new_page(viewport=size)
                page.set_default_timeout(WAIT_MS)
                page.goto(f"{address}/tray")
                settle(page)
                path = store_morning(page, root / f"m{name}", dict(units), shots, name)
                with open_ledger(ledger) as connection:
                    [(stored,)] = connection.execute(
                        "SELECT count(*) FROM tray JOIN visit USING (visit_id) WHERE odometer_km IS NOT NULL"
                    ).fetchall()
                whole = path.seconds + path.typed / CHARACTERS_A_SECOND + TAP_S * path.taps
                print(f"{name} px: {stored} visits with odometer, {path.line('')}, {whole:.0f} s with taps")
                page.close()
        if files:
            ledger = build_ledger(root / "many.duckdb")
            fill_tray(ledger, files)
            with served(ledger) as address:
                for name, size in (("1280", DESKTOP), ("390", PHONE)):
                    page = browser.new_page(viewport=size)
                    page.set_default_timeout(WAIT_MS)
                    times = []
                    for _ in range(3):
                        began = time.perf_counter()
                        page.goto(f"{address}/tray")
                        page.get_by_test_id("stDataFrame").first.wait_for()
                        settle(page)
                        times.append(time.perf_counter() - began)
                    wide = page.evaluate("document.documentElement.scrollWidth")
                    print(
                        f"{name} px: tray of {files} files whole in {sorted(times)[1]:.2f} s, {wide} px wide"
                    )
                    if shots:
                        page.screenshot(path=shots / f"tray_{files}_{name}.png", full_page=True)
        browser.close()


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 0,
        Path(sys.argv[2]) if len(sys.argv) > 2 else None,
    )
