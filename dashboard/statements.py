"""SQL kept in files: `statement("pump_head")` is the text of dashboard/sql/pump_head.sql."""

from __future__ import annotations

from functools import cache
from pathlib import Path

SQL = Path(__file__).with_name("sql")


@cache
def statement(name: str) -> str:
    """Return the text of dashboard/sql/<name>.sql."""
    return (SQL / f"{name}.sql").read_text(encoding="utf-8")
