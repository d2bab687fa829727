"""Files that survive a power cut, and the clock of the ledger."""

from __future__ import annotations

import contextlib
import os
import shutil
import time
from datetime import UTC, datetime
from pathlib import Path

ABANDONED_S = 86_400.0


def utc_now() -> datetime:
    """Return the time now in UTC, without a zone, as the ledger keeps it."""
    return datetime.now(UTC).replace(tzinfo=None)


def clear_unfinished(folder: Path, pattern: str) -> None:
    """Remove what killed programs left unfinished in `folder` under names of ours, once a day old."""
    for path in folder.glob(pattern):
        with contextlib.suppress(OSError):  # another program was quicker, or it isn't ours to remove
            if time.time() - path.stat().st_mtime < ABANDONED_S:
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()


def flush_file(path: Path) -> None:
    """Make the content of `path` and its name survive a power cut."""
    flush_content(path)
    flush_folder(path.parent)


def flush_content(path: Path) -> None:
    """Make the content of `path` survive a power cut; whether its name does is for `flush_folder`."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def flush_folder(folder: Path) -> None:
    """Make a rename in `folder` survive a power cut (where the system lets a folder be flushed)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
