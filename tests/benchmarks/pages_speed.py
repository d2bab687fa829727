"""How fast pages come up on many pumps, against a bare page of the same framework in the same run.

    python -m tests.benchmarks.pages_speed [PUMPS]

Builds a readings-only ledger (three visits a pump), serves it and a page that only says hello, and prints
first-paint times (navigation start to title shown and script at rest), filter times and bytes received.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from ingest.ledger import open_ledger
from tests.browser.browsing import DESKTOP, FLAGS, chromium, served, settle

ROUNDS = 5
HELLO = 'import streamlit as st\n\nst.title("Hello")\n'


def build(path: Path, pumps: int) -> None:
    """Write a ledger with `pumps` units, one pump and three visits each, in a few statements."""
    with open_ledger(path, read_only=False) as con:
        con.execute("BEGIN")
        con.execute(
            "INSERT INTO pump_type (pump_type, segments, current_low_a, current_high_a, recorded_at)"
            " SELECT 'T-' || i, 8, 4, 7, now() FROM range(4) t(i)"
        )
        con.execute(
            "INSERT INTO vehicle (unit, depot, class, pm_interval_km, pm_interval_days, recorded_at)"
            " SELECT printf('%06d', i), 'Depot ' || i % 20, 'van', 9000, 90, now() FROM range(?) t(i)",
            [pumps],
        )
        con.execute(
            "INSERT INTO pump (unit, pump_type, fitted_on, fitted_odometer_km, removed_on,"
            " removed_odometer_km, removal, recorded_at) SELECT printf('%06d', i), 'T-' || i % 4,"
            " DATE '2023-01-01', 0,"
            " CASE WHEN i % 40 = 0 THEN DATE '2025-12-01' END, CASE WHEN i % 40 = 0 THEN 130000 END,"
            " CASE WHEN i % 40 = 0 THEN 'failed' END, now() FROM range(?) t(i)",
            [pumps],
        )
        con.execute(
            "INSERT INTO visit (unit, pump_id, visited_on, odometer_km, odometer_unit, reason, state,"
            " supply_v, recorded_at) SELECT unit, pump_id, DATE '2025-01-01' + CAST(90 * k AS INTEGER),"
            " 90000 + 9000 * k,"
            " 'km', 'pm', 'idle', 13.5, now() FROM pump, range(3) t(k)"
        )
        con.execute(
            "INSERT INTO reading (visit_id, origin, method_version, mean_a, ripple_pct, rpm, recorded_at)"
            " SELECT visit_id, 'elsewhere', 1, 5.2 + 0.3 * sin(visit_id), 9 + sin(visit_id * 0.7),"
            " 6000 + 200 * cos(visit_id), now() FROM visit"
        )
        con.execute("COMMIT")


def first_paint(browser, address: str) -> tuple[float, int]:
    """Return seconds and bytes of one visit in a fresh browser profile whose framework code is cached."""
    context = browser.new_context(viewport=DESKTOP)
    page = context.new_page()
    received = 0

    def count(payload) -> None:
        nonlocal received
        received += len(payload)

    page.goto(address)  # the framework's own code
    settle(page)
    page.on("websocket", lambda socket: socket.on("framereceived", count))
    start = time.perf_counter()
    page.goto(address)
    settle(page)
    seconds = time.perf_counter() - start
    context.close()
    return seconds, received


def main(pumps: int) -> None:
    """Print the figures side by side."""
    with tempfile.TemporaryDirectory() as folder:
        ledger, hello = Path(folder) / "many.duckdb", Path(folder) / "hello.py"
        hello.write_text(HELLO)
        build(ledger, pumps)
        with (
            served(ledger) as ours,
            served(ledger, hello) as bare,
            sync_playwright() as playwright,
        ):
            browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
            start = time.perf_counter()
            page = browser.new_page()
            page.goto(f"{ours}/pumps-by-risk")
            settle(page, 600_000)
            print(f"{pumps:,} pumps; first ever ranking, with its fit: {time.perf_counter() - start:.1f} s")
            page.close()
            reference: list[float] = []
            results: dict[str, list[float]] = {"today": [], "pumps-by-risk": [], "log-visit": []}
            most_bytes = dict.fromkeys(results, 0)
            for _ in range(ROUNDS):  # taken in turn, so that load on the machine falls on all alike
                reference.append(first_paint(browser, bare)[0])
                for name in results:
                    seconds, received = first_paint(browser, f"{ours}/{'' if name == 'today' else name}")
                    results[name].append(seconds)
                    most_bytes[name] = max(most_bytes[name], received)
            base = statistics.median(reference)
            print(f"bare hello: {base:.2f} s")
            for name, seconds in results.items():
                median = statistics.median(seconds)
                print(f"{name}: {median:.2f} s, {median / base:.2f} x bare, {most_bytes[name] / 1e6:.2f} MB")
            page = browser.new_page()
            page.goto(f"{ours}/pumps-by-risk")
            settle(page)
            box = page.get_by_role("textbox", name="Unit", exact=True)
            for text in ("0123", "00099", "777"):
                start = time.perf_counter()
                box.fill(text)
                page.keyboard.press("Enter")
                page.wait_for_timeout(30)
                settle(page)
                print(f"filter by unit {text}: {time.perf_counter() - start:.2f} s")
            browser.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
