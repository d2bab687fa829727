"""While a test runs, the readers of one ledger share an engine.

A database engine takes 15 ms of processor time to start, a page asks a dozen questions, and each opens the
ledger anew. Connections of one process share an engine while one of them is open, so one is kept from a
test's first question on. It is closed before anybody else may want the file: before this process writes,
before another is started, when the file has changed, and at the test's end.
"""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import duckdb
import pytest

_connect = duckdb.connect
_start = subprocess.Popen.__init__


@contextmanager
def one_engine() -> Iterator[None]:
    """Let readers share engines until this ends."""
    kept: dict[str, tuple[tuple[int, ...], duckdb.DuckDBPyConnection]] = {}
    lock = threading.RLock()
    over = False

    def close(*paths: str) -> None:
        with lock:
            for path in paths:
                if path in kept:
                    kept.pop(path)[1].close()

    def connect(
        database: Any = ":memory:", read_only: bool = False, **more: Any
    ) -> duckdb.DuckDBPyConnection:
        with lock:
            name = str(database)
            if not read_only or (name in kept and kept[name][0] != _state(name)):
                close(name)
            made = _connect(database, read_only=read_only, **more)
            if read_only and not over and name not in kept:
                kept[name] = _state(name), _connect(database, read_only=True, **more)
            return made

    def start(self: subprocess.Popen[Any], *arguments: Any, **named: Any) -> None:
        close(*list(kept))
        _start(self, *arguments, **named)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(duckdb, "connect", connect)
        patch.setattr(subprocess.Popen, "__init__", start)
        try:
            yield
        finally:
            with lock:
                over = True
                close(*list(kept))


def _state(path: str) -> tuple[int, ...]:
    at = Path(path).stat()
    return at.st_ino, at.st_size, at.st_mtime_ns
