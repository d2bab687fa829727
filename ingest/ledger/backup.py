"""Copy the ledger and its waveforms while others work, and prove the copy before calling it one.

Restore by copying both back (or by pointing --ledger at the copy): a backup is a ledger.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from ingest.durable import clear_unfinished, flush_file, flush_folder
from ingest.errors import LedgerError
from ingest.ledger.connection import open_ledger
from ingest.ledger.place import real_path
from ingest.ledger.statements import statement
from ingest.ledger.tables import fingerprint, table_names
from ingest.ledger.waveform_home import ledger_id, mark, refuse_other
from ingest.object_path import Place
from ingest.server_address import is_address, server_of
from ingest.waveforms import read_waveform, waveform_folder, waveform_in, waveform_path

PART = ".backup.part"
COPYING = ".copying"
# In a process of its own: closing a file this process has open would drop the engine's lock on it.
_COPY = "import shutil, sys; shutil.copyfile(sys.argv[1], sys.argv[2])"


@dataclass(frozen=True)
class Backup:
    """A verified copy: where it is, rows by table, waveforms, and the captures that have no sound one.

    missing: no file to copy; damaged: a file whose samples no longer match its name, which is not copied.
    """

    path: Path
    rows: dict[str, int]
    waveforms: int
    missing: tuple[str, ...]
    damaged: tuple[str, ...]
    size_bytes: int

    @property
    def whole(self) -> bool:
        """True when every capture's waveform is in it."""
        return not self.missing and not self.damaged


def default_destination(ledger: Path) -> Path:
    """Return backups/<name>-<UTC time>.duckdb beside the ledger."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    suffix = ".duckdb" if is_address(ledger) else ledger.suffix
    return ledger.parent / "backups" / f"{ledger.stem}-{stamp}{suffix}"


def backup(ledger: Path | str, destination: Path | None = None, *, wait_s: float = 60.0) -> Backup:
    """Copy `ledger` to `destination`, waveforms beside it, and verify both.

    Writers wait while the file is copied; readers don't. Raises LedgerError, and leaves no file that looks
    like a backup, when it can't be written or doesn't verify.
    """
    ledger = real_path(ledger)
    destination = real_path(destination or default_destination(ledger))
    if destination.exists():
        raise LedgerError("backup-exists", f"{destination} is there already; choose another name.")
    part = destination.with_name(destination.name + PART)
    try:
        clear_unfinished(destination.parent, f"*{PART}")
        with open_ledger(ledger, wait_s=wait_s) as connection:
            destination.parent.mkdir(parents=True, exist_ok=True)
            rows = {name: fingerprint(connection, name) for name in table_names(connection)}
            hashes = connection.execute(statement("upkeep/hashes")).fetchall()
            refuse_other(connection, destination)
            ours = ledger_id(connection)
            if server := server_of(ledger):
                from ingest.ledger.server_carrying import fetch

                rows, hashes = fetch(server, part)
            else:
                subprocess.run(
                    [sys.executable, "-c", _COPY, str(ledger), str(part)], check=True, capture_output=True
                )
        flush_file(part)
        missing, damaged = copy_waveforms(ledger, destination, [h for (h,) in hashes], ours)
        _verify(part, rows)
        part.replace(destination)
        flush_folder(destination.parent)
    except (OSError, subprocess.CalledProcessError) as error:
        _drop(part, waveform_folder(destination))
        raise LedgerError(
            "backup-failed", f"The backup can't be written to {destination}: {_why(error)}"
        ) from error
    except BaseException:
        _drop(part, waveform_folder(destination))
        raise
    return Backup(
        destination,
        {name: count for name, (count, _) in rows.items()},
        len(hashes) - len(missing) - len(damaged),
        missing,
        damaged,
        destination.stat().st_size,
    )


def _drop(part: Path, waveforms: Place) -> None:
    with contextlib.suppress(OSError):  # what hindered writing it may hinder removing it
        part.unlink()
    if not isinstance(waveforms, Path):
        return
    shutil.rmtree(waveforms.with_name(waveforms.name + PART), ignore_errors=True)
    shutil.rmtree(waveforms / COPYING, ignore_errors=True)


def _why(error: OSError | subprocess.CalledProcessError) -> str:
    if isinstance(error, subprocess.CalledProcessError):
        said = (error.stderr or b"").decode(errors="replace").strip().rpartition("\n")[2]
        why = re.search(r"\[Errno \d+\] ([^:]+)", said)
        return f"{why[1]}." if why else "copying failed."
    return f"{error.strerror or error}."


def copy_waveforms(
    ledger: Path, destination: Path, hashes: list[str], ours: str | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Copy each capture's file, proved by its name, which is the hash of its samples, never by the source.

    Returns the captures that have none, and those whose file is damaged.
    """
    if not hashes:
        return (), ()
    final = waveform_folder(destination)
    if not isinstance(final, Path):
        return _put_waveforms(ledger, final, hashes, ours)
    # A folder that is there holds an earlier copy's files; a new one gets its name when all are in it.
    folder = final if final.is_dir() else final.with_name(final.name + PART)
    folder.mkdir(parents=True, exist_ok=True)
    mark(folder, ours)
    staging = folder / COPYING  # a copy gets its name once it is proved, never over a sound one before
    clear_unfinished(folder, COPYING)
    staging.mkdir(exist_ok=True)
    missing, damaged = [], []
    for capture_hash in hashes:
        source = waveform_path(ledger, capture_hash)
        copy = folder / source.name
        if not source.exists():
            missing.append(capture_hash)
            continue
        staged = staging / copy.name
        with staged.open("wb") as file:
            file.write(source.read_bytes())
            file.flush()
            os.fsync(file.fileno())
        if is_sound(staged):
            staged.replace(copy)
        elif is_sound(source):
            raise LedgerError(
                "backup-unverified", f"The copy of {source.name} differs; the backup was given up."
            )
        else:
            damaged.append(capture_hash)
    shutil.rmtree(staging)
    flush_folder(folder)
    if folder != final:
        folder.replace(final)
        flush_folder(final.parent)
    return tuple(missing), tuple(damaged)


def _put_waveforms(
    ledger: Path, store: Place, hashes: list[str], ours: str | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """As `copy_waveforms`, into an object store: what is proved before is put there, and read back."""
    mark(store, ours)
    missing, damaged = [], []
    for capture_hash in hashes:
        source, copy = waveform_path(ledger, capture_hash), waveform_in(store, capture_hash)
        if not source.exists():
            missing.append(capture_hash)
        elif not is_sound(source):
            damaged.append(capture_hash)
        else:
            copy.write_bytes(source.read_bytes())
            if not is_sound(copy):
                raise LedgerError("backup-unverified", f"The copy of {source.name} differs; it was given up.")
    return tuple(missing), tuple(damaged)


def is_sound(path: Place) -> bool:
    """Return whether a waveform file is there and holds what its name says."""
    try:
        read_waveform(path)
    except LedgerError:
        return False
    return True


def _verify(part: Path, rows: dict[str, tuple[int, int]]) -> None:
    try:
        with duckdb.connect(str(part), read_only=True) as connection:
            copied = {name: fingerprint(connection, name) for name in table_names(connection)}
    except duckdb.Error as error:
        raise LedgerError("backup-unverified", f"The backup can't be read back: {error}") from error
    if copied != rows:
        differing = sorted(name for name in rows if copied.get(name) != rows[name])
        raise LedgerError(
            "backup-unverified", f"The backup differs in {', '.join(differing)}; it was given up."
        )
