"""A served ledger and a headless Chromium to look at it with."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from dashboard.serving.serving import streamlit_arguments

# Each window would also load two pages of the browser's own, for an address bar that nobody sees: a sixth of
# what a page takes. This list stands in place of the driver's, whose part in what is tested here is repeated.
NOT_ASKED_FOR = (
    "WebUIOmniboxPopup", "WebUIOmniboxAimPopup", "PaintHolding", "DestroyProfileOnBrowserClose",
    "LensOverlay", "MediaRouter", "OptimizationHints", "HttpsUpgrades",
    "AvoidUnnecessaryBeforeUnloadCheckSync",
)  # fmt: skip
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    f"--disable-features={','.join(NOT_ASKED_FOR)}",
]
LEAN = Path(__file__).with_name("lean_server.py")
DESKTOP = {"width": 1280, "height": 900}
PHONE = {"width": 390, "height": 844}


def chromium() -> str | None:
    """The browser's path, or None where there is none."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    return None


def free_port() -> int:
    """Return a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(
    ledger: Path, script: Path | None = None, *, port: int = 0, folder: Path | None = None, **more: str
) -> Iterator[str]:
    """Serve `ledger` (or another script, for comparison) on a port (0: a free one); yields the address.

    folder: where the server runs, and looks for .streamlit; more: environment variables.
    """
    if ledger.suffix != ".toml" and ledger.read_bytes()[:8] == b"[server]":
        address = ledger.with_suffix(".toml")  # with --on-server; a program of its own knows one by its name
        address.write_bytes(ledger.read_bytes())
        ledger = address
    port = port or free_port()
    arguments = streamlit_arguments(port=port)
    if script is not None:
        arguments[4] = str(script)
    environment = os.environ | {
        "PUMPLEDGER": str(ledger),
        "OMP_NUM_THREADS": "1",
        **more,
    }
    server = subprocess.Popen(
        arguments, env=environment, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    address = f"http://127.0.0.1:{port}"
    try:
        _wait_until_up(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(10)


def _wait_until_up(address: str, server: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        if server.poll() is not None:
            assert server.stderr is not None
            raise RuntimeError(f"the dashboard did not start: {server.stderr.read().decode()[-2000:]}")
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("the dashboard did not answer within 60 s")


AT_REST = """() => {
    const app = document.querySelector('[data-testid="stApp"]');
    return Boolean(app && app.getAttribute('data-test-script-state') === 'notRunning'
        && !document.querySelector('[data-testid="stSkeleton"]') && document.querySelector('h1'));
}"""


def settle(page, timeout_ms: int = 120_000) -> None:
    """Wait until the page's script has run to its end and stays at rest for a moment."""
    end = time.monotonic() + timeout_ms / 1000
    while time.monotonic() < end:
        page.wait_for_function(AT_REST, timeout=timeout_ms, polling=100)  # ms; else at each frame drawn
        page.wait_for_timeout(250)
        if page.evaluate(AT_REST):
            return
    raise TimeoutError("the page never came to rest")


# Done as soon as the page says that its script is asked for, or runs; a busy browser may show a short run's
# beginning and end at once, which is then no change: two seconds are more than it takes to ask.
LISTEN = """window.asked = new Promise(asked => {
    new MutationObserver((_, watch) => { watch.disconnect(); asked(); }).observe(
        document.querySelector('[data-testid="stApp"]'), {attributeFilter: ['data-test-script-state']});
}); null"""
ASKED = "Promise.race([window.asked, new Promise(waited => setTimeout(waited, 2000))]).then(() => null)"
GO = """where => {
    history.pushState({}, '', where);
    dispatchEvent(new PopStateEvent('popstate'));
}"""


def ask(page, act: Callable[[], object]) -> None:
    """Do what makes a page ask its script, as a click does, and wait for the answer."""
    page.evaluate(LISTEN)
    act()
    page.evaluate(ASKED)
    settle(page)


def go(page, where: str) -> None:
    """Open another of our addresses (from the root, without a stroke) in a page that is there, as a link
    does: a third of what a new load of the framework takes."""
    ask(page, lambda: page.evaluate(GO, f"/{where}"))


def downloaded(page, button) -> bytes:
    """What a button (a locator) brings; pressed again where the page, run anew, took it away meanwhile."""
    from playwright.sync_api import TimeoutError as Waited

    for _ in range(6):
        settle(page)
        try:
            with page.expect_download(timeout=20_000) as file:
                button.click()
            return file.value.path().read_bytes()
        except Waited:
            continue
    raise AssertionError(f"{button} brought nothing in six presses")
