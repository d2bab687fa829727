"""A proposal of columns as tables that a person looks through and corrects, and back."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

from ingest.fleet_folder.mapping import Mapped, kind_of, mapped_from
from ingest.fleet_folder.proposing import Proposal, Proposed
from ingest.units import unit_names

LEFT_OUT = "(left out)"


def headers_of(proposal: Proposal, one: Proposed) -> list[str]:
    """Return all headers of the file that one table was found in."""
    beside = [
        p for p in proposal.tables if (p.mapped.file, p.mapped.sheet) == (one.mapped.file, one.mapped.sheet)
    ]
    found = [source.header for p in beside for source in p.mapped.columns.values()]
    return list(dict.fromkeys([*found, *(header for p in beside for header in p.left_out)]))


def columns_table(one: Proposed) -> pd.DataFrame:
    """Return a row for each column of the table: column, header, unit, from_above, such_as; those found come
    first."""
    found = one.mapped.columns
    needed = [c.name for c in one.mapped.table.columns if c.required and c.name not in found]
    rest = [c.name for c in one.mapped.table.columns if c.name not in found and c.name not in needed]
    rows = []
    for name in (*found, *needed, *rest):
        source = found.get(name)
        rows.append(
            {
                "column": name,
                "header": source.header if source else LEFT_OUT,
                "unit": source.unit if source else "",
                "from_above": source.from_above if source else False,
                "such_as": one.examples.get(name, ""),
            }
        )
    return pd.DataFrame(rows)


def units_for(one: Proposed) -> list[str]:
    """Return the units that any column of the table may be in."""
    kinds = {kind_of(column) for column in one.mapped.table.columns} - {""}
    return ["", *(name for kind in sorted(kinds) for name in unit_names(kind))]  # type: ignore[arg-type]


def words_table(one: Proposed) -> pd.DataFrame:
    """Return a row for each cell of a column of words that is none of its own: column, cell, means."""
    told = [(n, cell, v) for n, source in one.mapped.columns.items() for cell, v in source.values.items()]
    untold = [(name, cell, "") for name, cells in one.untold.items() for cell in cells]
    return pd.DataFrame(told + untold, columns=["column", "cell", "means"], dtype="object")


def words_for(one: Proposed) -> list[str]:
    """Return the words that cells may mean, of all columns that have any in the proposal."""
    names = [name for name in one.mapped.columns if one.mapped.table.by_name[name].choices]
    return ["", *dict.fromkeys(w for name in names for w in one.mapped.table.by_name[name].choices)]


def confirmed(one: Proposed, columns: pd.DataFrame, words: pd.DataFrame) -> Mapped:
    """Return how a table is to be read, as a person left the two tables.

    Raises EntryRefused where that contradicts itself, as for columns.toml.
    """
    said: dict[str, Any] = {}
    for row in columns.itertuples():
        header, unit = str(row.header or ""), str(row.unit or "")
        if header in ("", LEFT_OUT):
            continue
        mine = words[(words["column"] == row.column) & (words["means"].fillna("") != "")]
        values = dict(zip(mine["cell"], mine["means"], strict=True))
        above = bool(row.from_above)
        said[str(row.column)] = {"header": header, "unit": unit, "values": values, "from_above": above}
    entry: dict[str, Any] = {"file": one.mapped.file, "holds": one.mapped.table.file, "columns": said}
    entry["header_row"] = one.mapped.header_row
    if one.mapped.sheet:
        entry["sheet"] = one.mapped.sheet
    return replace(mapped_from(entry), only=one.mapped.only)
