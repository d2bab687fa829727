"""What a command says: on a terminal, in a file or in a pipe, no text from data is obeyed."""

from __future__ import annotations

import json
import sys
from typing import Any

from ingest.harmless import escaped, harmless


def tell(text: object, *, aside: bool = False) -> None:
    """Print a text for people, at once; aside: on stderr, as stdout may be read by a program."""
    print(harmless(str(text)), file=sys.stderr if aside else sys.stdout, flush=True)


def tell_json(value: Any) -> None:
    """Print one line of JSON in readable letters; dates and the like as their text."""
    print(escaped(json.dumps(value, default=str, ensure_ascii=False)), flush=True)


def tell_list(rows: list[dict[str, Any]]) -> None:
    """Print a list of objects as JSON, one on a line; nothing in it can steer a terminal (json escapes)."""
    print("[" + ",\n".join(map(json.dumps, rows)) + "]", flush=True)


def tell_rows(text: str) -> None:
    """Write rows for a program as they are; where a terminal shows them, harmless."""
    sys.stdout.write(harmless(text) if sys.stdout.isatty() else text)
