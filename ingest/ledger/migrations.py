"""Bring a ledger's schema up to date: numbered scripts, each in one transaction with its version row."""

from __future__ import annotations

import logging
import shutil
from pathlib import Path

import duckdb

from ingest.durable import flush_file, utc_now
from ingest.errors import LedgerError
from ingest.ledger.gate import Turn, connect

SCRIPTS = Path(__file__).parents[1] / "sql"
log = logging.getLogger(__name__)


def scripts() -> dict[int, Path]:
    """Return the migration scripts by version."""
    return {int(p.name[:3]): p for p in sorted(SCRIPTS.glob("[0-9][0-9][0-9]_*.sql"))}


def ledger_version(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Return the schema version, 0 for an empty file; LedgerError for a newer one or another database."""
    tables = connection.execute("SELECT table_name FROM duckdb_tables() WHERE NOT internal").fetchall()
    if not tables:
        return 0
    if ("schema_version",) not in tables:
        raise LedgerError(
            "not-a-ledger", f"{path} is a database but not a pumpledger ledger; choose another --ledger."
        )
    [(version,)] = connection.execute("SELECT coalesce(max(version), 0) FROM schema_version").fetchall()
    newest = max(scripts())
    if version > newest:
        raise LedgerError(
            "ledger-newer",
            f"The ledger {path} was written by a newer pumpledger (schema {version}; this one knows"
            f" {newest}); update the program.",
        )
    return version


def migrate(connection: duckdb.DuckDBPyConnection, turn: Turn) -> duckdb.DuckDBPyConnection:
    """Apply what is missing and return a connection to the current ledger.

    An older ledger is copied first; a script that fails leaves the ledger as it was. Raises LedgerError then,
    and as `ledger_version` does.
    """
    version = ledger_version(connection, turn.path)
    pending = {v: script for v, script in scripts().items() if v > version}
    if not pending:
        return connection
    if version:
        connection.close()
        copy = _keep_copy(turn.path, version)
        log.warning(
            "The ledger %s is being upgraded from schema %d to %d; the old one is kept as %s.",
            turn.path, version, max(pending), copy.name,
        )  # fmt: skip
        connection = connect(turn, read_only=False)
    try:
        for number, script in pending.items():
            _apply(connection, number, script)
    except duckdb.Error as error:
        connection.close()
        raise LedgerError(
            "upgrade-failed",
            f"The ledger {turn.path} couldn't be upgraded by {script.name} and was left as it was: {error}",
        ) from error
    return connection


def _apply(connection: duckdb.DuckDBPyConnection, number: int, script: Path) -> None:
    connection.execute("BEGIN")
    try:
        connection.execute(
            "CREATE TABLE IF NOT EXISTS schema_version"
            " (version INTEGER PRIMARY KEY, name VARCHAR, applied_at TIMESTAMP)"
        )
        connection.execute(script.read_text(encoding="utf-8"))
        connection.execute("INSERT INTO schema_version VALUES (?, ?, ?)", [number, script.name, utc_now()])
        connection.execute("COMMIT")
    except duckdb.Error:
        connection.execute("ROLLBACK")
        raise


def _keep_copy(path: Path, version: int) -> Path:
    """Copy the closed ledger beside itself; an earlier copy of this version is left alone."""
    copy = path.with_name(f"{path.name}.schema-{version}")
    part = copy.with_name(copy.name + ".part")
    if not copy.exists():
        shutil.copyfile(path, part)
        flush_file(part)
        part.replace(copy)
    return copy
