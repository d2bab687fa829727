"""Carry a whole ledger between a file and a server's schema, every table's cells proved equal.

A ledger arrives under another name and takes its own in one step, so that a program killed half-way leaves
the schema as it was; what it left is thrown away by the next. So a new ledger is made, an older one upgraded
and another one moved: by the file's own scripts.
"""

from __future__ import annotations

import contextlib
import logging
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import count
from pathlib import Path
from typing import Any

import duckdb

from ingest.errors import LedgerError
from ingest.ledger.gate import connect_once
from ingest.ledger.migrations import apply_script, scripts
from ingest.ledger.server_engine import attach, engine, quoted, turn
from ingest.ledger.server_schema import tables, views
from ingest.ledger.statements import statement
from ingest.ledger.tables import fingerprint, table_names
from ingest.server_address import Server

log = logging.getLogger(__name__)
Rows = dict[str, tuple[int, int]]  # rows of each table, and a sum of hashes over all their cells


def version_there(talk: Any, server: Server) -> int | None:
    """Return the version of the ledger there, None where there is none; LedgerError for other tables."""
    found = talk.execute(_TABLES, [server.schema]).fetchall()
    if not found:
        return None
    if ("schema_version",) not in found:
        raise LedgerError(
            "not-a-ledger",
            f"The schema {server.schema} on the server of {server.path} holds other tables ({found[0][0]},"
            " …); name another schema.",
        )
    [(version,)] = talk.execute(f"SELECT max(version) FROM {server.schema}.schema_version").fetchall()
    return int(version)


def make(talk: Any, server: Server) -> None:
    """Make a new ledger in the server's schema. The turn must be held."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "new.duckdb"
        _apply(file, 0)
        bring(talk, server, file)


def upgrade(talk: Any, server: Server, version: int) -> None:
    """Bring an older ledger up to date, keeping it under another schema's name. The turn must be held."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "old.duckdb"
        fetch(server, file, version)
        _apply(file, version)
        kept = bring(talk, server, file)
    log.warning(
        "The ledger of %s was upgraded from schema %d to %d; the old one is kept as the schema %s.",
        server.path, version, max(scripts()), kept,
    )  # fmt: skip


def _apply(file: Path, version: int) -> None:
    with connect_once(file, read_only=False) as connection:
        _run_scripts(connection, after=version)
        connection.execute("CHECKPOINT")


def _run_scripts(connection: duckdb.DuckDBPyConnection, *, after: int = 0, until: int | None = None) -> None:
    for number, script in scripts().items():
        if number > after and (until is None or number <= until):
            apply_script(connection, number, script)


def bring(talk: Any, server: Server, file: Path) -> str | None:
    """Put a closed ledger file of the newest schema in the place of the one on the server.

    The turn must be held. Returns the name under which the one before is kept, None where there was none.
    Raises LedgerError, and leaves the server's as it was, where the rows don't arrive as they left.
    """
    arriving = f"{server.schema}_arriving"
    with connect_once(file, read_only=True) as connection:
        rows = {name: fingerprint(connection, name) for name in table_names(connection)}
        made = tables(connection)
    with talk.transaction():
        talk.execute(f"DROP SCHEMA IF EXISTS {arriving} CASCADE")
        talk.execute(f"CREATE SCHEMA {arriving}")
        talk.execute(f"SET LOCAL search_path = {arriving}")
        for name in rows:
            talk.execute(made[name])
    with _both(server, file, arriving, read_only=False) as connection:
        connection.execute("BEGIN")
        for name in rows:
            connection.execute(
                statement("server/carry", table=name).format(to=f"there.{arriving}", by="kept_file")
            )
        connection.execute(f"USE there.{arriving}")
        _demand_equal(rows, {name: fingerprint(connection, name) for name in rows}, server)
        connection.execute("COMMIT")
    with talk.transaction():
        talk.execute(f"SET LOCAL search_path = {arriving}")
        for text in [*views(), *statement("server/indexes").split(";")[:-1]]:
            talk.execute(text)
        for name in rows:
            talk.execute(f'ANALYZE "{name}"')
        return _take_place(talk, server, arriving)


def _take_place(talk: Any, server: Server, arriving: str) -> str | None:
    kept = None
    there = {name for (name,) in talk.execute("SELECT nspname FROM pg_namespace").fetchall()}
    if server.schema in there:
        if version := version_there(talk, server):
            # whoever reads holds this table until done, and whoever comes now waits here
            talk.execute(f"LOCK TABLE {server.schema}.schema_version IN ACCESS EXCLUSIVE MODE")
            names = (f"{server.schema}_schema_{version}" + ("" if n == 1 else f"_{n}") for n in count(1))
            kept = next(name for name in names if name not in there)
            talk.execute(f"ALTER SCHEMA {server.schema} RENAME TO {kept}")
        else:
            talk.execute(f"DROP SCHEMA {server.schema}")
    talk.execute(f"ALTER SCHEMA {arriving} RENAME TO {server.schema}")
    return kept


def refuse_moved(talk: Any, server: Server) -> None:
    """Raise LedgerError where the ledger was moved away from the server's schema, which is empty now."""
    if talk.execute("SELECT 1 FROM pg_namespace WHERE nspname = %s", [_moved(server)]).fetchall():
        raise LedgerError(
            "ledger-moved",
            f"The ledger of {server.path} was moved away from the server; work with the file it was moved to,"
            " or move that back.",
        )


def put_away(talk: Any, server: Server) -> str:
    """Keep the ledger under another schema's name, as it was moved away; returns that name."""
    with talk.transaction():
        talk.execute(f"LOCK TABLE {server.schema}.schema_version IN ACCESS EXCLUSIVE MODE")
        talk.execute(f"DROP SCHEMA IF EXISTS {_moved(server)} CASCADE")  # what it was at a move before
        talk.execute(f"ALTER SCHEMA {server.schema} RENAME TO {_moved(server)}")
    return _moved(server)


def _moved(server: Server) -> str:
    return f"{server.schema}_moved"


def fetch(server: Server, file: Path, version: int | None = None) -> tuple[Rows, list[tuple[str]]]:
    """Put all that a server's ledger holds at this moment into a new file, which is proved.

    Returns its rows, and the captures that have a waveform. version: the schema's, if not the newest. Raises
    LedgerError where the rows don't arrive as they left.
    """
    file.unlink(missing_ok=True)  # of one that was killed
    with connect_once(file, read_only=False) as fresh:
        _run_scripts(fresh, until=version)
        names = table_names(fresh)
        for name in names:  # what the scripts put in themselves
            fresh.execute(f'DELETE FROM "{name}"')
    with _both(server, file, server.schema, read_only=True) as connection:
        connection.execute("USE kept_file")
        connection.execute("BEGIN")
        for name in names:
            text = statement("server/carry", table=name).format(to="kept_file", by=f"there.{server.schema}")
            connection.execute(text)
        here = {name: fingerprint(connection, name) for name in names}
        hashes = connection.execute(statement("upkeep/hashes")).fetchall() if version is None else []
        connection.execute(f"USE there.{server.schema}")
        rows = {name: fingerprint(connection, name) for name in names}
        connection.execute("COMMIT")
        connection.execute("CHECKPOINT kept_file")
    _demand_equal(rows, here, server)
    return rows, hashes


def write_anew(server: Server, wait_s: float) -> None:
    """Write every table anew, so that what was deleted stands in no free place of the server's files."""
    with turn(server, wait_s) as talk:
        for (name,) in talk.execute(_TABLES, [server.schema]).fetchall():
            talk.execute(f'VACUUM (FULL, ANALYZE) {server.schema}."{name}"')


_TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = %s ORDER BY 1"


@contextmanager
def _both(server: Server, file: Path, schema: str, *, read_only: bool) -> Iterator[duckdb.DuckDBPyConnection]:
    connection = engine()
    try:
        mode = " (READ_ONLY)" if not read_only else ""
        connection.execute(f"ATTACH '{quoted(str(file))}' AS kept_file{mode}")
        attach(connection, replace(server, schema=schema), "there", read_only=read_only)
        yield connection
    finally:
        with contextlib.suppress(duckdb.Error):
            connection.execute("ROLLBACK")
        connection.close()


def _demand_equal(left: Rows, arrived: Rows, server: Server) -> None:
    if left != arrived:
        differing = sorted(name for name in left if arrived.get(name) != left[name])
        raise LedgerError(
            "move-unverified",
            f"What came from or to the server of {server.path} differs in {', '.join(differing)}; nothing"
            " was changed.",
        )
