"""The engine that reaches a server: the same database library, with the server's tables attached.

It runs the ledger's SQL in this process; the server keeps the rows, works out the views and commits. One
attachment serves a process, a cursor one job. What an attachment can't do (locks that outlive a transaction,
schemas) goes by the server's own client library.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import duckdb

from ingest.errors import LedgerError
from ingest.extras import how_to_install
from ingest.ledger.gate import ON_ITS_OWN
from ingest.ledger.server_sentences import as_sentences
from ingest.ledger.statements import statement
from ingest.server_address import Server, server_of

ENGINE = "1.5.5"  # the one that the extension for servers is built for
OLDEST = 15  # of the server; older ones were not tried
NAME = "pumpledger_server"  # the attached database's
# Dead clients are noticed within a minute, so that their locks go.
_MANNERS = "-c tcp_keepalives_idle=30 -c tcp_keepalives_interval=10 -c tcp_keepalives_count=3"
_one_attaches = threading.Lock()
_attached: dict[tuple[str, str, bool], duckdb.DuckDBPyConnection] = {}


def words(server: Server) -> str:
    """Return what the client library is told, in its own form; never a password."""
    return f"{server.connection} connect_timeout=10 options='{_MANNERS}'"


def client() -> Any:
    """Return the server's own client library; LedgerError where the extra is not installed."""
    try:
        import duckdb_extension_postgres_scanner  # noqa: F401
        import psycopg
    except ImportError as error:
        raise LedgerError(
            "no-server-extra",
            f"What reaches a ledger on a server isn't installed: {how_to_install('server')}.",
        ) from error
    if duckdb.__version__ != ENGINE:
        raise LedgerError(
            "no-server-extra",
            f"What reaches a ledger on a server needs the database engine {ENGINE}, and {duckdb.__version__}"
            f" is installed: {how_to_install('server')}, and start pumpledger without uv run, which brings"
            " the other engine back.",
        )
    return psycopg


@cache
def _extension() -> str:
    client()
    import duckdb_extension_postgres_scanner as wheel

    [file] = Path(wheel.__path__[0]).rglob("postgres_scanner.duckdb_extension")
    return str(file)


def engine() -> duckdb.DuckDBPyConnection:
    """Return a database library of its own, in memory, that can attach a server."""
    made = duckdb.connect(config=ON_ITS_OWN)
    made.execute("SET enable_progress_bar = false")  # it would be drawn into our own output
    made.execute(f"LOAD '{quoted(_extension())}'")
    return made


def attach(connection: duckdb.DuckDBPyConnection, server: Server, name: str, *, read_only: bool) -> None:
    """Attach the ledger's schema under a name; the engine's own errors pass through."""
    mode = ", READ_ONLY" if read_only else ""
    connection.execute(
        f"ATTACH '{quoted(words(server))}' AS {name} (TYPE postgres, SCHEMA '{server.schema}'{mode})"
    )


def quoted(text: str) -> str:
    """Return a text as it stands between single quotes in SQL."""
    return text.replace("'", "''")


def cursor(server: Server, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """Return a connection of its own to the ledger's schema; duckdb.CatalogException where there is none."""
    key = (server.connection, server.schema, read_only)
    with _one_attaches:
        if key not in _attached:
            made = engine()
            attach(made, server, NAME, read_only=read_only)
            try:
                made.execute(statement("server/visit_rows").replace("{ledger}", f"{NAME}.{server.schema}"))
                made.execute(statement("ledger/manners"))
            except BaseException:
                made.close()
                raise
            _attached[key] = made
        mine = _attached[key].cursor()
    mine.execute(f"SET search_path = '{NAME}.{server.schema},memory.main'")
    return mine


def forget_tables(server: Server) -> None:
    """Let this process look anew for what tables there are."""
    with _one_attaches:
        for (words_, schema, _), made in _attached.items():
            if (words_, schema) == (server.connection, server.schema):
                made.cursor().execute("CALL pg_clear_cache()")


@contextmanager
def talk(server: Server) -> Iterator[Any]:
    """Yield a connection of the server's own client library; each statement stands by itself.

    Raises LedgerError where there is no way to the server, or it is older than was tried.
    """
    psycopg = client()
    with (
        as_sentences(server, psycopg.Error),
        psycopg.connect(words(server), autocommit=True, application_name="pumpledger") as connection,
    ):
        version = connection.info.server_version // 10_000
        if version < OLDEST:
            raise LedgerError(
                "server-older",
                f"The server of {server.path} is PostgreSQL {version}; {OLDEST} or later is needed.",
            )
        encoding = connection.info.parameter_status("server_encoding")
        if encoding != "UTF8":
            raise LedgerError(
                "server-encoding",
                f"The database of {server.path} keeps texts as {encoding}; create one with ENCODING 'UTF8'.",
            )
        yield connection


# Of the whole ledger: one writer alone, or any number beside each other; and of a unit in it.
_ALONE = "SELECT pg_advisory_lock(hashtext('pumpledger'), hashtext(%s))"
_BESIDE = "SELECT pg_advisory_lock_shared(hashtext('pumpledger'), hashtext(%s))"
_UNIT = "SELECT pg_advisory_lock(hashtextextended(%s, 0))"


@contextmanager
def turn(server: Server, wait_s: float, unit: str | None = None) -> Iterator[Any]:
    """Have the writer's turn: first come, first served; the server ends it when this program dies.

    unit: who writes of this unit alone goes in beside those of other units. Yields as `talk`. Raises
    LedgerError after `wait_s`.
    """
    with talk(server) as connection:
        connection.execute(f"SET lock_timeout = {int(wait_s * 1000)}")
        try:
            if unit is None:
                connection.execute(_ALONE, [server.schema])
            else:
                connection.execute(_BESIDE, [server.schema])
                connection.execute(_UNIT, [f"pumpledger {server.schema} {unit}"])
        except client().errors.LockNotAvailable as error:
            raise LedgerError(
                "ledger-busy",
                f"The ledger {server.path} has been in use by another program for {wait_s:.0f} s;"
                " nothing was changed, try again.",
            ) from error
        yield connection


def change_mark(ledger: Path) -> tuple[int, ...]:
    """Return what changes with every commit on the server: the transactions that a reader would see.

    () where there is no ledger yet.
    """
    server = server_of(ledger) if ledger.exists() else None
    if server is None:
        return ()
    with as_sentences(server):
        try:
            connection = cursor(server, read_only=True)
        except duckdb.CatalogException:
            return ()
        try:
            [(text,)] = connection.execute(statement("server/snapshot").replace("{name}", NAME)).fetchall()
        finally:
            connection.close()
    low, high, under_way = text.split(":")
    return (int(low), int(high), *(int(one) for one in under_way.split(",") if one))
