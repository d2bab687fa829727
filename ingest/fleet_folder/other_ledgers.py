"""Exports of other ledgers: which of their rows are which here, and who keeps a unit.

Every unit is kept by one ledger: by the one at hand, or by that whose export brought it first. What the
export of another says about it is refused, until it is handed over.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from ingest.errors import EntryRefused
from ingest.fleet_folder.cells import ReadTable
from ingest.fleet_folder.merging import Merged, composite_key
from ingest.fleet_folder.report import RowProblem
from ingest.fleet_folder.tables import CLAMPS, PUMP_TYPES, ROW_ID, Table
from ingest.ledger.connection import open_ledger
from ingest.ledger.numbers import ID_COLUMNS
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.ledger.waveform_home import ledger_id

ALL = "all"  # hand over every unit that the folder has
# Facts of the fleet: what the ledger at hand has stands.
_OF_THE_FLEET = (PUMP_TYPES, CLAMPS)
# What a row of the ledger at hand must have in common with one of its own export to be the same by number.
_SAME = {
    "pump": ("unit", "position", "fitted_on"), "visit": ("unit", "position", "visited_on"),
    "service": ("unit", "done_on", "work"), "breakdown": ("unit", "happened_on"),
}  # fmt: skip


class RowKeys:
    """Row numbers of the ledger that wrote a folder, and the rows here that they mean.

    written_by: its id, "" where the folder is no export: then nothing is known by number.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, written_by: str) -> None:
        self._connection, self.written_by = connection, written_by
        self.own = bool(written_by) and written_by == ledger_id(connection)
        self._here: dict[str, dict[str, str]] = {}

    @property
    def foreign(self) -> bool:
        """Whether another ledger wrote the folder."""
        return bool(self.written_by) and not self.own

    def of(self, table: str, row_id: object) -> str | None:
        """Return the row here that a number means, as far as this load has come; None: none."""
        return self._here.get(table, {}).get(number_text(row_id) or "")

    def places(self, table: str, rows: pd.DataFrame, same: tuple[str, ...] = ()) -> np.ndarray:
        """Return the place in the ledger's table of each row that is known by its number, -1 for others.

        same: columns that a row of the ledger's own export must share with that of its number.
        """
        place = np.full(len(rows), -1)
        if ROW_ID not in rows or not self.written_by or rows.empty:
            return place
        existing = self._connection.execute(statement("ledger/all_rows", table=table)).df()
        numbers = rows[ROW_ID].map(number_text)
        if self.own:
            keys = numbers
        else:
            known = self.brought(table)
            keys = numbers.map(lambda number: known.get(number))
        found = pd.Index(existing[ID_COLUMNS[table]].astype("str")).get_indexer(pd.Index(keys.fillna("")))
        if self.own:
            columns = same or _SAME[table]
            theirs, ours = key_of(rows, columns).to_numpy(), key_of(existing, columns).to_numpy()
            found = np.array([p if p >= 0 and ours[p] == theirs[i] else -1 for i, p in enumerate(found)])
        twice = pd.Series(found).duplicated().to_numpy()
        return np.where(twice, -1, found)

    def keep(self, table: str, rows: pd.DataFrame, merged: Merged, stamp: Stamp) -> None:
        """Note what the numbered rows of a table have become."""
        if ROW_ID not in rows or not self.written_by:
            return
        numbers = rows[ROW_ID].map(number_text)
        came = numbers.notna().to_numpy() & ~merged.where("duplicate")
        self._here[table] = dict(zip(numbers[came], merged.row_key[came], strict=True))
        if self.foreign:
            self._store(table, self._here[table], stamp)

    def keep_names(self, table: str, names: Collection[str], stamp: Stamp) -> None:
        """Note units, pump types or clamps that another ledger's export brings."""
        if self.foreign:
            self._store(table, {name: name for name in names}, stamp)

    def here(self, table: str) -> dict[str, str]:
        """Return the rows that this load has brought: number there -> row here."""
        return self._here.get(table, {})

    def brought(self, table: str) -> dict[str, str]:
        """Return the rows that any load has brought: number there -> row here."""
        return _brought(self._connection, self.written_by, table)

    def _store(self, table: str, here: Mapping[str, str], stamp: Stamp) -> None:
        known = self.brought(table)
        new = [(row_id, key) for row_id, key in here.items() if known.get(row_id) != key]
        if not new:
            return
        told = {"ledger_id": self.written_by, "table_name": table}
        self._connection.register("brought", pd.DataFrame(new, columns=["row_id", "row_key"], dtype="object"))
        self._connection.execute(statement("load/drop_brought"), told)
        self._connection.execute(statement("load/keep_brought"), told | {"at": stamp.at})
        self._connection.unregister("brought")


def key_of(rows: pd.DataFrame, columns: tuple[str, ...]) -> pd.Series:
    """Return the columns as one text a row, whole numbers alike however they are kept."""
    numbers = {
        name: rows[name].astype("float64")
        for name in columns
        if name in rows and pd.api.types.is_numeric_dtype(rows[name])
    }
    return composite_key(rows.assign(**numbers), columns)


def number_text(value: object) -> str | None:
    """Return a row number as text, None for a blank one."""
    return None if value is None or value != value else str(int(float(str(value))))


@dataclass(frozen=True)
class Kept:
    """What is left of an export's tables, the rows refused as another ledger's, and what is to be said."""

    tables: dict[str, ReadTable]
    refused: tuple[RowProblem, ...] = ()
    notices: tuple[str, ...] = ()
    handed_over: frozenset[str] = frozenset()


def without_others_rows(
    ledger: Path, tables: dict[str, ReadTable], written_by: str, hand_over: Collection[str]
) -> Kept:
    """Refuse what a folder that another ledger wrote says about units that it doesn't keep.

    hand_over: units that it keeps from now on. Pump types and clamps that the ledger at hand has of its own
    stay as they are. Raises EntryRefused for a unit handed over that the folder doesn't bring.
    """
    named = _units(tables)
    if strange := sorted(set(hand_over) - named - {ALL}):
        raise EntryRefused("no-unit", f"The folder has no unit {', '.join(strange)} to be handed over.")
    taken = frozenset(named if ALL in hand_over else hand_over)
    if not ledger.exists():
        return Kept(tables, handed_over=taken)
    with open_ledger(ledger) as connection:
        if not written_by or written_by == ledger_id(connection):
            return Kept(tables, handed_over=taken)
        keepers = {unit: (owner, depots) for unit, owner, depots in _keepers(connection)}
        units = {unit for (unit,) in connection.execute(statement("visit/units")).fetchall()}
        brought = {table.ledger: _brought(connection, written_by, table.ledger) for table in _OF_THE_FLEET}
        ours = {table.ledger: _names(connection, table) for table in _OF_THE_FLEET}
    others = {
        unit: _said(keepers[unit]) if unit in keepers else "this ledger"
        for unit in (named & units) - taken
        if keepers.get(unit, ("",))[0] != written_by
    }
    left, refused, notices = {}, [], []
    for file, read in tables.items():
        rows = read.rows
        if "unit" in rows and others:
            wrong = rows["unit"].isin(list(others)).to_numpy()
            refused += [
                RowProblem(file, int(row), "unit", "kept-elsewhere", f"'{unit}' is kept by {others[unit]}")
                for row, unit in zip(rows["file_row"][wrong], rows["unit"][wrong], strict=True)
            ]
            read = _without(read, wrong)
        elif read.table in _OF_THE_FLEET:
            name = read.table.ledger
            own = rows[name].isin(list(ours[name] - set(brought[name]))).to_numpy()
            if own.any():
                listed = ", ".join(sorted(rows[name][own]))
                notices.append(f"{file}: left as this ledger has them: {listed}.")
                read = replace(_without(read, own), total=read.total - int(own.sum()))
        left[file] = read
    for said in sorted(set(others.values())):
        listed = ", ".join(sorted(unit for unit, by in others.items() if by == said))
        notices.append(
            f"Refused, as {said} keeps them: {listed}; --hand-over UNIT gives one to this folder's."
        )
    return Kept(left, tuple(refused), tuple(notices), taken)


def keep_units(
    connection: duckdb.DuckDBPyConnection,
    keys: RowKeys,
    tables: Mapping[str, ReadTable],
    handed_over: Collection[str],
    stamp: Stamp,
) -> None:
    """Note who keeps the units that a folder has brought, and those handed over to its ledger."""
    if handed_over:
        given = pd.DataFrame({"unit": sorted(handed_over)}, dtype="object")
        connection.register("handed_over", given)
        connection.execute(statement("load/hand_over"))
        connection.unregister("handed_over")
    keys.keep_names("vehicle", _units(tables), stamp)
    for table in _OF_THE_FLEET:
        if table.file in tables:
            keys.keep_names(table.ledger, set(tables[table.file].rows[table.ledger]), stamp)


def _units(tables: Mapping[str, ReadTable]) -> set[str]:
    return {unit for read in tables.values() if "unit" in read.rows for unit in read.rows["unit"].dropna()}


def _brought(connection: duckdb.DuckDBPyConnection, written_by: str, table: str) -> dict[str, str]:
    return dict(connection.execute(statement("load/brought_rows"), [written_by, table]).fetchall())


def _keepers(connection: duckdb.DuckDBPyConnection) -> list[tuple[str, str, str]]:
    return connection.execute(statement("load/keepers")).fetchall()


def _names(connection: duckdb.DuckDBPyConnection, table: Table) -> set[str]:
    rows = connection.execute(statement("ledger/all_rows", table=table.ledger)).df()
    return set(rows[table.ledger])


def _said(keeper: tuple[str, str]) -> str:
    number, depots = keeper
    return f"ledger {number[:8]} (depot {depots})" if depots else f"ledger {number[:8]}"


def _without(read: ReadTable, gone: np.ndarray) -> ReadTable:
    rows = read.rows[~gone].reset_index(drop=True)
    kept = set(rows["file_row"])
    return replace(read, rows=rows, questions=tuple(q for q in read.questions if q.row in kept))
