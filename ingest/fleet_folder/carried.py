"""Store what an export carries beside its tables: decisions, notes, answers, claims, holds, photos."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Mapping

import duckdb
import numpy as np
import pandas as pd

from ingest.errors import EntryRefused
from ingest.fleet_folder.carried_tables import (
    ANSWERS,
    HOLDS,
    POINTS_TO,
    STANDING,
    STILL_PUMPS,
    STILL_UNITS,
)
from ingest.fleet_folder.cells import ReadTable
from ingest.fleet_folder.merging import Merged, merge_rows
from ingest.fleet_folder.other_ledgers import RowKeys, key_of
from ingest.fleet_folder.report import RowProblem, TableCount
from ingest.fleet_folder.tables import ROW_ID
from ingest.ledger.changes import change_cells, log_change
from ingest.ledger.numbers import ID_COLUMNS, new_ids
from ingest.ledger.questions import KEEPS_OUT_OF_TREND
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp
from ingest.readers.photo import read_photo

_MOVED = "as the ledger that keeps it has it"


def bring_carried(
    connection: duckdb.DuckDBPyConnection, carried: Mapping[str, ReadTable], keys: RowKeys, stamp: Stamp
) -> tuple[list[TableCount], list[RowProblem]]:
    """Bring in all but what stands on the questions of this load; returns counts and rows refused.

    Rows about pumps and visits that did not come in stay out, uncounted.
    """
    counts, refused = [], []
    for table, points in POINTS_TO.items():
        read = carried.get(table.file)
        if read is None or not keys.written_by:
            continue
        rows = _pointing_here(read, points, keys)
        place = _places(connection, read, rows, keys)
        wrong: list[RowProblem] = []
        if "picture" in rows:
            rows, place, wrong = _with_pictures(read, rows, place)
        given = tuple(name for name in read.given if name != table.id_column)
        if table is HOLDS and stamp.author.depots:  # to begin or change one is the whole fleet's business
            rows, place, given = rows[place >= 0].reset_index(drop=True), place[place >= 0], ()
        merged = (
            merge_rows(connection, table, rows, given, stamp, place=place)
            if len(rows)
            else Merged(np.empty(0, dtype=object), np.empty(0, dtype=object))
        )
        keys.keep(table.ledger, rows, merged, stamp)
        refused += wrong
        counts.append(_count(table.file, merged, len(wrong) + len(read.refused)))
    if ANSWERS.file in carried and keys.written_by:
        counts.append(_answers(connection, carried[ANSWERS.file], keys))
    return [count for count in counts if count.rows], refused


def _pointing_here(read: ReadTable, points: Mapping[str, str], keys: RowKeys) -> pd.DataFrame:
    """Return the rows with the numbers of the rows here that they mean, without those that mean none."""
    rows = read.rows.assign(**{ROW_ID: read.rows[read.table.id_column]})
    for column, table in points.items():
        told = rows[column].notna()
        here = rows[column].map(lambda number, table=table: keys.of(table, number))
        rows = rows.assign(**{column: here.astype("float64")})[~told | here.notna()]
    return rows.reset_index(drop=True)


def _places(
    connection: duckdb.DuckDBPyConnection, read: ReadTable, rows: pd.DataFrame, keys: RowKeys
) -> np.ndarray:
    """Return each row's place in the ledger: by its number, else by what it says."""
    table = read.table
    place = keys.places(table.ledger, rows, table.key)
    existing = connection.execute(statement("ledger/all_rows", table=table.ledger)).df()
    if existing.empty or rows.empty:
        return place
    ours = pd.Series(key_of(existing, table.key).to_numpy(), index=range(len(existing)))
    free = ours[~ours.index.isin(place[place >= 0]) & ~ours.duplicated()]
    theirs = key_of(rows, table.key)
    todo = (place < 0) & ~theirs.duplicated().to_numpy()
    found = pd.Index(free).get_indexer(pd.Index(theirs[todo]))
    place[todo] = np.where(found >= 0, free.index.to_numpy()[found] if len(free) else -1, -1)
    return place


def _with_pictures(
    read: ReadTable, rows: pd.DataFrame, place: np.ndarray
) -> tuple[pd.DataFrame, np.ndarray, list[RowProblem]]:
    """Return the rows with each new picture taken apart as an uploaded one is, and what is none refused."""
    pictures: list[bytes | None] = []
    wrong: list[RowProblem] = []
    bad = np.zeros(len(rows), dtype=bool)
    for i, text in enumerate(rows["picture"]):
        pictures.append(None)
        if place[i] >= 0 or not isinstance(text, str):
            continue
        row = int(rows["file_row"].iloc[i])
        try:
            pictures[i] = read_photo(f"{read.table.file} row {row}", base64.b64decode(text, validate=True))
        except (EntryRefused, binascii.Error) as error:
            said = (
                error.text if isinstance(error, EntryRefused) else "it is no picture as an export writes it"
            )
            wrong.append(RowProblem(read.table.file, row, "picture", "bad-photo", said))
            bad[i] = True
    rows = rows.assign(picture=pd.Series(pictures, dtype="object", index=rows.index))
    if read.table.ledger == "connection_note":
        kind = ["image/jpeg" if picture else None for picture in pictures]
        rows = rows.assign(picture_type=pd.Series(kind, dtype="object", index=rows.index))
    return rows[~bad].reset_index(drop=True), place[~bad], wrong


def _answers(connection: duckdb.DuckDBPyConnection, read: ReadTable, keys: RowKeys) -> TableCount:
    """Bring questions in with their answers; what is answered here stays so."""
    rows = read.rows.copy()
    rows["row_key"] = [
        _key_here(t, k, keys) for t, k in zip(rows["table_name"], rows["row_key"], strict=True)
    ]
    rows = rows[rows["row_key"].notna()]
    rows["details"] = rows["details"].map(lambda text: _details_here(text, keys)).astype("object")
    rows["text"] = rows["text"].where(rows["details"].isna(), None)
    one = ["table_name", "row_key", "field", "code"]
    rows = rows.sort_values("answered_at", na_position="last", kind="stable").drop_duplicates(
        one, keep="last"
    )
    connection.register("carried_questions", rows)
    [(answered, after)] = connection.execute(statement("load/questions_open")).fetchall()
    connection.execute(statement("load/carry_answers"), {"after": after})
    connection.execute(statement("load/carry_standing"), {"after": after})
    new = connection.execute(statement("load/new_questions")).df()
    connection.unregister("carried_questions")
    if len(new):
        columns = [column.name for column in ANSWERS.columns if column.name in new]
        told = pd.Series(after, index=new.index, dtype="Int64").mask(new["status"] == "open")
        new = new[columns].assign(answered_after=told)
        new["question_id"] = list(new_ids(connection, "question", len(new)))
        connection.register("new_rows", new.astype({"text": "object", "details": "object"}))
        connection.execute(statement("ledger/insert_rows", table="question"))
        connection.unregister("new_rows")
    same = len(rows) - len(new) - answered
    wrong = len(read.refused)
    return TableCount(read.table.file, len(rows) + wrong, len(new), answered, same, refused=wrong)


def _key_here(table: str, key: str, keys: RowKeys) -> str | None:
    if table not in ID_COLUMNS:  # units, types and clamps go by their names
        return key
    return keys.of(table, key) if key.isdigit() else None


def _details_here(text: object, keys: RowKeys) -> str | None:
    """Return the values of a question with the visits that it names by number as they are here."""
    if not isinstance(text, str):
        return None
    try:
        told = json.loads(text)
    except ValueError:
        return None
    if isinstance(told, dict) and isinstance(told.get("visits"), list):
        here = [keys.of("visit", number) for number in told["visits"]]
        told["visits"] = [int(number) for number in here if number is not None]
    return json.dumps(told, ensure_ascii=False)


def follow_standing(
    connection: duckdb.DuckDBPyConnection, carried: Mapping[str, ReadTable], keys: RowKeys, stamp: Stamp
) -> None:
    """Withdraw what the ledger that keeps it has withdrawn, take out of the trend what it has, and remove the
    pumps and units that it has removed and nothing speaks of."""
    read = carried.get(STANDING.file)
    if read is None or not keys.foreign:
        return
    here = {**keys.brought("visit"), **keys.here("visit")}
    rows = read.rows.assign(key=read.rows["visit_id"].map(lambda number: here.get(str(int(number)))))
    rows = rows[rows["key"].notna()]
    for key in rows.loc[rows["withdrawn"] == "yes", "key"]:
        if change_cells(connection, "visit", int(key), {"withdrawn": True}, stamp, reason=_MOVED):
            told = {"row_key": key, "by": stamp.by, "answer": _MOVED}
            connection.execute(statement("visit/settle_withdrawn"), told)
    left = rows[rows["withdrawn"] == "no"]
    standing = pd.DataFrame(
        {"visit_id": left["key"].astype("int64"), "in_trend": (left["in_trend"] == "yes").to_numpy()}
    )
    connection.register("standing", standing)
    connection.register("kept_out", pd.DataFrame({"code": KEEPS_OUT_OF_TREND}, dtype="object"))
    connection.execute(statement("load/carry_trend"))
    connection.unregister("standing")
    connection.unregister("kept_out")
    for table, column in ((STILL_PUMPS, "pump_id"), (STILL_UNITS, "unit")):
        still = carried.get(table.file)
        if still is not None and not still.refused:
            _remove_gone(connection, table.ledger, still.rows[column], keys, stamp)


def _remove_gone(
    connection: duckdb.DuckDBPyConnection, table: str, still: pd.Series, keys: RowKeys, stamp: Stamp
) -> None:
    names = still.map(lambda value: str(int(value)) if table == "pump" else str(value))
    connection.register("still_there", pd.DataFrame({"row_id": names}, dtype="object"))
    ask = statement("load/gone_pumps" if table == "pump" else "load/gone_units")
    gone = connection.execute(ask, {"ledger_id": keys.written_by}).fetchall()
    connection.unregister("still_there")
    for key, *said in gone:
        connection.execute(statement(f"visit/delete_{table}"), [key])
        log_change(
            connection, table, str(key), None, said[-1] if said else f"unit {key}", None, stamp, reason=_MOVED
        )
        told = {"table_name": table, "row_key": str(key), "by": stamp.by, "at": stamp.at, "answer": _MOVED}
        connection.execute(statement("visit/settle_gone"), told)


def _count(file: str, merged: Merged, refused: int) -> TableCount:
    added, changed = (int(merged.where(name).sum()) for name in ("added", "changed"))
    rows = len(merged.status)
    return TableCount(file, rows + refused, added, changed, rows - added - changed, refused=refused)
