"""While a page is drawn, the readers of one ledger share an engine.

A database engine takes 15 ms of processor time to start, and a page asks a dozen questions, each with a
connection of its own. Connections of one process share an engine while one of them is open, so one is kept
from a page's first question to its end; whoever would write has it closed first.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import duckdb

_connect = duckdb.connect
_lock = threading.Lock()
_kept: dict[str, duckdb.DuckDBPyConnection] = {}
_pages = 0  # being drawn


@contextmanager
def one_engine() -> Iterator[None]:
    """Keep an engine for each ledger that is read before this ends."""
    global _pages
    with _lock:
        _pages += 1
    try:
        yield
    finally:
        with _lock:
            _pages -= 1
            if not _pages:
                _close(*_kept)


def _close(*paths: str) -> None:
    for path in paths:
        if kept := _kept.pop(path, None):
            kept.close()


def _connect_sharing(
    path: Any = ":memory:", read_only: bool = False, **more: Any
) -> duckdb.DuckDBPyConnection:
    with _lock:
        if not read_only:
            _close(str(path))
        made = _connect(path, read_only=read_only, **more)
        if read_only and _pages and str(path) not in _kept:
            _kept[str(path)] = _connect(path, read_only=True, **more)
        return made


duckdb.connect = _connect_sharing
