"""SQL kept in files: `statement("cost_set")` is the text of analytics/sql/cost_set.sql."""

from __future__ import annotations

from functools import cache
from pathlib import Path

SQL = Path(__file__).with_name("sql")


@cache
def statement(name: str) -> str:
    """Return the text of analytics/sql/<name>.sql."""
    return (SQL / f"{name}.sql").read_text(encoding="utf-8")
