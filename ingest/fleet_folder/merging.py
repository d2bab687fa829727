"""Merge rows into a ledger table: new ones in, corrected cells updated and logged, the rest left alone.

A blank cell says nothing: it never erases what the ledger holds. A cell a person has corrected in the ledger
stays as corrected while the folder still brings the value that was corrected.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb
import numpy as np
import pandas as pd

from ingest.fleet_folder.tables import ROW_ID, Table
from ingest.ledger.changes import as_text, change_rows
from ingest.ledger.rows import insert_rows
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.ledger.which_engine import of_catalogue

_NEVER = {"recorded_at"}
# Columns of a row that its file does not say itself.
_NOT_SAID = {"file_row", "pump_id", "stop_state", "capture", ROW_ID, "pump_row_id"}


@dataclass(frozen=True)
class Merged:
    """For each incoming row: its ledger key as text, and "added", "changed", "unchanged" or "duplicate".

    A duplicate is a later row of the same key whose cells differ from the first: it has not gone in.
    """

    row_key: np.ndarray
    status: np.ndarray

    def where(self, *status: str) -> np.ndarray:
        """A mask of the rows with one of these states."""
        return np.isin(self.status, status)


def composite_key(rows: pd.DataFrame, columns: tuple[str, ...]) -> pd.Series:
    """Join the columns into one text key a row; blanks count as a value."""
    key = pd.Series("", index=rows.index, dtype="str")
    for column in columns:
        values = rows[column] if column in rows else pd.Series(None, index=rows.index, dtype="object")
        if pd.api.types.is_datetime64_any_dtype(values):
            text = pd.Series(np.datetime_as_string(values.to_numpy("datetime64[D]")), index=rows.index)
        else:
            text = values.astype("str")
        if values.isna().any():
            text = text.where(values.notna(), "")
        key = key + "\x1f" + text.astype("str")
    return key


def match_rows(
    existing: pd.DataFrame, rows: pd.DataFrame, key: tuple[str, ...], known: np.ndarray | None = None
) -> np.ndarray:
    """Return for each row its place in `existing`, or -1: by `ref` if both have one, else by `key`.

    known: places that are known otherwise, -1 where not; they stand.
    """
    place = np.full(len(rows), -1) if known is None else known.copy()
    if existing.empty or rows.empty:
        return place
    ref = rows["ref"] if "ref" in rows else pd.Series(None, index=rows.index, dtype="object")
    has_ref = ref.notna().to_numpy() & (place < 0)
    old_ref = existing["ref"]
    if has_ref.any() and old_ref.notna().any():
        by_ref = old_ref.dropna()
        by_ref = by_ref[~by_ref.duplicated()]
        place[has_ref] = _lookup(by_ref, by_ref.index.to_numpy(), ref[has_ref])
    old_key, new_key = composite_key(existing, key), composite_key(rows, key)
    unnamed = old_ref.isna().to_numpy()
    taken = np.zeros(len(existing), dtype=bool)
    taken[place[place >= 0]] = True
    for wanted, allowed in ((place < 0, unnamed & ~taken), ((place < 0) & ~has_ref, ~unnamed & ~taken)):
        still = wanted & (place < 0)
        candidates = old_key[allowed]
        candidates = candidates[~candidates.duplicated()]
        if still.any() and len(candidates):
            place[still] = _lookup(candidates, candidates.index.to_numpy(), new_key[still])
    return place


def fill_matches(
    place: np.ndarray, todo: np.ndarray, free: pd.DataFrame, rows: pd.DataFrame, key: tuple[str, ...]
) -> None:
    """Write into `place` the matches, by `key`, of the rows numbered `todo` among the rows of `free`.

    free: part of a ledger table with its row numbers in `ledger_place`.
    """
    if not len(todo) or free.empty:
        return
    found = match_rows(free.reset_index(drop=True), rows.iloc[todo].reset_index(drop=True), key)
    place[todo] = np.where(found >= 0, free["ledger_place"].to_numpy()[found], -1)


def _lookup(keys: pd.Series, places: np.ndarray, wanted: pd.Series) -> np.ndarray:
    found = pd.Index(keys).get_indexer(pd.Index(wanted))
    return np.where(found >= 0, places[found], -1)


def merge_rows(
    connection: duckdb.DuckDBPyConnection,
    table: Table,
    rows: pd.DataFrame,
    given: tuple[str, ...],
    stamp: Stamp,
    *,
    key: tuple[str, ...] = (),
    place: np.ndarray | None = None,
    known: np.ndarray | None = None,
) -> Merged:
    """Bring `rows` (ledger columns; those in `given` count) into the table; see the module for the rules.

    key: natural key columns (default: the table's); place: matches found otherwise (as from `match_rows`);
    known: those of them that are known before any key is looked at.
    """
    key = key or table.key
    rows = _with_key_defaults(table, rows)
    existing = _existing(connection, table.ledger)
    given = tuple(name for name in given if name in existing.columns and name not in _NEVER)
    if place is None:
        place = match_rows(existing, rows, key, known)
    slot = _slots(rows, place, key)
    first = ~pd.Series(slot).duplicated().to_numpy()
    status = np.where(place >= 0, "unchanged", "added").astype(object)
    repeats = np.flatnonzero(~first)
    if len(repeats):
        said = tuple(str(name) for name in rows if name not in _NOT_SAID)
        status[repeats] = _judge_repeats(rows, said, slot, repeats)
    row_key = np.empty(len(rows), dtype=object)

    new = np.flatnonzero((place < 0) & first)
    if len(new):
        row_key[new] = _insert(connection, table, rows.iloc[new], given, stamp)
    old = np.flatnonzero((place >= 0) & first)
    if len(old):
        at = place[old]
        row_key[old] = _keys_of(existing.iloc[at], table)
        changed = _update(connection, table, existing, rows, given, old, at, row_key[old], stamp)
        status[old[changed]] = "changed"
    if len(repeats):
        of_slot = pd.Series(row_key[first], index=slot[first])
        row_key[repeats] = of_slot.loc[slot[repeats]].to_numpy()
    return Merged(row_key, status)


def _with_key_defaults(table: Table, rows: pd.DataFrame) -> pd.DataFrame:
    """A blank in a key column means what it is stored as."""
    filled = {}
    for column in table.columns:
        if column.default is not None and column.target in table.key:
            values = rows.get(column.target, pd.Series(None, index=rows.index, dtype="object"))
            filled[column.target] = values.where(values.notna(), column.default)
    return rows.assign(**filled)


def _existing(connection: duckdb.DuckDBPyConnection, table: str) -> pd.DataFrame:
    return connection.execute(statement("ledger/all_rows", table=table)).df()


def _slots(rows: pd.DataFrame, place: np.ndarray, key: tuple[str, ...]) -> np.ndarray:
    """Number the rows so that rows meaning the same ledger row share a number."""
    text = composite_key(rows, key)
    if "ref" in rows:
        text = text.where(rows["ref"].isna(), "ref:" + rows["ref"].astype("str"))
    if ROW_ID in rows:
        text = text.where(rows[ROW_ID].isna(), "row:" + rows[ROW_ID].astype("str"))
    text = text.where(place < 0, "at:" + pd.Series(place, index=rows.index).astype("str"))
    return pd.factorize(text)[0]


def _judge_repeats(
    rows: pd.DataFrame, given: tuple[str, ...], slot: np.ndarray, repeats: np.ndarray
) -> np.ndarray:
    first_at = pd.Series(np.arange(len(slot))).groupby(slot).first().to_numpy()
    same = np.ones(len(repeats), dtype=bool)
    for name in given:
        values = rows[name]
        same &= ~_differ(values.iloc[first_at[slot[repeats]]], values.iloc[repeats]).to_numpy()
    return np.where(same, "unchanged", "duplicate")


def _differ(old: pd.Series, new: pd.Series) -> pd.Series:
    """True where the new value is given and another than the old."""
    old, new = old.reset_index(drop=True), new.reset_index(drop=True)
    if pd.api.types.is_numeric_dtype(new) and not pd.api.types.is_bool_dtype(new):
        before, after = pd.to_numeric(old).astype("float64"), new.astype("float64")
        close = np.isclose(before, after, rtol=1e-9, atol=1e-9)
    elif pd.api.types.is_datetime64_any_dtype(new):
        close = pd.to_datetime(old).astype("datetime64[us]") == new.astype("datetime64[us]")
    else:
        close = old.astype("object") == new.astype("object")
    return new.notna() & ~pd.Series(close)


def _insert(
    connection: duckdb.DuckDBPyConnection,
    table: Table,
    rows: pd.DataFrame,
    given: tuple[str, ...],
    stamp: Stamp,
) -> np.ndarray:
    fresh = rows[list(given)].copy()
    for column in table.columns:
        if column.default is not None:
            values = fresh.get(column.target)
            fresh[column.target] = (
                column.default if values is None else values.where(values.notna(), column.default)
            )
    fresh = fresh.drop(columns=[name for name in fresh if fresh[name].isna().all()])
    fresh["recorded_at"] = stamp.at
    # Columns with a default of the ledger's own get it where the cell is blank: rows go in by what they give.
    filled = _with_ledger_defaults(connection, table.ledger, fresh)
    return _keys_of(insert_rows(connection, table.ledger, filled), table)


def _with_ledger_defaults(
    connection: duckdb.DuckDBPyConnection, table: str, rows: pd.DataFrame
) -> pd.DataFrame:
    for name, default in of_catalogue(connection, "defaults", table):
        if name in rows and rows[name].isna().any():
            ask = statement("ledger/value").replace("{default}", default)
            [(value,)] = connection.execute(ask).fetchall()
            rows[name] = rows[name].where(rows[name].notna(), value)
    return rows


def _keys_of(rows: pd.DataFrame, table: Table) -> np.ndarray:
    if table.id_column:
        return rows[table.id_column].astype("str").to_numpy(dtype=object)
    return composite_key(rows, table.key).str.lstrip("\x1f").str.replace("\x1f", " ").to_numpy(dtype=object)


def _update(
    connection: duckdb.DuckDBPyConnection,
    table: Table,
    existing: pd.DataFrame,
    rows: pd.DataFrame,
    given: tuple[str, ...],
    new_at: np.ndarray,
    old_at: np.ndarray,
    row_key: np.ndarray,
    stamp: Stamp,
) -> np.ndarray:
    """Write the cells that differ and log each; returns a mask over `new_at` of the rows changed."""
    kept = _corrections(connection, table.ledger)
    changed = np.zeros(len(new_at), dtype=bool)
    after = existing.iloc[old_at].reset_index(drop=True)
    log = []
    for name in given:
        old, new = after[name], rows[name].iloc[new_at].reset_index(drop=True)
        differs = np.flatnonzero(_differ(old, new))
        differs = np.array(
            [i for i in differs if not _is_what_was_corrected(kept.get((row_key[i], name)), new[i])],
            dtype=int,
        )
        if not len(differs):
            continue
        changed[differs] = True
        log += [(row_key[i], name, as_text(old[i]), as_text(new[i])) for i in differs]
        mask = np.zeros(len(new_at), dtype=bool)
        mask[differs] = True
        after[name] = new.where(mask, old) if new.dtype == old.dtype else _mixed(old, new, mask)
    if not changed.any():
        return changed
    before = existing.iloc[old_at[changed]]
    change_rows(connection, table.ledger, before, after[changed], log, stamp)
    return changed


def _mixed(old: pd.Series, new: pd.Series, mask: np.ndarray) -> pd.Series:
    return pd.Series(
        np.where(mask, new.astype("object"), old.astype("object")), index=old.index
    ).infer_objects()


def _corrections(connection: duckdb.DuckDBPyConnection, table: str) -> dict[tuple[str, str], str | None]:
    """The value each cell had before a person last corrected it."""
    rows = connection.execute(
        statement("load/corrections"),
        [table],
    ).fetchall()
    return {(key, field): old for key, field, old in rows}


def _is_what_was_corrected(before: str | None, now: object) -> bool:
    if before is None:
        return False
    text = as_text(now)
    if text is None:
        return False
    try:
        return bool(np.isclose(float(before), float(text), rtol=1e-9))
    except ValueError:
        return before == text
