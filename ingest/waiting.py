"""Rows of chains that are measured and not published yet: files beside the ledger, one a chain.

They spare a run that was killed the measuring again and are removed once their rows are in the ledger. A torn
or foreign one is as good as none: a row counts only by the hash of all that it follows from.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import shutil
import time
import uuid
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from ingest.errors import LedgerError

KEPT_S = 30 * 86_400.0


def waiting_folder(ledger: Path | str) -> Path:
    """Return the folder beside `ledger`, links followed, in which measured chains wait."""
    path = Path(ledger).resolve()
    return path.with_name(f"{path.name}.measured")


def waiting_rows(folder: Path, chain: str) -> list[dict[str, Any]]:
    """Return the rows that wait for one chain, none if there are none."""
    try:
        rows = json.loads(_file(folder, chain).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def keep_rows(folder: Path, chain: str, rows: Iterable[dict[str, Any]]) -> None:
    """Let the rows of one chain wait; LedgerError where the folder can't be written."""
    path = _file(folder, chain)
    part = path.with_name(f"{path.stem}.{uuid.uuid4().hex[:8]}.part")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps(list(rows), default=lambda n: n.item()), encoding="utf-8")
        part.replace(path)
    except FileNotFoundError:
        return  # another run has published this chain meanwhile and cleared up
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise LedgerError(
            "not-kept",
            f"What is measured can't be kept in {folder} ({error.strerror or error}): free some space or"
            " allow writing there, then run it again; it goes on from what is there.",
        ) from error


def drop_waiting(folder: Path, chains: Iterable[str]) -> None:
    """Remove the files of these chains, what waits for longer than a month, and the folder once empty."""
    done = {_file(folder, chain).stem for chain in chains}
    with contextlib.suppress(OSError):  # another run was quicker
        for path in folder.iterdir():
            # A chain's file, or the part of one whose writing was killed, has the chain's stem first.
            if path.name.partition(".")[0] in done or time.time() - path.stat().st_mtime > KEPT_S:
                path.unlink(missing_ok=True)
        folder.rmdir()


def drop_all_waiting(ledger: Path | str) -> None:
    """Remove all that waits beside a ledger: it is measured again when it is needed."""
    shutil.rmtree(waiting_folder(ledger), ignore_errors=True)


def _file(folder: Path, chain: str) -> Path:
    name = chain.encode("utf-8", "surrogatepass")  # a file's name need not be text
    return folder / f"{hashlib.sha256(name).hexdigest()}.json"
