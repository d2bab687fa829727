"""Open the ledger: create it, bring its schema up to date, and never hold it longer than one job.

Every caller opens, works and closes. A ledger in use by another program is waited for, up to a deadline.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from ingest.errors import LedgerError
from ingest.ledger.damage import change_file, connect_recovering, name_the_loss
from ingest.ledger.depots import Depots, bind
from ingest.ledger.gate import Turn, connect_once, gate, is_lock, noted_as_open, reading_gate
from ingest.ledger.migrations import create, ledger_version, migrate, scripts
from ingest.ledger.place import real_path, refuse_untested_place
from ingest.ledger.repair_mark import finish_repair, mark_of, refuse_beside_damaged
from ingest.ledger.waveform_home import bring_from_shared, claim, refuse_without_ledger
from ingest.server_address import server_of


@contextmanager
def open_ledger(
    path: Path | str,
    *,
    read_only: bool = True,
    wait_s: float = 15.0,
    depots: Depots = (),
    unit: str | None = None,
) -> Iterator[duckdb.DuckDBPyConnection]:
    """Yield a connection to the ledger at `path`; close it on leaving.

    read_only=False creates the ledger when it is missing. An older ledger is upgraded, keeping a copy, and
    what a crash left behind is settled, in either mode. Anything not committed on leaving is undone. depots:
    those that a reader is bound to, who then sees nothing of others; none named means all. unit: the only one
    that a writer writes of; on a server those of other units then write beside it (see `retried`).
    Raises LedgerError when the ledger is missing (read only), newer than this program, damaged, in use for
    longer than `wait_s`, or can't be written.
    """
    path = real_path(path)
    if read_only and not path.exists():
        raise LedgerError(
            "no-ledger",
            f"There is no ledger at {path}; add a unit, log a visit or load a fleet folder to start one.",
        )
    if server := server_of(path):
        from ingest.ledger.server_opening import open_to_read, open_to_write

        job = open_to_read(server, wait_s, depots) if read_only else open_to_write(server, wait_s, unit)
        with noted_as_open(path, read_only=read_only), job as connection:
            yield connection
        return
    turn = Turn(path, wait_s)
    with noted_as_open(path, read_only=read_only), _engine_errors_as_sentences(path):
        if read_only:
            connection = _open_to_read(turn)
            try:
                if depots:
                    bind(connection, depots)
                yield connection
            finally:
                connection.close()
        else:
            with gate(turn):
                connection = _open_to_write(turn)
                try:
                    yield connection
                finally:
                    connection.close()


def _open_to_read(turn: Turn) -> duckdb.DuckDBPyConnection:
    can_settle = True
    while True:
        connection = None
        with reading_gate(turn) as held:  # meanwhile no writer of ours is in: a reader can't come too late
            left = held and can_settle and _left_behind(turn.path)
            if not left:
                if mark_of(turn.path).exists():  # where nothing can be written
                    raise LedgerError("repair-unfinished", _UNFINISHED.format(path=turn.path))
                try:
                    connection = connect_once(turn.path, read_only=True)
                except duckdb.Error as error:
                    if not is_lock(error):
                        raise
                    busy = error
        if left:
            with gate(turn) as alone:
                can_settle = alone and (not _left_behind(turn.path) or _settle(turn))
            continue
        if connection is None:
            turn.pause(busy)
            continue
        try:
            version = ledger_version(connection, turn.path)
            if version == max(scripts()):
                return connection
        except BaseException:
            connection.close()
            raise
        connection.close()
        with gate(turn):
            _open_to_write(turn).close()  # upgrades


def _left_behind(path: Path) -> bool:
    """Return whether a killed program left a change file or an unfinished repair; asked at the gate."""
    return change_file(path).exists() or mark_of(path).exists()


_NOT_HERE = ("read-only", "untested-system", "untested-share")


def _settle(turn: Turn) -> bool:
    """Bring what a crash left into the ledger and return True; False where it can't be written.

    Reading then goes on from the change file itself. Where the disk is full the engine keeps it too, and says
    nothing.
    """
    try:
        _open_to_write(turn).close()
    except (duckdb.Error, OSError, LedgerError) as error:
        if isinstance(error, duckdb.Error) and is_lock(error):
            raise
        if isinstance(error, LedgerError) and error.code not in _NOT_HERE:
            raise
        return False
    return not _left_behind(turn.path)


def _open_to_write(turn: Turn) -> duckdb.DuckDBPyConnection:
    _refuse_unwritable(turn.path)
    finish_repair(turn.path)
    if not turn.path.exists():
        refuse_beside_damaged(turn.path)
        refuse_without_ledger(turn.path)
        return create(turn)
    connection, loss = connect_recovering(turn)
    try:
        connection = migrate(connection, turn)
        bring_from_shared(connection, turn.path)
        claim(connection, turn.path)
        if loss:
            name_the_loss(connection, loss)
        return connection
    except BaseException:
        connection.close()
        raise


def _refuse_unwritable(path: Path) -> None:
    folder = path.parent
    if not folder.is_dir():
        raise LedgerError("no-folder", f"There is no folder {folder} for the ledger; create it first.")
    refuse_untested_place(path)
    if not os.access(folder, os.W_OK) or (path.exists() and not os.access(path, os.W_OK)):
        raise LedgerError("read-only", _READ_ONLY.format(path=path))


_UNFINISHED = "A repair of the ledger {path} was broken off; open it once where it can be written."
_READ_ONLY = "The ledger {path} can't be written: it or its folder is read-only; nothing was changed."
# What the engine says, and what it means to the person.
_SENTENCES: tuple[tuple[tuple[str, ...], str, str], ...] = (
    (
        ("sqlite", "SQLite"),
        "not-a-ledger",
        "{path} is a database of another kind, not a pumpledger ledger; choose another --ledger.",
    ),
    (
        ("No space left", "File too large", "quota exceeded"),
        "disk-full",
        "The ledger {path} can't be written: the disk is full; nothing of this entry was stored."
        " Free some space and try again.",
    ),
    (("Permission denied", "Read-only file system", "read-only mode"), "read-only", _READ_ONLY),
    (
        ("with version number", "storage version", "newer DuckDB version"),
        "engine-older",
        "The ledger {path} was written by a newer database engine; update the program.",
    ),
    (
        ("not a valid DuckDB database", "read enough bytes", "hecksum", "orrupt", "WAL file", "deserializ"),
        "ledger-damaged",
        "The ledger {path} is damaged and can't be read ({said}). Restore a backup, or run"
        " pumpledger check --repair, which keeps the file and saves what can be read.",
    ),
)


@contextmanager
def _engine_errors_as_sentences(path: Path) -> Iterator[None]:
    try:
        yield
    except duckdb.Error as error:
        said = str(error).splitlines()[0]
        for signs, code, sentence in _SENTENCES:
            if any(sign in said for sign in signs):
                raise LedgerError(code, sentence.format(path=path, said=said.rstrip("."))) from error
        raise
