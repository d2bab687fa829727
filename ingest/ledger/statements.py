"""SQL kept in files: `statement("visit/insert_visit")` is the text of ingest/sql/visit/insert_visit.sql."""

from __future__ import annotations

from functools import cache
from pathlib import Path

SQL = Path(__file__).parents[1] / "sql"


@cache
def statement(name: str) -> str:
    """Return the text of ingest/sql/<name>.sql."""
    return (SQL / f"{name}.sql").read_text(encoding="utf-8")
