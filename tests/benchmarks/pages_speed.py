"""How fast pages come up on many pumps, against a bare page of the same framework in the same run.

    python -m tests.benchmarks.pages_speed [PUMPS] [LEDGER]

Builds a ledger of readings (pages_ledger.sql; LEDGER keeps it for the next run), serves it and a page that
only says hello, and prints for every page, in turns with the bare one:

- first paint: from the start of navigation to the first frame in which the page's heading and its first
  answer (its sentence or box) are visible, by the browser's own clock; for the bare page, its heading;
- drawn: until its first table, figure or form is visible too;
- whole: until the page's script is at rest too;
- bytes received, the framework's own code (kept by the browser) left out;

then the time from a click on each filter to the end of the redraw. Long answers are worked out before,
and how long a person waits for each the very first time is printed first. Run it on a quiet machine; the load
of the machine is printed.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playwright.sync_api import TimeoutError, sync_playwright

from ingest.ledger.connection import open_ledger
from tests.browser.browsing import DESKTOP, FLAGS, chromium, served, settle

ROUNDS = 5
HELLO = 'import streamlit as st\n\nst.title("Hello")\n'
# Address -> what must be visible beside the heading: the first answer, and the first table, figure or form.
PAGES = {
    "": ("text=/Of [\\d,]+ pumps/", '[data-testid="stPageLink"]'),
    "log-visit": ("text=/Before you connect anything/", '[data-testid="stTextInput"]'),
    "pumps-by-risk": ("text=/Of [\\d,]+ pumps/", '[data-testid="stDataFrame"] canvas'),
    "pump?pump=12": ("text=/chance of failing/", '[data-testid="stMetric"]'),
    "plan-board": ("text=/ planned|Nothing is planned/", '[data-testid="stDataFrame"] canvas'),
    "costs": ("text=/Twelve months to|No breakdown/", '[data-testid="stMetric"]'),
    "forecast-record": ("text=/Forecast record/", "text=/background|In short/"),
    "fleet-data": ("text=/[\\d,]+ units/", '[data-testid="stDataFrame"] canvas'),
    "open-questions": ("text=/[\\d,]+ questions? open/", '[data-testid="stForm"]'),
}
PAINTED = """selector => {
    const seen = e => e && e.getClientRects().length > 0;
    if (!seen(document.querySelector('h1'))) return null;
    if (selector === null) return performance.now();
    const main = document.querySelector('[data-testid="stMain"]');
    const there = selector.startsWith('text=')
        ? new RegExp(selector.slice(6, -1)).test(main.innerText) : seen(main.querySelector(selector));
    return there ? performance.now() : null;
}"""
AT_REST = """() => document.querySelector('[data-testid="stApp"]').getAttribute('data-test-script-state')
    === 'notRunning' ? performance.now() : null"""
# Notes when the last click or Enter was, and when the script then came to rest.
WATCH = """() => {
    const app = document.querySelector('[data-testid="stApp"]');
    window.acted = 0; window.ran = false; window.rested = 0;
    const act = () => { window.acted = performance.now(); window.ran = false; window.rested = 0; };
    document.addEventListener('click', act, true);
    document.addEventListener('keydown', e => { if (e.key === 'Enter') act(); }, true);
    new MutationObserver(() => {
        const state = app.getAttribute('data-test-script-state');
        if (state === 'running') window.ran = true;
        if (state === 'notRunning' && window.ran) window.rested = performance.now();
    }).observe(app, {attributes: true, attributeFilter: ['data-test-script-state']});
}"""


def build(path: Path, pumps: int) -> None:
    """Write a ledger with `pumps` units, one pump and three visits each."""
    statements = Path(__file__).with_name("pages_ledger.sql").read_text(encoding="utf-8").split(";\n")
    values = {"pumps": pumps, "visits": 3}
    with open_ledger(path, read_only=False) as connection:
        connection.execute("BEGIN")
        for statement in filter(str.strip, statements):
            named = {k: v for k, v in values.items() if f"${k}" in statement}
            connection.execute(statement, named or None)
        connection.execute("COMMIT")


@dataclass
class Times:
    """Of one page, in seconds, and the most bytes it received."""

    paint: list[float]
    drawn: list[float]
    whole: list[float]
    received: int = 0


def open_page(
    browser: Any, address: str, answer: str | None, figure: str | None
) -> tuple[float, float, float, int]:
    """Return first paint, drawn, whole and bytes of a visit by a browser that has the framework's code."""
    context = browser.new_context(viewport=DESKTOP)
    page = context.new_page()
    page.set_default_timeout(120_000)
    page.goto(address)
    settle(page)
    received = 0

    def count(number: int) -> None:
        nonlocal received
        received += number

    def response(answer: Any) -> None:
        if "/static/" not in answer.url:
            count(int(answer.headers.get("content-length", 0)))

    page.on("websocket", lambda socket: socket.on("framereceived", lambda payload: count(len(payload))))
    page.on("response", response)
    page.goto(address, wait_until="commit")
    paint = page.wait_for_function(PAINTED, arg=answer).json_value()
    drawn = page.wait_for_function(PAINTED, arg=figure).json_value()
    whole = page.wait_for_function(AT_REST).json_value()
    settle(page)
    context.close()
    return paint / 1000, drawn / 1000, max(whole, drawn) / 1000, received


def filters(page: Any, address: str) -> None:
    """Print the time each filter takes, from the click to the end of the redraw."""

    def timed(what: str, act: Any, turns: int = 3) -> None:
        seconds = []
        for turn in range(turns):
            settle(page)
            page.wait_for_timeout(300)
            act(turn)
            page.wait_for_function("() => window.rested > 0")
            page.wait_for_timeout(300)  # a second redraw, if there is one, counts
            seconds.append(page.evaluate("() => (window.rested - window.acted) / 1000"))
        print(
            f"  {what}: {statistics.median(seconds):.2f} s (of {turns}; worst {max(seconds):.2f})", flush=True
        )

    def go(where: str) -> None:
        page.goto(f"{address}/{where}")
        settle(page, 600_000)
        page.evaluate(WATCH)

    def choose(label: str) -> Any:
        def act(turn: int) -> None:  # each time one value more: a chosen one is no longer offered
            page.keyboard.press("Escape")  # the list stays open after a choice, and a click would shut it
            page.get_by_role("combobox", name=label).first.click()
            page.get_by_role("option").filter(has_not_text="Select all").first.click()

        return act

    def write(label: str, *texts: str) -> Any:
        def act(turn: int) -> None:
            box = page.get_by_role("textbox", name=label, exact=True)
            box.fill(texts[turn])
            box.press("Enter")

        return act

    print("Filters, from the click to the end of the redraw:")
    go("pumps-by-risk")
    timed("pumps by risk, find", write("Find", "0123", "00099", ""))
    for label, values in {"Action": 3, "Depot": 20, "Pump type": 4, "Vehicle class": 2}.items():
        go("pumps-by-risk")
        timed(f"pumps by risk, {label.lower()}", choose(label), min(3, values))
    go("plan-board")
    timed("plan board, depot", choose("Depot"))
    go("fleet-data")
    timed("fleet data, find", write("Find", "0123", "00099", "777"))
    go("open-questions")
    timed("open questions, unit", write("Unit", "000123", "000500", ""))
    go("costs")
    timed("costs, depot", choose("Depot"))


def wait_for_long_answers(browser: Any, address: str) -> None:
    """Open every page that rests on a long answer, and print how long the first person waits for it."""
    for name in ("pumps-by-risk", "plan-board", "costs"):
        start = time.perf_counter()
        page = browser.new_page()
        page.set_default_timeout(900_000)
        page.goto(f"{address}/{name}")
        page.wait_for_function(PAINTED, arg="h1")
        heading = page.evaluate("() => performance.now() / 1000")
        settle(page, 900_000)
        print(
            f"first ever, {name}: heading {heading:.1f} s, answer {time.perf_counter() - start:.0f} s",
            flush=True,
        )
        page.close()


def main(pumps: int, kept: Path | None) -> None:
    """Print the figures side by side."""
    with tempfile.TemporaryDirectory() as folder:
        ledger, hello = kept or Path(folder) / "many.duckdb", Path(folder) / "hello.py"
        hello.write_text(HELLO)
        if not ledger.exists():
            build(ledger, pumps)
        with served(ledger) as ours, served(ledger, hello) as bare, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
            print(f"{pumps:,} pumps; load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
            wait_for_long_answers(browser, ours)
            times = {name: Times([], [], []) for name in (None, *PAGES)}
            for _ in range(ROUNDS):  # taken in turn, so that load on the machine falls on all alike
                for name, seen in times.items():
                    address = bare if name is None else f"{ours}/{name}"
                    answer, figure = (None, None) if name is None else PAGES[name]
                    try:
                        paint, drawn, whole, received = open_page(browser, address, answer, figure)
                    except TimeoutError:
                        print(f"  /{name}: {answer or figure} never came", flush=True)
                        continue
                    seen.paint.append(paint)
                    seen.drawn.append(drawn)
                    seen.whole.append(whole)
                    seen.received = max(seen.received, received)
            base = statistics.median(times[None].paint)
            rest = statistics.median(times[None].whole)
            print(f"bare hello: first paint {base:.2f} s, whole {rest:.2f} s (medians of {ROUNDS})")
            for name, seen in times.items():
                if name is not None and seen.paint:
                    paint, drawn, whole = (
                        statistics.median(part) for part in (seen.paint, seen.drawn, seen.whole)
                    )
                    print(
                        f"  /{name}: first paint {paint:.2f} s, {paint / base:.2f} x; drawn {drawn:.2f} s, "
                        f"{drawn / base:.2f} x; whole {whole:.2f} s, {whole / rest:.2f} x; "
                        f"{seen.received / 1e6:.2f} MB",
                        flush=True,
                    )
            page = browser.new_page(viewport=DESKTOP)
            filters(page, ours)
            print(f"load of the machine {os.getloadavg()[0]:.1f}")
            browser.close()


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 100_000,
        Path(sys.argv[2]) if len(sys.argv) > 2 else None,
    )
