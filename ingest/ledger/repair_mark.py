"""Put a rebuilt ledger in a damaged one's place, so that a program killed at any step leaves one of the two.

The rebuilt ledger is whole and flushed first. Then: write a mark that says which files, keep the damaged
ledger and its change file under other names, remove the change file, let the rebuilt one take the ledger's
name in one step, flush, remove the mark. The ledger's name never points at nothing. Every opening finishes
what is marked before it looks at the ledger.
"""

from __future__ import annotations

import glob
import json
import os
import shutil
from pathlib import Path

from ingest.durable import flush_file, flush_folder
from ingest.errors import LedgerError
from ingest.ledger.damage import change_file


def mark_of(ledger: Path) -> Path:
    """Return the file that says a repair is under way."""
    return ledger.with_name(ledger.name + ".repair")


def take_place(ledger: Path, fresh: Path, kept: Path) -> None:
    """Let `fresh` take the place of the damaged `ledger`, which is kept as `kept`. The gate must be held."""
    mark = mark_of(ledger)
    part = mark.with_name(mark.name + ".part")
    part.write_text(json.dumps({"fresh": fresh.name, "kept": kept.name}), encoding="utf-8")
    flush_file(part)
    part.replace(mark)
    flush_folder(ledger.parent)
    finish_repair(ledger)


def finish_repair(ledger: Path) -> None:
    """Finish a repair that is marked as under way, if there is one. The gate must be held.

    Raises LedgerError where the mark can't be read or the folder can't be written.
    """
    mark = mark_of(ledger)
    if not mark.exists():
        return
    try:
        said = json.loads(mark.read_text(encoding="utf-8"))
        fresh, kept = ledger.with_name(said["fresh"]), ledger.with_name(said["kept"])
        if fresh.exists():  # else it has taken the ledger's name already
            changes = change_file(ledger)
            keep(ledger, kept)
            if changes.exists():
                keep(changes, change_file(kept))
                changes.unlink()
            flush_folder(ledger.parent)
            fresh.replace(ledger)
            flush_folder(ledger.parent)
        mark.unlink()
        flush_folder(ledger.parent)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise LedgerError(
            "repair-unfinished",
            f"A repair of the ledger {ledger} was broken off and can't be finished ({error}): allow writing"
            " in its folder and try again.",
        ) from error


def refuse_beside_damaged(ledger: Path) -> None:
    """Raise LedgerError where a new ledger would hide what is left of another of the same name."""
    left = [change_file(ledger), *sorted(ledger.parent.glob(f"{glob.escape(ledger.name)}.damaged-*"))]
    found = next((path for path in left if path.exists()), None)
    if found is not None:
        raise LedgerError(
            "ledger-gone",
            f"There is no ledger at {ledger}, but {found.name} is left of one: put the ledger or a backup"
            " back, or move that file away to begin a new one.",
        )


def keep(path: Path, kept: Path) -> None:
    """Keep a file under another name too, whole or not at all; one kept before is left alone."""
    if kept.exists():
        return
    try:
        os.link(path, kept)
    except OSError:  # a file system without links
        part = kept.with_name(kept.name + ".part")
        shutil.copyfile(path, part)
        flush_file(part)
        part.replace(kept)
