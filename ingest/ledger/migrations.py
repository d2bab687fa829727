"""Bring a ledger's schema up to date, by numbered scripts, on a copy that takes its place in one step.

Never in place: a long-term engine can't read every altered table back from the change file, so a program
killed half-way would leave a ledger it calls damaged. Order: close the ledger with everything in it, copy,
apply the scripts to the copy, checkpoint, flush, replace, flush the folder. Before the replacement the ledger
is the old one, untouched; after it, the new one. A copy that a killed program left is thrown away.
"""

from __future__ import annotations

import contextlib
import filecmp
import logging
import shutil
from itertools import count
from pathlib import Path

import duckdb

from ingest.durable import flush_file, flush_folder, utc_now
from ingest.errors import LedgerError
from ingest.ledger.damage import change_file
from ingest.ledger.gate import Turn, connect, connect_once
from ingest.ledger.statements import statement

SCRIPTS = Path(__file__).parents[1] / "sql"
log = logging.getLogger(__name__)


def scripts() -> dict[int, Path]:
    """Return the migration scripts by version."""
    return {int(p.name[:3]): p for p in sorted(SCRIPTS.glob("[0-9][0-9][0-9]_*.sql"))}


def ledger_version(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Return the schema version, 0 for an empty file; LedgerError for a newer one or another database."""
    try:
        [(version,)] = connection.execute(statement("ledger/version")).fetchall()
    except duckdb.CatalogException as error:  # listing all tables first would take a third of each opening
        if not connection.execute(statement("ledger/tables")).fetchall():
            return 0
        raise LedgerError(
            "not-a-ledger", f"{path} is a database but not a pumpledger ledger; choose another --ledger."
        ) from error
    newest = max(scripts())
    if version > newest:
        raise LedgerError(
            "ledger-newer",
            f"The ledger {path} was written by a newer pumpledger (schema {version}; this one knows"
            f" {newest}); update the program.",
        )
    return version


def create(turn: Turn) -> duckdb.DuckDBPyConnection:
    """Make a new ledger, whole before it has its name; return a connection to it. The gate must be held."""
    _build(turn.path, 0)
    return connect(turn, read_only=False)


def migrate(connection: duckdb.DuckDBPyConnection, turn: Turn) -> duckdb.DuckDBPyConnection:
    """Apply what is missing and return a connection to the current ledger. The gate must be held.

    The old ledger is kept beside it; whatever fails leaves the ledger as it was. Raises LedgerError then, and
    as `ledger_version` does.
    """
    version = ledger_version(connection, turn.path)
    if version == max(scripts()):
        return connection
    connection.execute("CHECKPOINT")
    connection.close()
    if change_file(turn.path).exists():
        raise LedgerError(
            "ledger-busy", f"Another program is writing to {turn.path}, which is to be upgraded; try again."
        )
    _build(turn.path, version)
    return connect(turn, read_only=False)


def _build(path: Path, version: int) -> None:
    """Put a ledger of the newest schema in the place of the closed one at `path` (version 0: of none)."""
    work = path.with_name(path.name + ".upgrading")
    pending = {number: script for number, script in scripts().items() if number > version}
    number = min(pending)
    try:
        _discard(work)
        before = None
        if path.exists():
            before = _stamp(path)
            if version:
                kept = _keep_copy(path, version)
                log.warning(
                    "The ledger %s is being upgraded from schema %d to %d; the old one is kept as %s.",
                    path, version, max(pending), kept.name,
                )  # fmt: skip
            shutil.copyfile(path, work)
        with connect_once(work, read_only=False) as connection:
            for number, script in pending.items():
                apply_script(connection, number, script)
            connection.execute("CHECKPOINT")
        flush_file(work)
        if before is not None and _stamp(path) != before:  # where there is no gate to hold
            raise LedgerError(
                "ledger-busy", f"Another program wrote to {path} while it was being upgraded; try again."
            )
        work.replace(path)
        flush_folder(path.parent)
    except (duckdb.Error, OSError) as error:
        if not version and isinstance(error, duckdb.Error):
            raise  # nothing was to be upgraded: what hinders a new ledger has sentences of its own
        raise LedgerError(
            "upgrade-failed",
            f"The ledger {path} couldn't be upgraded by {pending[number].name} and was left as it was:"
            f" {str(error).splitlines()[0]}",
        ) from error
    finally:
        with contextlib.suppress(OSError):  # the next upgrade throws it away
            _discard(work)


def apply_script(connection: duckdb.DuckDBPyConnection, number: int, script: Path) -> None:
    """Apply one script, statement by statement, in one transaction with its version row."""
    connection.execute("BEGIN")
    connection.execute(statement("ledger/version_table"))
    for part in connection.extract_statements(script.read_text(encoding="utf-8")):
        connection.execute(part)
    connection.execute(statement("ledger/add_version"), [number, script.name, utc_now()])
    connection.execute("COMMIT")


def _discard(work: Path) -> None:
    work.unlink(missing_ok=True)
    change_file(work).unlink(missing_ok=True)


def _stamp(path: Path) -> tuple[int, int]:
    status = path.stat()
    return status.st_size, status.st_mtime_ns


def _keep_copy(path: Path, version: int) -> Path:
    """Copy the closed ledger beside itself; what was kept there before is left alone."""
    names = (path.with_name(f"{path.name}.schema-{version}{'' if n == 1 else f'-{n}'}") for n in count(1))
    copy = next(name for name in names if not name.exists() or _same(name, path))
    if not copy.exists():
        part = copy.with_name(copy.name + ".part")
        shutil.copyfile(path, part)
        flush_file(part)
        part.replace(copy)
        flush_folder(copy.parent)
    return copy


def _same(a: Path, b: Path) -> bool:
    return filecmp.cmp(a, b, shallow=False)
