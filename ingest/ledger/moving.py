"""Move a ledger from a file to a server or back, its waveforms too, every table's cells proved equal.

Nobody writes meanwhile. Where it came from it is kept under another name, so that no two go on as one ledger.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from ingest.durable import flush_file, flush_folder
from ingest.errors import LedgerError
from ingest.ledger.backup import PART, copy_waveforms, is_sound
from ingest.ledger.connection import open_ledger
from ingest.ledger.gate import Turn, connect_once, gate
from ingest.ledger.place import real_path, refuse_untested_place
from ingest.ledger.server_carrying import Rows, bring, fetch, put_away, version_there
from ingest.ledger.server_engine import forget_tables, turn
from ingest.ledger.statements import statement
from ingest.ledger.tables import fingerprint, table_names
from ingest.ledger.waveform_home import ledger_id, refuse_other
from ingest.server_address import Server, server_of
from ingest.waveforms import waveform_folder, waveform_path


@dataclass(frozen=True)
class Moved:
    """What was moved: rows by table, waveforms, captures without a sound one; where the old one is kept."""

    rows: dict[str, int]
    waveforms: int
    lacking: tuple[str, ...]
    kept: str


def move(source: Path | str, to: Path | str, *, wait_s: float = 60.0) -> Moved:
    """Move a ledger from a file to a server, or from a server to a file.

    Raises LedgerError, and leaves both places as they were, where there is a ledger already at `to`, both are
    files or both addresses, or not every cell arrives as it left.
    """
    source, to = real_path(source), real_path(to)
    if not source.exists():
        raise LedgerError("no-ledger", f"There is no ledger at {source}.")
    here, there = server_of(source), server_of(to)
    if there is not None and here is None:
        return _to_server(source, there, wait_s)
    if here is not None and there is None:
        return _to_file(here, to, wait_s)
    raise LedgerError(
        "move-what",
        "A move goes from a ledger file to an address of a server (.toml), or back from one to a file.",
    )


def _to_server(source: Path, server: Server, wait_s: float) -> Moved:
    with open_ledger(
        source, read_only=False, wait_s=wait_s
    ):  # brings it up to date, and in what a crash left
        pass
    with gate(Turn(source, wait_s)), turn(server, wait_s) as talk:
        if version_there(talk, server) is not None:
            raise LedgerError(
                "ledger-there",
                f"The schema {server.schema} on the server of {server.path} holds a ledger already; name"
                " another schema.",
            )
        with connect_once(source, read_only=True) as connection:
            rows = {name: fingerprint(connection, name) for name in table_names(connection)}
            hashes = connection.execute(statement("upkeep/hashes")).fetchall()
            ours = ledger_id(connection)
            refuse_other(connection, server.path)
        lacking = _bring_waveforms(source, server.path, hashes, ours)
        bring(talk, server, source)
        forget_tables(server)
        kept = source.with_name(f"{source.name}.moved-{datetime.now(UTC):%Y%m%dT%H%M%SZ}")
        source.rename(kept)
        flush_folder(source.parent)
    return _moved(rows, hashes, lacking, kept.name)


def _to_file(server: Server, to: Path, wait_s: float) -> Moved:
    refuse_untested_place(to)
    if to.exists():
        raise LedgerError("ledger-there", f"{to} is there already; choose another name.")
    if not to.parent.is_dir():
        raise LedgerError("no-folder", f"There is no folder {to.parent} for the ledger; create it first.")
    with open_ledger(server.path, read_only=False, wait_s=wait_s) as connection:  # brings it up to date
        refuse_other(connection, to)
        ours = ledger_id(connection)
    part = to.with_name(to.name + PART)
    try:
        with turn(server, wait_s) as talk:
            rows, hashes = fetch(server, part)
            lacking = _bring_waveforms(server.path, to, hashes, ours)
            flush_file(part)
            part.replace(to)
            flush_folder(to.parent)
            kept = put_away(talk, server)
            forget_tables(server)
    finally:
        part.unlink(missing_ok=True)
    return _moved(rows, hashes, lacking, f"schema {kept} on the server")


def _bring_waveforms(source: Path, to: Path, hashes: list[tuple[str]], ours: str | None) -> tuple[str, ...]:
    """Return the captures that have no sound file at the new place; one may have been there before."""
    if waveform_folder(source) == waveform_folder(to):
        return ()
    missing, damaged = copy_waveforms(source, to, [capture_hash for (capture_hash,) in hashes], ours)
    return tuple(one for one in (*missing, *damaged) if not is_sound(waveform_path(to, one)))


def _moved(rows: Rows, hashes: list[tuple[str]], lacking: tuple[str, ...], kept: str) -> Moved:
    counts = {name: count for name, (count, _) in rows.items()}
    return Moved(counts, len(hashes) - len(lacking), lacking, kept)
