"""Files that survive a power cut, and the clock of the ledger."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path


def utc_now() -> datetime:
    """Return the time now in UTC, without a zone, as the ledger keeps it."""
    return datetime.now(UTC).replace(tzinfo=None)


def flush_file(path: Path) -> None:
    """Make the content of `path` and its name survive a power cut."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())
    flush_folder(path.parent)


def flush_folder(folder: Path) -> None:
    """Make a rename in `folder` survive a power cut (where the system lets a folder be flushed)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
