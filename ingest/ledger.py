"""Open the ledger: create it, bring its schema up to date, and never hold it longer than one job.

DuckDB lets one process write or many read, so every caller opens, works and closes; a lock held by
another process is waited for with short random pauses up to a deadline.
"""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import duckdb

from ingest.errors import LedgerError

MIGRATIONS = Path(__file__).with_name("sql")


@contextmanager
def open_ledger(
    path: Path | str, *, read_only: bool = True, wait_s: float = 15.0
) -> Iterator[duckdb.DuckDBPyConnection]:
    """Yield a connection to the ledger at `path`; close it on leaving.

    read_only=False creates the ledger when it is missing and applies pending migrations.
    Raises LedgerError when it is missing (read only), newer than this program, or locked for `wait_s`.
    """
    path = Path(path)
    if read_only and not path.exists():
        raise LedgerError(
            "no-ledger", f"There is no ledger at {path}; log a visit or load a fleet folder to start one."
        )
    connection = _connect(path, read_only, wait_s)
    try:
        if not read_only:
            _migrate(connection)
        yield connection
    finally:
        connection.close()


def _connect(path: Path, read_only: bool, wait_s: float) -> duckdb.DuckDBPyConnection:
    deadline = time.monotonic() + wait_s
    while True:
        try:
            if read_only:
                return duckdb.connect(str(path), read_only=True)
            # 1.5 is the oldest engine that must still open the file.
            return duckdb.connect(str(path), config={"storage_compatibility_version": "v1.5.0"})
        except duckdb.IOException as error:
            if "lock" not in str(error):
                raise LedgerError(
                    "unreadable-ledger", f"The ledger {path} can't be opened: {error}"
                ) from error
            if time.monotonic() > deadline:
                raise LedgerError(
                    "ledger-busy",
                    f"The ledger {path} has been in use by another program for {wait_s:.0f} s; try again.",
                ) from error
            time.sleep(random.uniform(0.02, 0.07))


def _migrate(connection: duckdb.DuckDBPyConnection) -> None:
    connection.execute(
        "CREATE TABLE IF NOT EXISTS schema_version (version INTEGER PRIMARY KEY, name VARCHAR, applied_at TIMESTAMP)"
    )
    done = {v for (v,) in connection.execute("SELECT version FROM schema_version").fetchall()}
    for script in sorted(MIGRATIONS.glob("[0-9][0-9][0-9]_*.sql")):
        version = int(script.name[:3])
        if version in done:
            continue
        connection.execute("BEGIN")
        connection.execute(script.read_text(encoding="utf-8"))
        connection.execute(
            "INSERT INTO schema_version VALUES (?, ?, now()::TIMESTAMP)", [version, script.name]
        )
        connection.execute("COMMIT")
