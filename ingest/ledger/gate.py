"""Take turns at the ledger: writers in the order they came, a reader after one writer at the most.

DuckDB lets one process write or many read, and refuses the others at once. A small file beside the ledger
is the gate: a writer holds it for its whole job, a reader while it connects. A writer whose turn has come
shuts the door to new readers, so readers that come and go can't keep it out; the readers who waited for a
writer go in before the next one (the phase-fair order of Brandenburg and Anderson, "Spin-based reader-writer
synchronization for multiprocessor real-time systems", 2010; from memory). A change file found at the gate was
left by a crash.
"""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from ingest.errors import LedgerError
from ingest.ledger.byte_locks import HAS_LOCKS, ByteLocks
from ingest.ledger.statements import statement

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


# Places in the gate's file: two numbers, and bytes whose locks stand for something.
_TICKETS, _WRITERS = 0, 8  # the last ticket given out; how many writers have had their turn
_GIVING, _WRITER, _DOOR = 16, 17, 18
_WAITING = (20, 21)  # readers who wait for a writer with an even, an odd number
_FIRST_TICKET = 2**32


@contextmanager
def gate(turn: Turn) -> Iterator[bool]:
    """Have a writer's turn; yields False where there can be none (a folder that can't be written)."""
    with _opened(turn.path) as locks:
        if locks is None:
            yield False
            return
        _stand_in_line(locks, turn)
        yield True


@contextmanager
def reading_gate(turn: Turn) -> Iterator[bool]:
    """Be where no writer is, for as long as connecting takes; yields False where there is no gate."""
    with _opened(turn.path) as locks:
        if locks is None:
            yield False
            return
        _wait_for_one_writer(locks, turn)
        yield True


@contextmanager
def _opened(path: Path) -> Iterator[ByteLocks | None]:
    try:
        locks = ByteLocks(path.with_name(path.name + ".gate")) if HAS_LOCKS else None
    except OSError:
        locks = None
    try:
        yield locks
    finally:
        if locks is not None:
            locks.close()


def _stand_in_line(locks: ByteLocks, turn: Turn) -> None:
    """Wait for the writers before, let in the readers whom the last one kept waiting, shut the door."""
    while not locks.take(_GIVING):
        turn.pause()
    ticket = locks.number(_TICKETS) + 1
    locks.put(_TICKETS, ticket)
    locks.take(_FIRST_TICKET + ticket)
    locks.free(_GIVING)
    while not locks.is_free(_FIRST_TICKET, ticket):
        turn.pause()
    while not locks.take(_WRITER):
        turn.pause()
    locks.free(_FIRST_TICKET + ticket)
    before = locks.number(_WRITERS)
    locks.put(_WRITERS, before + 1)
    while not locks.is_free(_WAITING[before % 2]):
        turn.pause()
    while not locks.take(_DOOR):
        turn.pause()


def _wait_for_one_writer(locks: ByteLocks, turn: Turn) -> None:
    """Go in unless a writer is in or next; then wait for that one, and go before the one after it."""
    waits_for: int | None = None
    while True:
        writer = locks.number(_WRITERS)
        if locks.is_free(_WRITER) or (waits_for is not None and waits_for != writer):
            if locks.take(_DOOR, shared=True):
                return
            if waits_for is not None and waits_for != writer:  # that writer was in before this one could wait
                locks.free(_WAITING[waits_for % 2])
                waits_for = None
        if waits_for is None:
            waits_for = writer
            locks.take(_WAITING[writer % 2], shared=True)
        turn.pause()


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
