"""How fast pages come up on many pumps, against a bare page of the same framework in the same run.

    python -m tests.benchmarks.pages_speed [--pumps N] [--ledger FILE] [--at OURS BARE]
        [--part pages|filters] [--only PAGE …]

Builds a ledger of readings (pages_ledger.sql; FILE keeps it for the next run), serves it and a page that
only says hello (--at: asks two servers that run already), and measures for every page, in turns with the
bare one:

- first paint: from the start of navigation to the first frame in which the page's heading and its first
  answer (its sentence or box) are visible, by the browser's own clock; for the bare page, its heading;
- drawn: until its first table, figure or form is visible too;
- whole: until the page's script is at rest too;
- bytes received, the framework's own code (kept by the browser) left out;

then the time from a click on each filter to the end of the redraw. Long answers are worked out before,
and how long a person waits for each the very first time is printed first. What was measured goes into
results.json. Run it on a quiet machine, in pieces if it is quiet for minutes only; the load of the machine
is printed.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playwright.sync_api import TimeoutError, sync_playwright

from ingest.ledger.connection import open_ledger
from tests.benchmarks.results import PAGE, Figure, keep_results, method_versions, page, read_results
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
AT_REST = """() => document.querySelector('[data-testid="stApp"]')?.getAttribute('data-test-script-state')
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


def filters(tab: Any, address: str) -> list[Figure]:
    """Return the time each filter takes, from the click to the end of the redraw."""
    found = []

    def timed(page: str, which: str, act: Callable[[int], None], turns: int = 3) -> None:
        seconds = []
        for turn in range(turns):
            settle(tab)
            tab.wait_for_timeout(300)
            act(turn)
            tab.wait_for_function("() => window.rested > 0")
            tab.wait_for_timeout(300)  # a second redraw, if there is one, counts
            seconds.append(tab.evaluate("() => (window.rested - window.acted) / 1000"))
        middle = statistics.median(seconds)
        print(f"  {page}, {which}: {middle:.2f} s (of {turns}; worst {max(seconds):.2f})", flush=True)
        name = f"filters.{page}.{which.lower()}".replace(" ", "_")
        about = f"{page} at many pumps, from a choice of {which.lower()} to the end of the redraw"
        found.append(Figure(name, middle, "s", about))

    def go(where: str) -> None:
        tab.goto(f"{address}/{where}")
        settle(tab, 600_000)
        tab.evaluate(WATCH)

    def choose(label: str) -> Callable[[int], None]:
        def act(turn: int) -> None:  # each time one value more: a chosen one is no longer offered
            tab.keyboard.press("Escape")  # the list stays open after a choice, and a click would shut it
            box = tab.get_by_role("combobox", name=label).first
            box.evaluate("e => e.scrollIntoView({block: 'center'})")  # its list needs room below
            box.click()
            offered = tab.get_by_role("option").filter(has_not_text="Select all").first
            try:
                offered.wait_for(timeout=3_000)
            except TimeoutError:
                box.click()  # the list was open still, and the first click shut it
            offered.click()

        return act

    def write(label: str, *texts: str) -> Callable[[int], None]:
        def act(turn: int) -> None:
            box = tab.get_by_role("textbox", name=label, exact=True)
            box.fill(texts[turn])
            box.press("Enter")

        return act

    print("Filters, from the click to the end of the redraw:")
    go("pumps-by-risk")
    timed("pumps by risk", "Find", write("Find", "0123", "00099", ""))
    for label, values in {"Action": 3, "Depot": 20, "Pump type": 4, "Vehicle class": 2}.items():
        go("pumps-by-risk")
        timed("pumps by risk", label, choose(label), min(3, values))
    go("plan-board")
    timed("plan board", "Depot", choose("Depot"))
    go("fleet-data")
    timed("fleet data", "Find", write("Find", "0123", "00099", "777"))
    go("open-questions")
    timed("open questions", "Unit", write("Unit", "000123", "000500", ""))
    go("costs?costs_part=Spent")
    timed("costs", "Depot", choose("Depot"))
    return found


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


def pages(browser: Any, ours: str, bare: str, only: Iterable[str] = tuple(PAGES)) -> list[Figure]:
    """Return each page's first paint, drawn and whole as multiples of a bare page's."""
    times: dict[str | None, Times] = {name: Times([], [], []) for name in (None, *only)}
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
    found = []
    for name, seen in times.items():
        if name is None or not seen.paint:
            continue
        paint, drawn, whole = (statistics.median(part) for part in (seen.paint, seen.drawn, seen.whole))
        print(
            f"  /{name}: first paint {paint:.2f} s, {paint / base:.2f} x; drawn {drawn:.2f} s, "
            f"{drawn / base:.2f} x; whole {whole:.2f} s, {whole / rest:.2f} x; {seen.received / 1e6:.2f} MB",
            flush=True,
        )
        short = name.partition("?")[0].replace("-", "_") or "today"
        told = {"first": paint / base, "drawn": drawn / base, "whole": whole / rest}
        for what, ratio in told.items():
            about = f"{short.replace('_', ' ')} at many pumps, {what}, to a bare page's"
            found.append(Figure(f"pages.{short}.{what}", ratio, "×", about))
        found.append(Figure(f"pages.{short}.mb", seen.received / 1e6, "MB", f"{short} sends, many pumps"))
    return found


def main() -> None:
    """Print the figures side by side and keep them."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--pumps", type=int, default=100_000, metavar="N")
    parser.add_argument("--ledger", type=Path, metavar="FILE")
    parser.add_argument("--part", choices=["pages", "filters"])
    parser.add_argument("--at", nargs=2, metavar=("OURS", "BARE"))
    parser.add_argument("--only", nargs="+", metavar="PAGE", choices=list(PAGES), default=list(PAGES))
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright, ExitStack() as servers:
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        if args.at:
            ours, bare = args.at
        else:
            ledger, hello = args.ledger or Path(folder) / "many.duckdb", Path(folder) / "hello.py"
            hello.write_text(HELLO)
            if not ledger.exists():
                build(ledger, args.pumps)
            ours = servers.enter_context(served(ledger))
            bare = servers.enter_context(served(ledger, hello))
            wait_for_long_answers(browser, ours)
        script = "tests.benchmarks.pages_speed"
        if args.part != "filters":
            here = " ".join(args.only) if len(args.only) < len(PAGES) else "all"
            keep_results(pages(browser, ours, bare, args.only), f"{script} --only {here}", None)
        if args.part != "pages":
            tab = browser.new_page(viewport=DESKTOP)
            keep_results(filters(tab, ours), f"{script} --part filters", None)
        print(f"load of the machine {os.getloadavg()[0]:.1f}")
        browser.close()
    PAGE.write_text(page(read_results(), method_versions()), encoding="utf-8")


if __name__ == "__main__":
    main()
