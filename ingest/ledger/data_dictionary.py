"""The data dictionary, from the schema and `meanings`: `python -m ingest.ledger.data_dictionary`."""

from __future__ import annotations

from pathlib import Path

import duckdb

from ingest.ledger.meanings import meaning
from ingest.ledger.migrations import apply_script, scripts
from ingest.ledger.numbers import ID_COLUMNS
from ingest.ledger.statements import statement

OUTPUT = Path(__file__).parents[2] / "docs" / "data_dictionary.md"
HEAD = """# Data dictionary

Generated from the comments in `ingest/sql`, and what `ingest/ledger/meanings.py` says of columns without, by
`python -m ingest.ledger.data_dictionary`; edit those, not this page.
Distances are in km, currents in A, pressures in kPa, temperatures in deg C, volts in V. References between
tables are by the columns of the same name; `pumpledger check` verifies them. Relations are not enforced by
the engine, so that a ledger can be saved table by table.
"""


def data_dictionary() -> str:
    """Return the page: each table and view with its columns, types and meanings."""
    with duckdb.connect() as connection:
        for number, script in scripts().items():
            apply_script(connection, number, script)
        described = dict(connection.execute(statement("ledger/comments")).fetchall())
        columns = connection.execute(statement("ledger/columns")).fetchall()
    comments = {(table, name): comment for table, name, *_, comment in columns}
    parts = [HEAD]
    for name, about in described.items():
        parts.append(f"\n## {name}\n\n{about or ''}\n\n| column | type | | meaning |\n|---|---|---|---|\n")
        id_column = ID_COLUMNS.get(name)
        parts += [
            _line(id_column, column, kind, nullable, default, meaning(table, column, comments))
            for table, column, kind, nullable, default, _ in columns
            if table == name
        ]
    return "".join(parts)


def _line(number: str | None, name: str, kind: str, nullable: bool, default: str | None, means: str) -> str:
    notes = [] if nullable else ["required"]
    if name == number:
        notes.append("numbered")
    elif default:
        notes.append(f"default {default.replace('CAST', '').strip('()').replace(' AS DATE', '')}")
    return f"| {name} | {kind} | {', '.join(notes)} | {means.replace('|', '/')} |\n"


if __name__ == "__main__":
    OUTPUT.write_text(data_dictionary(), encoding="utf-8")
