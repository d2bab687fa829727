"""Take people's names out of a ledger, and what is older than the fleet keeps it; each can be tried first.

A name is removed exactly as it is listed: a cell that holds it alone is emptied; in a text, where it stands
by itself, [removed] takes its place. The ledger is then written anew, as an engine leaves old cells standing
in its file. Of each name a hash stays, by which a later load leaves it out. Backups keep what they hold.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import duckdb

from ingest.author import Author
from ingest.durable import utc_now
from ingest.errors import EntryRefused, LedgerError
from ingest.ledger.changes import log_change
from ingest.ledger.connection import open_ledger
from ingest.ledger.salvage import rewrite
from ingest.ledger.settings import settings_at
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Undone, transaction
from ingest.ledger.waveform_home import ledger_id
from ingest.object_path import Place
from ingest.pictures import without_metadata
from ingest.settings_in_force import Settings, by_name
from ingest.typed import tidy
from ingest.waiting import drop_all_waiting
from ingest.waveforms import rename_source, waveform_path

REMOVED = "[removed]"
# Who did something, by table.
PEOPLE: dict[str, tuple[str, ...]] = {
    "visit": ("technician",), "booking": ("decided_by",), "plan_list": ("made_by",), "setting": ("set_by",),
    "cost_entry": ("set_by",), "question": ("answered_by",), "change_log": ("changed_by",),
    "tray": ("taken_by",), "clamp": ("owner",), "clamp_check": ("checked_by",),
    "claim_step": ("stated_by",), "hold": ("held_by", "lifted_by"), "hold_closed": ("closed_by",),
    "photo": ("taken_by",),
}  # fmt: skip
# What people wrote, in which they may be named.
TEXTS: dict[str, tuple[str, ...]] = {
    "visit": ("note", "clamp_point", "channel", "clamp"), "service": ("note",), "breakdown": ("note",),
    "pump": ("cause", "claim", "failure_mode", "failure_mechanism"), "due_work": ("work",),
    "connection_note": ("clamp_point", "fuse", "access", "note"), "booking": ("reason",),
    "cost_entry": ("source",), "pump_type": ("spec_source",), "question": ("text", "answer"),
    "change_log": ("old_value", "new_value", "reason"), "capture": ("file_name", "channel"),
    "tray": ("file_name", "reason", "clamp", "entry"), "clamp": ("note", "channel"), "clamp_check": ("note",),
    "claim_step": ("note",), "hold": ("reason", "lifted_because"), "hold_closed": ("note",),
}  # fmt: skip
# What is older than a setting says: its column of a day, and what is emptied or deleted.
OVERDUE = {
    "keep_initials_days": (
        ("visit", "technician", "visited_on"), ("question", "answered_by", "answered_at"),
        ("booking", "decided_by", "decided_at"), ("plan_list", "made_by", "made_at"),
        ("change_log", "changed_by", "changed_at"), ("setting", "set_by", "recorded_at"),
        ("cost_entry", "set_by", "recorded_at"), ("tray", "taken_by", "recorded_at"),
        ("clamp_check", "checked_by", "checked_on"), ("claim_step", "stated_by", "stated_on"),
        ("hold", "held_by", "held_on"), ("hold", "lifted_by", "lifted_on"),
        ("hold_closed", "closed_by", "closed_on"), ("photo", "taken_by", "recorded_at"),
    ),
    "keep_photos_days": (("connection_note", "picture", "recorded_at"), ("photo", "picture", "recorded_at"),),
}  # fmt: skip


@dataclass
class Forgotten:
    """What was removed, or would be: cells by table and column, lines of the change log, waveform files.

    still_held: files beside the ledger that keep it all until somebody removes them.
    """

    cells: dict[str, int] = field(default_factory=dict)
    lines: int = 0
    waveforms: int = 0
    pictures: int = 0
    still_held: tuple[str, ...] = ()

    def count(self, table: str, column: str, rows: int) -> None:
        """Add to the cells counted."""
        if rows:
            name = f"{table}.{column}"
            self.cells[name] = self.cells.get(name, 0) + rows


def forget_names(
    ledger: Path, names: Sequence[str], *, author: Author, dry_run: bool, reason: str = "asked for"
) -> Forgotten:
    """Remove these exact names from tables, change log, file names and pictures; dry_run: count only.

    Raises EntryRefused without a name, or for one of a single letter, which words are made of.
    """
    wanted = sorted({tidy(name.strip(), "name") for name in names}, key=lambda n: (-len(n), n))
    if not wanted or any(len(name) < 2 for name in wanted):
        raise EntryRefused("no-name", "Give each name in full, of two letters or more, as the ledger has it.")
    pattern = _standing_alone(wanted)
    found = Forgotten(still_held=still_held(ledger))
    sources: list[tuple[str, str]] = []
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "settings", command="forget") as stamp,
    ):
        for table, columns in PEOPLE.items():
            for column in columns:
                found.count(table, column, _empty_people(connection, table, column, wanted))
        for table, columns in TEXTS.items():
            for column in columns:
                found.count(table, column, _reword(connection, table, column, pattern))
        found.pictures = _strip_pictures(connection)
        for capture_hash in _hashes(connection):
            if path := _named_in_source(waveform_path(ledger, capture_hash), pattern):
                sources.append((capture_hash, path))
        found.waveforms = len(sources)
        salt = ledger_id(connection) or ""
        for name in wanted:
            said = {"name_hash": hash_of(name, salt), "words": len(_words(name)), "at": utc_now()}
            connection.execute(statement("ledger/forget_name"), said)
        log_change(
            connection, "forgotten_name", "", None, None, f"{len(wanted)} names removed", stamp, reason=reason
        )
        if dry_run:
            raise Undone
    if not dry_run:
        _write_anew(ledger, sources=sources)
    return found


def forget_overdue(ledger: Path, *, author: Author, dry_run: bool, today: date | None = None) -> Forgotten:
    """Remove what is older than the settings keep_… say (0: kept for good); dry_run: count only."""
    today = today or date.today()
    found = Forgotten(still_held=still_held(ledger))
    gone: list[str] = []
    with (
        open_ledger(ledger, read_only=False) as connection,
        transaction(connection, author, "settings", command="forget") as stamp,
    ):
        settings = settings_at(connection)
        for key, places in OVERDUE.items():
            before = before_which(settings, key, today)
            for table, column, day in places if before else ():
                text = statement("ledger/empty_older", table=table, column=column, day=day)
                found.count(table, column, connection.execute(text, [before]).fetchall()[0][0])
        if before := before_which(settings, "keep_changes_days", today):
            found.lines = connection.execute(statement("ledger/drop_old_changes"), [before]).fetchall()[0][0]
        if before := before_which(settings, "keep_waveforms_days", today):
            gone = [h for (h,) in connection.execute(statement("ledger/old_waveforms"), [before]).fetchall()]
            for capture_hash in gone:
                connection.execute(statement("ledger/waveform_removed"), [today, capture_hash])
        found.waveforms = len(gone)
        said = f"{sum(found.cells.values())} cells, {found.lines} lines, {len(gone)} waveforms removed"
        log_change(connection, "ledger", "", None, None, said, stamp, reason="older than it is kept")
        if dry_run:
            raise Undone
    if not dry_run:
        _write_anew(ledger, gone=gone)
    return found


def _write_anew(ledger: Path, *, sources: Sequence[tuple[str, str]] = (), gone: Sequence[str] = ()) -> None:
    try:
        for capture_hash, source in sources:
            rename_source(ledger, capture_hash, source)
        for capture_hash in gone:
            waveform_path(ledger, capture_hash).unlink(missing_ok=True)
        drop_all_waiting(ledger)
        rewrite(ledger)
    except (LedgerError, OSError) as error:
        why = error.text if isinstance(error, LedgerError) else f"{error.strerror}."
        raise LedgerError(
            "not-written-anew",
            f"It is removed from the tables of {ledger}, but not every file could be written anew, so it may"
            f" still stand in free places of that file or in waveforms: mend what is said here, then run the"
            f" same again. {why}",
        ) from error


def before_which(settings: Settings, key: str, today: date) -> date | None:
    """Return the day before which something is no longer kept, None where it is kept for good."""
    days = int(by_name(settings, key))
    return today - timedelta(days=days) if days else None


def still_held(ledger: Path) -> tuple[str, ...]:
    """Return the files beside a ledger that hold what it held: backups, copies before upgrades, repairs."""
    ledger = ledger.resolve()
    own = f"{ledger.name}."
    beside = [p for p in sorted(ledger.parent.glob("*")) if p.name.startswith(own)]
    kept = [
        p
        for p in beside
        if re.search(r"\.(schema-|damaged-|wal\.kept-|before-forgetting)", p.name[len(own) - 1 :])
    ]
    backups = sorted((ledger.parent / "backups").glob("*"))
    return tuple(str(p.relative_to(ledger.parent)) for p in [*kept, *backups])


def hash_of(name: str, salt: str) -> str:
    """Return what is kept of a name: it tells whether another is the same, and not what it was."""
    return hashlib.sha256(f"{salt}:{name}".encode()).hexdigest()


@dataclass(frozen=True)
class Hidden:
    """The names that a load leaves out, as hashes, by how many words they have."""

    salt: str
    hashes: frozenset[str]
    words: tuple[int, ...]

    def person(self, name: str | None) -> str | None:
        """Return a name, or None for one that was removed."""
        return None if name and hash_of(name.strip(), self.salt) in self.hashes else name

    def text(self, said: str | None) -> str | None:
        """Return a text with [removed] for each name that was removed."""
        if not said or not self.hashes:
            return said
        spans = [(m.start(), m.end()) for m in _WORD.finditer(said)]
        out, at, place = [], 0, 0
        while place < len(spans):
            start = spans[place][0]
            for count in self.words:
                if place + count <= len(spans):
                    end = spans[place + count - 1][1]
                    if hash_of(said[start:end], self.salt) in self.hashes:
                        out += [said[at:start], REMOVED]
                        at, place = end, place + count - 1
                        break
            place += 1
        return "".join([*out, said[at:]])


_WORD = re.compile(r"[^\W_]+")


def hidden_names(connection: duckdb.DuckDBPyConnection) -> Hidden:
    """Return the names that were removed from this ledger."""
    rows = connection.execute(statement("ledger/forgotten_names")).fetchall()
    counts = tuple(sorted({words for _, words in rows}, reverse=True))
    return Hidden(ledger_id(connection) or "", frozenset(h for h, _ in rows), counts)


def _words(name: str) -> list[str]:
    return _WORD.findall(name)


def _standing_alone(names: Iterable[str]) -> re.Pattern[str]:
    either = "|".join(re.escape(name) for name in names)
    return re.compile(rf"(?<![^\W_])(?:{either})(?![^\W_])")


def _hashes(connection: duckdb.DuckDBPyConnection) -> list[str]:
    return [h for (h,) in connection.execute(statement("upkeep/hashes")).fetchall()]


def _empty_people(
    connection: duckdb.DuckDBPyConnection, table: str, column: str, names: Sequence[str]
) -> int:
    text = statement("ledger/empty_people", table=table, column=column)
    return int(connection.execute(text, [list(names)]).fetchall()[0][0])


def _reword(connection: duckdb.DuckDBPyConnection, table: str, column: str, pattern: re.Pattern[str]) -> int:
    """Write [removed] for names in one column's distinct texts; returns how many rows held one."""
    distinct = connection.execute(statement("ledger/texts", table=table, column=column)).fetchall()
    rows = 0
    for (said,) in distinct:
        said = str(said)
        anew = pattern.sub(REMOVED, said)
        if anew != said:
            text = statement("ledger/reword", table=table, column=column)
            rows += int(connection.execute(text, [anew, said]).fetchall()[0][0])
    return rows


def _strip_pictures(connection: duckdb.DuckDBPyConnection) -> int:
    stripped = 0
    for note_id, picture in connection.execute(statement("ledger/pictures")).fetchall():
        anew = without_metadata(bytes(picture))
        if anew != bytes(picture):
            stripped += 1
            connection.execute(statement("ledger/set_picture"), [anew, note_id])
    return stripped


def _named_in_source(path: Place, pattern: re.Pattern[str]) -> str | None:
    """Return the source that a waveform file is to bear, None where its own names nobody."""
    from ingest.waveforms import read_waveform

    try:
        source = read_waveform(path).source or ""
    except LedgerError:  # `check` names it
        return None
    anew = pattern.sub(REMOVED, source)
    return anew if anew != source else None
