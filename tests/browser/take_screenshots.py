"""Take the pictures in docs/screens.

python -m tests.browser.take_screenshots demo/pumpledger.duckdb
"""

from __future__ import annotations

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from analytics.risk.ranking import rank
from dashboard.data import queries
from ingest.waveforms import waveform_path
from tests.browser.browsing import DESKTOP, FLAGS, PHONE, chromium, served, settle

SCREENS = Path(__file__).parents[2] / "docs" / "screens"
MOST_BYTES = 200_000


def main(ledger: Path) -> None:
    """Write three pictures, each under 200 kB: the risk list, the riskiest pump's history, a reading on a
    phone."""
    pump = rank(ledger)["pump_id"].iloc[0]
    visits = queries.ask(ledger, "visits_of_pump", pump_id=int(pump))
    last = visits[visits["capture_hash"].notna()].iloc[-1]
    SCREENS.mkdir(parents=True, exist_ok=True)
    shots = (
        ("pumps_by_risk", "pumps-by-risk", DESKTOP, "light", 1000),
        ("pump_history", f"pump?pump={pump}", DESKTOP, "dark", 1300),
        ("log_visit_phone", f"log-visit?unit={last['unit']}", PHONE, "light", 1750),
    )
    with served(ledger.resolve()) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        for name, path, size, scheme, height in shots:
            page = browser.new_page(viewport={"width": size["width"], "height": height}, color_scheme=scheme)
            page.goto(f"{address}/{path}")
            settle(page)
            if name == "log_visit_phone":
                page.get_by_role("button", name="Read it, go on").click()
                settle(page)
                page.get_by_text("Before you connect anything").click()
                page.get_by_text("Idle", exact=True).click()
                settle(page)
                page.set_input_files("input[type=file]", str(waveform_path(ledger, last["capture_hash"])))
                page.get_by_text("Next test.").wait_for()
                settle(page)
                page.evaluate("document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")
            page.wait_for_timeout(2000)
            target = SCREENS / f"{name}.png"
            page.screenshot(path=str(target))
            assert target.stat().st_size < MOST_BYTES, f"{target} is too large"
            page.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
