"""Save what can be read of a damaged ledger into a new one; the damaged file is kept.

The engine guards every block with a checksum, so what reads is right. Tables are read whole where they can
be, else in ever smaller ranges of rows down to what the engine reads at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb

from ingest.author import PROGRAM
from ingest.durable import flush_file
from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.damage import change_file
from ingest.ledger.gate import Turn, gate
from ingest.ledger.numbers import ID_COLUMNS, new_ids
from ingest.ledger.place import real_path
from ingest.ledger.questions import raise_question
from ingest.ledger.repair_mark import finish_repair, take_place
from ingest.ledger.statements import statement
from ingest.ledger.tables import fingerprint, table_names
from ingest.ledger.transaction import transaction
from ingest.ledger.waveform_home import ledger_id, owner
from ingest.server_address import server_of
from ingest.waveforms import waveform_folder
from ingest.wording.questions import rows_lost

if TYPE_CHECKING:
    import pyarrow as pa

# Tables that a new ledger brings along.
_OWN = ("schema_version", "last_id", "ledger_identity")
BEFORE = ".before-forgetting"
_SMALLEST = 2048  # rows: what the engine reads at once


@dataclass(frozen=True)
class Salvaged:
    """What was saved: rows saved and rows lost by table, and where the damaged file is kept."""

    saved: dict[str, int]
    lost: dict[str, int]
    kept: Path


def salvage(ledger: Path | str, *, wait_s: float = 60.0) -> Salvaged:
    """Replace a damaged ledger by a new one with every row that can still be read.

    Raises LedgerError when not even its table of contents can be read; the file is then left as it is.
    """
    ledger = Path(ledger)
    if server_of(ledger):
        raise LedgerError(
            "repair-on-server",
            f"The ledger of {ledger} lies on a server, which is repaired by the server's own means: restore"
            " a backup of it.",
        )
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    kept = ledger.with_name(f"{ledger.name}.damaged-{stamp}")
    fresh = ledger.with_name(f"{ledger.name}.repairing")
    with gate(Turn(ledger, wait_s)):
        finish_repair(ledger)
        _discard(fresh)  # of a repair that was killed before it was marked
        counts = _row_counts(ledger)
        with (
            open_ledger(fresh, read_only=False) as connection,
            transaction(connection, PROGRAM, "work", command="repair"),
        ):
            ours = [name for name in table_names(connection) if name in counts and name not in _OWN]
            saved = {name: _save(connection, ledger, name, counts[name][1]) for name in ours}
            _advance_numbers(connection, ledger)
            _stay_the_same(connection, ledger)
            lost = {name: counts[name][0] - saved[name] for name in ours if counts[name][0] > saved[name]}
            _record(connection, lost, kept)
        flush_file(fresh)
        take_place(ledger, fresh, kept)
        _discard(fresh)
    return Salvaged(saved, lost, kept)


def rewrite(ledger: Path | str, *, wait_s: float = 60.0) -> None:
    """Write a sound ledger anew: what was deleted from it may still stand in free places of its file.

    Raises LedgerError, and leaves the ledger as it is, where not every row can be read.
    """
    ledger = real_path(ledger)
    if server := server_of(ledger):
        from ingest.ledger.server_carrying import write_anew

        write_anew(server, wait_s)
        return
    fresh, before = ledger.with_name(f"{ledger.name}.repairing"), ledger.with_name(f"{ledger.name}{BEFORE}")
    with gate(Turn(ledger, wait_s)):
        finish_repair(ledger)
        for left in (before, change_file(before)):  # of one that was killed
            left.unlink(missing_ok=True)
        _discard(fresh)
        counts = _row_counts(ledger)
        with (
            open_ledger(fresh, read_only=False) as connection,
            transaction(connection, PROGRAM, "work", command="forget"),
        ):
            names = [name for name in table_names(connection) if name in counts and name not in _OWN]
            for name in names:
                _save(connection, ledger, name, counts[name][1])
            _advance_numbers(connection, ledger)
            _stay_the_same(connection, ledger)
            anew = {name: fingerprint(connection, name) for name in names}
        with _open_damaged(ledger) as old:
            lost = [name for name in names if fingerprint(old, name) != anew[name]]
        if lost:
            _discard(fresh)
            raise LedgerError(
                "ledger-damaged", f"{', '.join(lost)} of {ledger} can't be read whole; check it."
            )
        flush_file(fresh)
        take_place(ledger, fresh, before)
        for left in (before, change_file(before), fresh.with_name(fresh.name + ".gate")):
            left.unlink(missing_ok=True)


def _discard(fresh: Path) -> None:
    for path in (fresh, change_file(fresh), fresh.with_name(fresh.name + ".gate")):
        path.unlink(missing_ok=True)


def _open_damaged(ledger: Path) -> duckdb.DuckDBPyConnection:
    return duckdb.connect(str(ledger), read_only=True)


def _row_counts(ledger: Path) -> dict[str, tuple[int, int]]:
    """Return for each table its number of rows and the end of its row ids."""
    try:
        with _open_damaged(ledger) as connection:
            # Counting needs no block of data, only the table of contents.
            return {
                name: connection.execute(statement("upkeep/extent", table=name)).fetchall()[0]
                for name in table_names(connection)
            }
    except duckdb.Error as error:
        raise LedgerError(
            "beyond-repair",
            f"Nothing can be saved from {ledger} ({str(error).splitlines()[0]}); it was left as it is:"
            " restore a backup. The waveforms beside it are not touched.",
        ) from error


def _save(connection: duckdb.DuckDBPyConnection, ledger: Path, table: str, end: int) -> int:
    saved = 0
    for rows in _readable(ledger, table, 0, end):
        number = ID_COLUMNS.get(table)
        if number and number not in rows.column_names:  # of a schema that did not number this table
            rows = rows.append_column(number, [list(new_ids(connection, table, rows.num_rows))])
        connection.register("new_rows", rows)
        connection.execute(statement("ledger/insert_rows", table=table))
        connection.unregister("new_rows")
        saved += rows.num_rows
    return saved


def _readable(ledger: Path, table: str, first: int, end: int) -> Iterator[pa.Table]:
    if end <= first:
        return
    try:
        # A new connection each time: an error can leave one unusable.
        with _open_damaged(ledger) as connection:
            rows = connection.sql(
                statement("upkeep/part_of_table", table=table), params=[first, end]
            ).to_arrow_table()
    except duckdb.Error:
        if end - first <= _SMALLEST:
            return
        half = first + max(_SMALLEST, (end - first) // 2 // _SMALLEST * _SMALLEST)
        yield from _readable(ledger, table, first, half)
        yield from _readable(ledger, table, half, end)
        return
    yield rows


def _advance_numbers(connection: duckdb.DuckDBPyConnection, ledger: Path) -> None:
    """Let new rows be numbered after the saved ones, and after those the damaged ledger had given out."""
    connection.execute(statement("upkeep/raise_last_numbers"))
    try:
        with _open_damaged(ledger) as damaged:
            given = damaged.execute(statement("ledger/all_rows", table="last_id")).fetchall()
    except duckdb.Error:  # unreadable, or of a schema that had none
        return
    connection.executemany(statement("upkeep/raise_last_number"), [(last, name) for name, last in given])


def _stay_the_same(connection: duckdb.DuckDBPyConnection, ledger: Path) -> None:
    """Let the rebuilt ledger be the one that the folder of waveforms belongs to."""
    try:
        with _open_damaged(ledger) as damaged:
            ours = ledger_id(damaged)
    except duckdb.Error:  # unreadable, or of a schema that had none
        ours = None
    ours = ours or owner(waveform_folder(ledger))
    if ours is not None:
        connection.execute(statement("ledger/set_identity"), {"ledger_id": ours})


def _record(connection: duckdb.DuckDBPyConnection, lost: dict[str, int], kept: Path) -> None:
    raise_question(connection, "ledger", kept.name, rows_lost([*lost], [*lost.values()], kept.name))
