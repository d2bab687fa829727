"""Photos of a visit and of where it was clamped, kept in the ledger."""

from __future__ import annotations

import hashlib
from pathlib import Path

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.changes import add_row, row_of
from ingest.ledger.connection import open_ledger
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.readers.photo import read_photo
from ingest.vocabulary import PHOTO_SHOWS

MOST_PHOTOS = 12  # of a visit


def add_photo(
    ledger: Path | str, visit_id: int, name: str, data: bytes, *, author: Author, shows: str = "visit"
) -> int:
    """Keep a photo of a visit, shrunk; returns its number. The same file again is the same photo.

    Raises EntryRefused for an unknown visit, too many photos, or a file that is none.
    """
    if shows not in PHOTO_SHOWS:
        raise EntryRefused("bad-photo", f"A photo shows one of {', '.join(PHOTO_SHOWS)}.")
    told = {"visit_id": visit_id, "picture_hash": hashlib.sha256(data).hexdigest()}
    picture = read_photo(name, data)
    with open_ledger(ledger, read_only=False) as connection:
        visit = row_of(connection, "visit", visit_id)
        if visit is None or visit["withdrawn"]:
            raise EntryRefused("no-visit", f"There is no visit {visit_id} in this ledger.")
        [(known, same)] = connection.execute(statement("visit/photos_like"), told).fetchall()
        if same is not None:
            return int(same)
        if known >= MOST_PHOTOS:
            raise EntryRefused("many-photos", f"A visit keeps up to {MOST_PHOTOS} photos.")
        row = told | {"shows": shows, "picture": picture, "taken_by": author.name}
        with transaction(connection, author, "work", command="photo") as stamp:
            return int(add_row(connection, "photo", row, stamp))
