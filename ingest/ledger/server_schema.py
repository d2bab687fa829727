"""The tables and views of a server's ledger, as statements, made from what the scripts made in a ledger file.

So there is one set of scripts. A type or a view that can't be carried over raises; no table is left out.
"""

from __future__ import annotations

import re
from collections import defaultdict

import duckdb

from ingest.ledger.migrations import scripts
from ingest.ledger.server_engine import quoted
from ingest.ledger.statements import statement

# Texts are compared byte by byte, as the file's engine does.
TYPES = {
    "BIGINT": "bigint",
    "INTEGER": "integer",
    "DOUBLE": "double precision",
    "DOUBLE[]": "double precision[]",
    "FLOAT": "real",
    "BOOLEAN": "boolean",
    "DATE": "date",
    "TIMESTAMP": "timestamp",
    "BLOB": "bytea",
    "VARCHAR": 'text COLLATE "C"',
    "JSON": 'text COLLATE "C"',
}
_MACRO = re.compile(r"CREATE (?:OR REPLACE )?MACRO visit_rows\(of_pump\) AS TABLE\n(.*?);\n", re.DOTALL)
# What the file's text says, and what the server is told instead.
_IN_VIEW = (
    (re.compile(r"\AWITH newest AS \(.*?\n\)\n", re.DOTALL), ""),
    (re.compile(r"LEFT JOIN newest r USING \(visit_id\)"), statement("server/newest_reading").strip()),
    (re.compile(r"f\.filter_changed_on"), statement("server/filter_changed").strip()),
    (re.compile(r"\nLEFT JOIN filters f ON f\.visit_id = v\.visit_id"), ""),
    (re.compile(r" AND \(of_pump IS NULL OR v\.pump_id = of_pump\)"), ""),
)


def tables(file: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Return CREATE TABLE by table of an open ledger file (its own database), keys and defaults included."""
    keys = dict(file.execute(statement("server/keys")).fetchall())
    lines: dict[str, list[str]] = defaultdict(list)
    for table, column, kind, nullable, default in file.execute(statement("server/columns")).fetchall():
        parts = [f'"{column}"', TYPES[kind]]
        parts += [] if nullable else ["NOT NULL"]
        if default:
            [(value,)] = file.execute(statement("ledger/value").replace("{default}", default)).fetchall()
            parts.append(f"DEFAULT '{quoted(str(value))}'")
        lines[table].append(" ".join(parts))
    for table, columns in keys.items():
        lines[table].append("PRIMARY KEY (" + ", ".join(f'"{name}"' for name in columns) + ")")
    return {table: f'CREATE TABLE "{table}" ({", ".join(parts)})' for table, parts in lines.items()}


def views() -> list[str]:
    """Return the statements that make the views, from the newest script that says what a visit's row is."""
    texts = [script.read_text(encoding="utf-8") for script in scripts().values()]
    body = [found[1] for text in texts for found in _MACRO.finditer(text)][-1]
    for sign, instead in _IN_VIEW:
        body, times = sign.subn(instead, body)
        if times != 1:
            raise ValueError(f"the view of visits has changed: {sign.pattern} is in it {times} times")
    return [statement("server/current_reading"), f"CREATE VIEW visit_detail AS\n{body}"]
