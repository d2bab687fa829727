"""Take turns at the ledger.

DuckDB lets one process write or many read, and refuses the others at once. A small file beside the ledger
is the gate: a writer holds it for its whole job, a reader while it connects. So readers that come and
go cannot keep a writer out, and a change file found while holding the gate was left by a crash.
"""

from __future__ import annotations

import os
import random
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

import duckdb

from ingest.errors import LedgerError
from ingest.ledger.statements import statement

fcntl: ModuleType | None
try:
    import fcntl
except ImportError:  # no such locks on this system: the engine's own lock still guards the file
    fcntl = None

# The engine fetches nothing and loads nothing but what it was built with.
ON_ITS_OWN: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "allow_community_extensions": False,
}
_one_connects = threading.Lock()
PAUSE_S = (0.002, 0.012)
_open_here = threading.local()


class Turn:
    """One caller's wait for the ledger: until when, and the sentence if it takes longer."""

    def __init__(self, path: Path, wait_s: float):
        self.path = path
        self.wait_s = wait_s
        self.until = time.monotonic() + wait_s

    def pause(self, cause: Exception | None = None) -> None:
        """Sleep a little; raise LedgerError once the time is up."""
        if time.monotonic() > self.until:
            raise LedgerError(
                "ledger-busy",
                f"The ledger {self.path} has been in use by another program for {self.wait_s:.0f} s;"
                " nothing was changed, try again.",
            ) from cause
        time.sleep(random.uniform(*PAUSE_S))


@contextmanager
def gate(turn: Turn) -> Iterator[bool]:
    """Hold the gate; yields False where there can be none (a folder that can't be written)."""
    handle = _gate_file(turn.path) if fcntl else None
    if handle is None or fcntl is None:
        yield False
        return
    try:
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError as error:
                turn.pause(error)
        yield True
    finally:
        os.close(handle)


def _gate_file(path: Path) -> int | None:
    name = path.with_name(path.name + ".gate")
    try:
        return os.open(name, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError:
        return None


def connect(turn: Turn, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """Connect, waiting while others hold the file; other engine errors pass through."""
    while True:
        try:
            return connect_once(turn.path, read_only=read_only)
        except duckdb.Error as error:
            if not is_lock(error):
                raise
            turn.pause(error)


def connect_once(path: Path, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """Connect now or raise the engine's error."""
    # 1.5 is the oldest engine that must still open the file.
    more = {} if read_only else {"storage_compatibility_version": "v1.5.0"}
    with _one_connects:
        connection = duckdb.connect(str(path), read_only=read_only, config=ON_ITS_OWN | more)
        # Connections of one process to one file share an engine: the first to come sets its manners.
        [(locked,)] = connection.execute(statement("ledger/is_locked")).fetchall()
        if not locked:
            connection.execute(statement("ledger/manners"))
    return connection


def is_lock(error: duckdb.Error) -> bool:
    """Tell whether the engine only said that somebody else has the file open."""
    text = str(error)
    # The second is the same refusal between threads of one process.
    return "set lock on file" in text or "different configuration than existing connections" in text


@contextmanager
def noted_as_open(path: Path, *, read_only: bool) -> Iterator[None]:
    """Catch, at once, a job that would wait for itself: the ledger opened again inside an open one.

    Reading inside reading is fine; anything else raises RuntimeError.
    """
    held: dict[Path, list[bool]] = _open_here.__dict__.setdefault("held", {})
    modes = held.setdefault(path.resolve(), [])
    if modes and not (read_only and all(modes)):
        raise RuntimeError(
            f"open_ledger({path}) was called inside another open_ledger: pass the connection on."
        )
    modes.append(read_only)
    try:
        yield
    finally:
        modes.pop()
