"""One ledger, one folder of waveforms: the folder carries the ledger's id, and no other ledger writes there.

Without it a ledger that bears another's name, or an old name, would take that one's waveforms for its own
leftovers.
"""

from __future__ import annotations

import uuid
from pathlib import Path

import duckdb

from ingest.durable import flush_file, flush_folder
from ingest.errors import LedgerError
from ingest.ledger.statements import statement
from ingest.object_path import Place
from ingest.waveforms import waveform_folder, waveform_path

MARK = "ledger-id"


def ledger_id(connection: duckdb.DuckDBPyConnection) -> str | None:
    """Return the id of an open ledger; None where a repair has lost it."""
    rows = connection.execute(statement("ledger/identity")).fetchall()
    return rows[0][0] if rows else None


def owner(folder: Place) -> str | None:
    """Return the id of the ledger that a folder of waveforms belongs to; None where it doesn't say."""
    try:
        return (folder / MARK).read_text(encoding="utf-8", errors="replace").strip() or None
    except (FileNotFoundError, NotADirectoryError):
        return None


def refuse_without_ledger(ledger: Path) -> None:
    """Raise LedgerError where a new ledger would take over the waveforms of one that is gone."""
    folder = waveform_folder(ledger)
    if owner(folder) is not None:
        raise LedgerError(
            "ledger-gone",
            f"There is no ledger at {ledger}, but {folder.name} holds the waveforms of one: put the ledger or"
            " a backup back, or move that folder away to begin a new one.",
        )


def refuse_other(connection: duckdb.DuckDBPyConnection, ledger: Path) -> None:
    """Raise LedgerError where the folder beside an open ledger belongs to another one."""
    folder = waveform_folder(ledger)
    if owner(folder) not in (None, ledger_id(connection)):
        raise LedgerError("waveforms-of-another", not_ours(folder))


def claim(connection: duckdb.DuckDBPyConnection, ledger: Path) -> None:
    """Let the folder beside an open ledger carry its id, if there is a folder. The gate must be held.

    Raises LedgerError where it carries another's.
    """
    folder = waveform_folder(ledger)
    if isinstance(folder, Path) and folder.is_dir():  # a store is asked when a waveform comes into it
        mark(folder, ledger_id(connection))


def mark(folder: Place, ours: str | None) -> None:
    """Write the id of a ledger into its folder; LedgerError where another's stands there."""
    there = owner(folder)
    if ours is None or there == ours:
        return
    if there is not None:
        raise LedgerError("waveforms-of-another", not_ours(folder))
    if not isinstance(folder, Path):
        (folder / MARK).write_text(ours + "\n")
        return
    part = folder / f"{MARK}.{uuid.uuid4().hex[:8]}.part"  # of two who come at once neither sees the other's
    try:
        part.write_text(ours + "\n", encoding="utf-8")
        flush_file(part)
        part.replace(folder / MARK)
    except OSError as error:
        raise LedgerError(
            "waveform-not-stored",
            f"The folder {folder} can't be written ({error.strerror}); nothing was stored.",
        ) from error


def not_ours(folder: Place) -> str:
    """Return the sentence about a folder that belongs to another ledger."""
    return (
        f"The folder {folder} holds the waveforms of another ledger ({MARK} says so) and is left alone: put"
        " that ledger back under its name, or move the folder away."
    )


def bring_from_shared(connection: duckdb.DuckDBPyConnection, ledger: Path) -> None:
    """Give an older ledger a folder of its own where its name shared one with others: m5.db with m5.duckdb.

    Its captures' files are linked or copied, none is taken away; the folder is there once they all are.
    """
    ledger = ledger.resolve()
    own, shared = waveform_folder(ledger), ledger.with_suffix(".waveforms")
    if own == shared or not isinstance(own, Path) or own.exists() or not shared.is_dir():
        return
    from ingest.ledger.repair_mark import keep

    hashes = connection.execute(statement("upkeep/hashes")).fetchall()
    if not hashes:
        return
    making = own.with_name(own.name + ".part")
    making.mkdir(exist_ok=True)
    for (capture_hash,) in hashes:
        source = waveform_path(ledger.with_suffix(".duckdb"), capture_hash)
        if isinstance(source, Path) and source.exists():
            keep(source, making / source.name)
    making.replace(own)
    flush_folder(own.parent)
