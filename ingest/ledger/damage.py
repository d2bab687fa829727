"""After a crash or a bad disk: open at the last good state, keep a copy of what can't be read, name the loss.

The engine writes each change to a change file first (`pumpledger.duckdb.wal`) and brings it into the ledger
when the last program closes it, so the file is there only while somebody writes, or after a crash. Entries of
that file are framed as size (8 bytes), checksum (8 bytes), payload; a commit is an entry of its own. The
engine silently stops at an entry whose size makes no sense, so the frames are walked here first.
"""

from __future__ import annotations

import logging
import re
import struct
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from ingest.author import PROGRAM
from ingest.durable import flush_file
from ingest.ledger.gate import Turn, connect
from ingest.ledger.questions import raise_question
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.wording.questions import bytes_lost, entries_lost

log = logging.getLogger(__name__)
_FRAME = struct.Struct("<QQ")
_HEADER_STARTS = b"d\x00b"  # field 100: entry type 98, the version entry that has no frame
_HEADER_ENDS = b"\xff\xff"
_COMMIT = b"d\x00d"  # field 100: entry type 100, a commit
_UNREADABLE_AT = re.compile(r"entry at byte position (\d+)")


@dataclass(frozen=True)
class ChangeFileState:
    """How far a change file can be read: bytes up to the first bad frame, and commits among them."""

    bytes_good: int
    bytes_all: int
    commits: int
    frames: tuple[int, ...]  # where each good frame starts

    @property
    def whole(self) -> bool:
        """True when the frames end exactly at the end of the file."""
        return self.bytes_good == self.bytes_all


@dataclass(frozen=True)
class Loss:
    """How many of the last `of` entries, else bytes, of a ledger's change file could not be read.

    kept: the file as found.
    """

    ledger: Path
    lost: int
    of: int
    entries: bool
    kept: Path


def change_file(path: Path) -> Path:
    """Return the file that holds changes not yet in the ledger."""
    return path.with_name(path.name + ".wal")


def walk_frames(content: bytes) -> ChangeFileState:
    """Follow the frames of a change file as far as they make sense."""
    if not content:
        return ChangeFileState(0, 0, 0, ())
    end = content.find(_HEADER_ENDS)
    if not content.startswith(_HEADER_STARTS) or end < 0:
        return ChangeFileState(0, len(content), 0, ())
    at = end + len(_HEADER_ENDS)
    commits = 0
    frames = []
    while at + _FRAME.size <= len(content):
        size, _ = _FRAME.unpack_from(content, at)
        if size == 0 or at + _FRAME.size + size > len(content):
            break
        frames.append(at)
        commits += content.startswith(_COMMIT, at + _FRAME.size)
        at += _FRAME.size + size
    return ChangeFileState(at, len(content), commits, tuple(frames))


def connect_recovering(turn: Turn) -> tuple[duckdb.DuckDBPyConnection, Loss | None]:
    """Connect to write; what a crash left unreadable in the change file is copied aside and returned.

    To be called while holding the gate: nobody else of ours is writing.
    """
    changes = change_file(turn.path)
    if not changes.exists():
        return connect(turn, read_only=False), None
    content = changes.read_bytes()
    state = walk_frames(content)
    good = state.bytes_all
    while True:
        try:
            connection = connect(turn, read_only=False)
            break
        except duckdb.Error as error:
            at = _UNREADABLE_AT.search(str(error))
            if not at or good == 0:
                raise
            # The engine had the file to itself when it said so: nobody is writing to it.
            good = _last_good(state, int(at.group(1)), good)
            _keep(changes, content)
            changes.write_bytes(content[:good])
    good = min(good, state.bytes_good)
    if good == state.bytes_all:
        return connection, None
    if good == 0 and changes.exists():  # not even its header can be read: nothing may be added to it
        connection.close()
        _keep(changes, content)
        changes.unlink(missing_ok=True)
        connection = connect(turn, read_only=False)
    kept = _keep(changes, content)
    commits = walk_frames(content[:good]).commits
    if commits < state.commits:
        return connection, Loss(turn.path, state.commits - commits, state.commits, True, kept)
    return connection, Loss(turn.path, state.bytes_all - good, state.bytes_all, False, kept)


def _last_good(state: ChangeFileState, unreadable_at: int, tried: int) -> int:
    """Return where to cut: where the frames end or, if that was tried, before the entry that can't be read.

    The engine drops the unfinished transaction that may be left at the end.
    """
    if unreadable_at >= state.bytes_good < tried:
        return state.bytes_good
    return max((start for start in state.frames if start < min(unreadable_at, tried)), default=0)


def _keep(changes: Path, content: bytes) -> Path:
    """Keep the change file as it was found; a copy with the same content is not made twice."""
    folder = changes.parent
    pattern = changes.name + ".kept-"
    for earlier in folder.glob(pattern + "*"):
        if earlier.read_bytes() == content:
            return earlier
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%fZ")
    kept = folder / f"{pattern}{stamp}"
    kept.write_bytes(content)
    flush_file(kept)
    return kept


def name_the_loss(connection: duckdb.DuckDBPyConnection, loss: Loss) -> None:
    """Say and ask what was lost, in a ledger of today's schema."""
    rows = connection.execute(statement("upkeep/last_visit")).fetchall()
    visit_id, unit, day = rows[0] if rows else (None, None, None)
    lost = entries_lost if loss.entries else bytes_lost
    said = lost(
        str(loss.ledger), loss.lost, loss.of, visit_id, unit, str(day) if day else None, loss.kept.name
    )
    log.warning("%s", said.text)
    with transaction(connection, PROGRAM, "work"):
        raise_question(connection, "ledger", loss.kept.name, said)
