"""The one way to write: a transaction with an author, safe to open inside another.

    with transaction(connection, author, "work", command="log") as stamp:
        change_cells(connection, "visit", visit_id, {"supply_v": 13.1}, stamp, reason="read again")

All of it is kept or nothing. A transaction opened inside another joins it: it is kept or undone with the
outer one, and what failed inside can't be passed over.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

import duckdb

from ingest.author import FROM_ROLE, Author
from ingest.durable import utc_now
from ingest.errors import EntryRefused
from ingest.ledger.depots import demand_own, last_numbers, no_word_of_others


@dataclass(frozen=True)
class Stamp:
    """Who changes what when: goes into `recorded_at` and the change log."""

    at: datetime  # UTC, without a zone
    author: Author
    command: str | None

    @property
    def by(self) -> str:
        """The author's name."""
        return self.author.name


class Undone(Exception):
    """Raised inside a transaction to leave it and undo it, without this being an error."""


@dataclass
class _UnderWay:
    failed: bool = False


_under_way: dict[int, _UnderWay] = {}  # by connection


@contextmanager
def transaction(
    connection: duckdb.DuckDBPyConnection, author: Author, what: str, *, command: str | None = None
) -> Iterator[Stamp]:
    """Keep all that is written inside, or nothing if it raises; yields the stamp of what is written.

    what: what the author does, a key of FROM_ROLE; EntryRefused where their role may not. command: what the
    change log calls it. An author bound to depots may change their units alone.
    """
    if not author.may(what):
        raise EntryRefused(
            "not-allowed", f"{author.name} may not do this as {author.role}; ask a {FROM_ROLE[what]}."
        )
    stamp = Stamp(utc_now(), author, command)
    outer = _under_way.get(id(connection))
    if outer is not None:
        try:
            yield stamp
        except BaseException:
            outer.failed = True
            raise
        return
    mine = _under_way[id(connection)] = _UnderWay()
    try:
        connection.execute("BEGIN")
        since = last_numbers(connection) if author.depots else {}
        with no_word_of_others(connection, author.depots):
            yield stamp
        if author.depots:
            demand_own(connection, author.depots, since)
        if mine.failed:
            raise RuntimeError("a part of this transaction failed and was passed over: nothing is kept")
        connection.execute("COMMIT")
    except BaseException as error:
        with contextlib.suppress(duckdb.Error):  # after some errors the engine has undone it by itself
            connection.execute("ROLLBACK")
        if not isinstance(error, Undone):
            raise
    finally:
        del _under_way[id(connection)]
