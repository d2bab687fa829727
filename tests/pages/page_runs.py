"""Runs the dashboard's pages without a browser."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from streamlit.components.v2 import manifest_scanner
from streamlit.runtime.scriptrunner.script_cache import ScriptCache
from streamlit.testing.v1 import AppTest, local_script_runner
from streamlit.util import calc_hash

from dashboard.data import answer_store, answers
from dashboard.serving.serving import APP
from dashboard.shell.navigation import PAGES

# Each run of a page would look through every package installed for components: they stay the same.
manifest_scanner.scan_component_manifests = cache(manifest_scanner.scan_component_manifests)
# It would compile each page anew, which a server does once, and look a thousand times a second whether the
# page has come to its end.
local_script_runner.ScriptCache = cache(ScriptCache)
_look_until_it_ends = local_script_runner.require_widgets_deltas


def _wait_until_it_ends(runner: local_script_runner.LocalScriptRunner, timeout: float = 3) -> None:
    runner._script_thread.join(timeout)
    _look_until_it_ends(runner, 0.5)


local_script_runner.require_widgets_deltas = _wait_until_it_ends

# A process of its own loads every library anew for what takes a fleet of three a tenth of a second.
in_a_process = answer_store.apart
answer_store.apart = answers.work_out


def open_page(view: str, **query: str) -> AppTest:
    """Return the page of `view`, run once, with its query parameters."""
    page = AppTest.from_file(str(APP), default_timeout=240)
    page.query_params.update(query)
    if PAGES[view].address:  # switch_page() would need the front page to be run first, which takes its time
        page._page_hash = calc_hash(PAGES[view].address)
    page.run()
    assert not page.exception, page.exception
    return page


def words(page: AppTest) -> str:
    """Return all text on a page, for looking sentences up."""
    kinds = (page.title, page.header, page.subheader, page.markdown, page.caption, page.warning, page.error,
             page.info, page.success)  # fmt: skip
    return seen("\n".join(str(element.value) for kind in kinds for element in kind))


def seen(markdown: str) -> str:
    """Return what a reader sees of escaped text: escapes taken off, joiners without width left out."""
    return re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", markdown).replace("\u2060", "")


def small_file(path: Path) -> tuple[str, bytes, str]:
    """Return an upload: name, content, type."""
    return path.name, path.read_bytes(), "text/csv"
