"""A person bound to depots: reads only those, by views in place of the tables; writes only what is theirs."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from contextlib import contextmanager

import duckdb

from ingest.errors import EntryRefused, PumpledgerError
from ingest.ledger.numbers import ID_COLUMNS
from ingest.ledger.statements import statement
from ingest.ledger.which_engine import is_on_server

Depots = tuple[str, ...]
_NOT_YOURS = (
    "{what} is not of {depots}, which you are bound to; nothing was changed. Ask somebody of that depot."
)


def bind(connection: duckdb.DuckDBPyConnection, depots: Depots) -> None:
    """Let a connection that reads see the units of these depots alone, for as long as it is open."""
    [(database, schema)] = connection.execute("SELECT current_database(), current_schema()").fetchall()
    connection.execute("CREATE TEMP TABLE bound_depot (depot VARCHAR)")
    connection.executemany("INSERT INTO temp.main.bound_depot VALUES (?)", [[depot] for depot in depots])
    home = ".".join('"' + name.replace('"', '""') + '"' for name in (database, schema))
    rows = f"{'memory.main' if is_on_server(connection) else home}.visit_rows"
    text = statement("ledger/bound_to").replace("{ledger}", home).replace("{visit_rows}", rows)
    for part in connection.extract_statements(text):
        connection.execute(part)


def demand_own_unit(connection: duckdb.DuckDBPyConnection, depots: Depots, unit: str) -> None:
    """Raise EntryRefused for a unit that is not of these depots, whether there is one or not."""
    if depots and unit not in _own_units(connection, depots):
        raise EntryRefused("not-your-depot", _NOT_YOURS.format(what=f"Unit {unit}", depots=", ".join(depots)))


def names_others(text: str, own: Collection[str]) -> bool:
    """Return whether a sentence names a unit that is not among those of somebody's own."""
    first_words = {unit.split(" ")[0] for unit in own}
    return any(named not in first_words for named in re.findall(r"[Uu]nits? ([^ ,.;:?()]+)", text))


def _own_units(connection: duckdb.DuckDBPyConnection, depots: Depots) -> set[str]:
    rows = connection.execute(statement("ledger/units_of_depots"), {"depots": list(depots)}).fetchall()
    return {unit for (unit,) in rows}


@contextmanager
def no_word_of_others(connection: duckdb.DuckDBPyConnection, depots: Depots) -> Iterator[None]:
    """Let no refusal tell somebody bound to depots of another depot's unit."""
    try:
        yield
    except PumpledgerError as refused:
        if depots and names_others(refused.text, _own_units(connection, depots)):
            raise EntryRefused(
                "not-your-depot", _NOT_YOURS.format(what="A unit of this entry", depots=", ".join(depots))
            ) from None
        raise


def last_numbers(connection: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """Return the last number given out in each numbered table."""
    return dict.fromkeys(ID_COLUMNS, 0) | dict(
        connection.execute(statement("ledger/last_numbers")).fetchall()
    )


def demand_own(connection: duckdb.DuckDBPyConnection, depots: Depots, since: dict[str, int]) -> None:
    """Raise EntryRefused where what was written since those numbers concerns another depot's unit."""
    found = connection.execute(
        statement("ledger/foreign_rows"), {"depots": list(depots), "since": since}
    ).fetchall()
    if found:
        what = found[0][0]
        raise EntryRefused(
            "not-your-depot",
            _NOT_YOURS.format(what=f"{what[0].upper()}{what[1:]}", depots=", ".join(depots)),
        )
