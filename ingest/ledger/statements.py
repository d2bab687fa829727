"""SQL kept in files: `statement("visit/insert_visit")` is the text of ingest/sql/visit/insert_visit.sql."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

SQL = Path(__file__).parents[1] / "sql"
_NAME = re.compile(r"[a-z_][a-z0-9_]*")


@cache
def statement(name: str, **names: str) -> str:
    """Return the text of ingest/sql/<name>.sql.

    names: tables and columns for the places in braces, where one statement serves many tables; anything but
    plain names of ours, comma-separated where several, raises ValueError. Values are always parameters.
    """
    text = (SQL / f"{name}.sql").read_text(encoding="utf-8")
    for place, said in names.items():
        parts = said.split(", ")
        if not all(_NAME.fullmatch(part) for part in parts):
            raise ValueError(f"{said!r} is no name of a table or column")
        text = text.replace(f"{{{place}}}", ", ".join(f'"{part}"' for part in parts))
    return text
