"""Open a ledger on a server as a file is opened: made when it is missing, brought up to date, waited for.

A reader sees the ledger as it was at one moment, however long it reads; writers take turns.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import duckdb

from ingest.errors import LedgerError
from ingest.ledger.depots import Depots, bind
from ingest.ledger.migrations import scripts
from ingest.ledger.numbers import numbers_given_by
from ingest.ledger.server_carrying import make, refuse_moved, upgrade, version_there
from ingest.ledger.server_engine import cursor, forget_tables, turn
from ingest.ledger.server_sentences import as_sentences
from ingest.ledger.statements import statement
from ingest.ledger.waveform_home import claim
from ingest.server_address import Server


@contextmanager
def open_to_read(server: Server, wait_s: float, depots: Depots) -> Iterator[duckdb.DuckDBPyConnection]:
    """As `open_ledger` for reading: one moment of the ledger."""
    with as_sentences(server):
        connection = _current(server, read_only=True)
        if connection is None:
            with turn(server, wait_s) as talk:
                _bring_up_to_date(talk, server)
            connection = _current(server, read_only=True)
        if connection is None:
            raise LedgerError("ledger-busy", _CHANGED.format(path=server.path))
        with _closing(connection):
            if depots:
                bind(connection, depots)
            yield connection


@contextmanager
def open_to_write(
    server: Server, wait_s: float, unit: str | None = None
) -> Iterator[duckdb.DuckDBPyConnection]:
    """As `open_ledger` for writing, for the whole job: alone, or alone with this unit.

    LedgerError with the code "raced" where another unit's writer was quicker with the same thing.
    """
    with as_sentences(server), ExitStack() as held:
        talk = held.enter_context(turn(server, wait_s, unit))
        connection = _current(server, read_only=False)
        if connection is None:
            held.close()
            with turn(server, wait_s) as alone:
                _bring_up_to_date(alone, server)
            talk = held.enter_context(turn(server, wait_s, unit))
            connection = _current(server, read_only=False)
        if connection is None:
            raise LedgerError("ledger-busy", _CHANGED.format(path=server.path))
        held.enter_context(_closing(connection))
        if unit is not None:
            held.enter_context(numbers_given_by(connection, _numbers(talk, server)))
        claim(connection, server.path)
        yield connection


_CHANGED = "The ledger of {path} is being changed; try again."


def _numbers(talk: Any, server: Server) -> Callable[[str, int], int]:
    """Give numbers out at once to one of several writers: what is undone leaves a gap, and nobody waits."""
    text = f"UPDATE {server.schema}.last_id SET id = id + %s WHERE table_name = %s RETURNING id"

    def give(table: str, count: int) -> int:
        [(last,)] = talk.execute(text, [count, table]).fetchall()
        return int(last)

    return give


def _current(server: Server, *, read_only: bool) -> duckdb.DuckDBPyConnection | None:
    """Connect if the newest scripts made what is there; LedgerError where newer ones did.

    To read, a transaction is begun, which the server gives one moment to see.
    """
    newest = max(scripts())
    try:
        connection = cursor(server, read_only=read_only)
    except duckdb.CatalogException:
        return None
    try:
        if read_only:
            connection.execute("BEGIN")
        [(version,)] = connection.execute(statement("ledger/version")).fetchall()
        if version > newest:
            raise LedgerError(
                "ledger-newer",
                f"The ledger of {server.path} was written by a newer pumpledger (schema {version}; this one"
                f" knows {newest}); update the program.",
            )
        if version == newest:
            return connection
    except duckdb.CatalogException:
        pass
    except BaseException:
        _close(connection)
        raise
    _close(connection)
    return None


@contextmanager
def _closing(connection: duckdb.DuckDBPyConnection) -> Iterator[None]:
    try:
        yield
    finally:
        _close(connection)


def _bring_up_to_date(talk: Any, server: Server) -> None:
    version = version_there(talk, server)
    if version is None:
        refuse_moved(talk, server)
        make(talk, server)
    elif version < max(scripts()):
        upgrade(talk, server, version)
    forget_tables(server)


def _close(connection: duckdb.DuckDBPyConnection) -> None:
    with contextlib.suppress(duckdb.Error):  # nothing was begun, or the server is gone
        connection.execute("ROLLBACK")
    connection.close()
