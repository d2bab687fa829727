"""What is typed of a visit before it is stored, kept beside the ledger for a day under a random key.

The page's address holds the key and nothing that was typed, since addresses end up in logs and histories.
"""

from __future__ import annotations

import json
import re
import secrets
import time
from datetime import date
from pathlib import Path
from typing import Any

KEPT_S = 24 * 3600
_KEY = re.compile(r"[A-Za-z0-9_-]{16}")
_DAY = "day:"  # before a date, which JSON has no word for


def new_key() -> str:
    """Return a key that nobody guesses."""
    return secrets.token_urlsafe(12)


def folder_of(ledger: Path) -> Path:
    """Return where the drafts of a ledger lie."""
    return ledger.with_name(f"{ledger.name}.drafts")


def read(ledger: Path, key: str, owner: str) -> dict[str, Any]:
    """Return what was typed under a key, {} where there is nothing, it is too old or somebody else's."""
    path = _path(ledger, key)
    if path is None:
        return {}
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        fresh = time.time() - path.stat().st_mtime < KEPT_S
    except (OSError, ValueError):
        return {}
    if not fresh or not isinstance(kept, dict) or kept.get("owner") != owner:
        return {}
    return {str(name): _back(value) for name, value in kept.get("typed", {}).items()}


def write(ledger: Path, key: str, owner: str, typed: dict[str, Any]) -> None:
    """Keep what was typed; where it can't be written, the session alone holds it."""
    path = _path(ledger, key)
    if path is None or not ledger.parent.is_dir():
        return
    kept = {"owner": owner, "typed": {name: _kept(value) for name, value in typed.items()}}
    being_written = path.with_suffix(f".{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
        being_written.write_text(json.dumps(kept), encoding="utf-8")
        being_written.replace(path)
    except OSError:
        being_written.unlink(missing_ok=True)


def drop(ledger: Path, key: str) -> None:
    """Forget a draft, and with it whatever is older than a day."""
    path = _path(ledger, key)
    if path is None:
        return
    path.unlink(missing_ok=True)
    for old in folder_of(ledger).glob("*"):
        try:
            if time.time() - old.stat().st_mtime > KEPT_S:
                old.unlink()
        except OSError:
            continue  # another page was quicker


def _path(ledger: Path, key: str) -> Path | None:
    return folder_of(ledger) / f"{key}.json" if _KEY.fullmatch(key) else None


def _kept(value: Any) -> Any:
    return f"{_DAY}{value.isoformat()}" if isinstance(value, date) else value


def _back(value: Any) -> Any:
    if isinstance(value, str) and value.startswith(_DAY):
        try:
            return date.fromisoformat(value.removeprefix(_DAY))
        except ValueError:
            return None
    return value
