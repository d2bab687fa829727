"""One served ledger and one browser for all browser tests."""

from __future__ import annotations

import os

import pytest

from tests.browser.browsing import DESKTOP, FLAGS, PHONE, chromium, served
from tests.ledger_fixture import build_ledger


@pytest.fixture(scope="session")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("browser") / "fleet.duckdb", fitted=True)


@pytest.fixture(scope="session")
def address(ledger):
    with served(ledger) as where:
        yield where


@pytest.fixture(scope="session")
def browser():
    path = chromium()
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing, and these tests must run here")
        pytest.skip("needs Chromium")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield running
        running.close()


class Watched:
    """A page with what it complained about and whom it called."""

    def __init__(self, page, address: str):
        self.page = page
        self.address = address
        self.complaints: list[str] = []
        self.outside: list[str] = []
        self.bytes_received = 0
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", self._request)
        page.on("websocket", self._websocket)
        page.on("response", self._response)

    def _console(self, message) -> None:
        if message.type == "error":
            self.complaints.append(f"{message.text} {message.location.get('url', '')}")

    def _request(self, request) -> None:
        inside = (self.address, self.address.replace("http", "ws", 1), "data:", "blob:")
        if not request.url.startswith(inside):
            self.outside.append(request.url)

    def _response(self, response) -> None:
        if "/static/" in response.url:  # the framework's own code, kept by the browser after the first page
            return
        self.bytes_received += int(response.headers.get("content-length", 0))

    def _websocket(self, socket) -> None:
        socket.on("framereceived", lambda payload: self._count(payload))

    def _count(self, payload) -> None:
        self.bytes_received += len(payload)


@pytest.fixture
def watch(browser, address):
    contexts = []

    def open_page(viewport=DESKTOP, color_scheme="light") -> Watched:
        context = browser.new_context(
            viewport=viewport, color_scheme=color_scheme, has_touch=viewport is PHONE
        )
        context.set_default_timeout(120_000)
        contexts.append(context)
        return Watched(context.new_page(), address)

    yield open_page
    for context in contexts:
        context.close()
