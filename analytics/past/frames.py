"""Small helpers for rows of tables."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from analytics.statements import statement

PUMPS_AT_ONCE = 15_000  # what is made of each visit, or of each distance ahead, takes room
FEW_PUMPS = 8  # of a unit: the visits of each are looked up, where the view of all joins every visit there is


def fetch(connection: duckdb.DuckDBPyConnection, name: str, values: Sequence[Any] = ()) -> pd.DataFrame:
    """Run analytics/sql/<name>.sql; by way of Arrow, which hands text over whole instead of by cell."""
    return as_frame(fetch_table(connection, name, values))


def fetch_with(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    values: Sequence[Any],
    column: str,
    wanted: Sequence[Any],
) -> pd.DataFrame:
    """As `fetch`, the rows alone that have one of the wanted values in a column."""
    rows = statement("rows_with").replace("{query}", statement(name)).replace("{column}", column)
    return as_frame(connection.sql(rows, params=[*values, list(wanted)]).to_arrow_table())


def fetch_table(connection: duckdb.DuckDBPyConnection, name: str, values: Sequence[Any] = ()) -> pa.Table:
    """As `fetch`, still to be made a frame, whole or in parts."""
    return connection.sql(statement(name), params=list(values)).to_arrow_table()


def fetch_visits(
    connection: duckdb.DuckDBPyConnection,
    name: str,
    values: Sequence[Any] = (),
    pump_ids: Sequence[int] | None = None,
) -> pa.Table:
    """As `fetch_table`, of a statement about {visits}: all, or those of a few pumps alone, one after the
    other."""
    query = statement(name)
    if pump_ids is None:
        return connection.sql(query.replace("{visits}", "visit_detail"), params=list(values)).to_arrow_table()
    of_one = query.replace("{visits}", "visit_rows(?)")
    asked = [[int(pump_id), *values] for pump_id in pump_ids]
    return pa.concat_tables([connection.sql(of_one, params=each).to_arrow_table() for each in asked])


def as_frame(table: pa.Table) -> pd.DataFrame:
    """Return a table of `fetch_table`, or some of its rows, as `fetch` gives it."""
    frame = table.to_pandas(date_as_object=False)
    # Columns of text without any row and chunk can't be joined with one another.
    return frame if len(frame) else frame.astype(object).astype(frame.dtypes)


def among(names: pd.Series, known: pd.Series | pd.Index) -> np.ndarray:
    """Return whether each name is one of those known, (n,) bool: by one look-up, where `isin` of text goes
    through the known ones by cell."""
    return np.asarray(pd.Index(known.unique()).get_indexer(pd.Index(names)) >= 0)


def parts(n: int) -> list[slice]:
    """Return the rows of PUMPS_AT_ONCE of n pumps at a time; one part without rows where there are none."""
    return [slice(first, first + PUMPS_AT_ONCE) for first in range(0, max(n, 1), PUMPS_AT_ONCE)]


def each(frame: pd.DataFrame) -> Iterator[Any]:
    """Yield each row with its columns as attributes."""
    return frame.itertuples(index=False)


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return rows as plain values: dates as text, unknown or infinite as None."""
    names = [str(name) for name in frame]
    rows = zip(*(plain_column(frame[name]) for name in frame), strict=True)
    return [dict(zip(names, row, strict=True)) for row in rows]


def plain_column(column: pd.Series) -> list[Any]:
    """Return a column's values as `records` gives them, worked out at once where all are of one kind."""
    if pd.api.types.is_float_dtype(column.dtype) and isinstance(column.dtype, np.dtype):
        values = column.to_numpy()
        plain = np.round(values, 6).astype(object)
        plain[~np.isfinite(values)] = None
        return plain.tolist()
    if isinstance(column.dtype, np.dtype) and column.dtype.kind in "bi":
        return column.tolist()
    if column.dtype.kind == "M":
        return column.dt.strftime("%Y-%m-%d").astype(object).where(column.notna(), None).tolist()
    if isinstance(column.dtype, pd.StringDtype):
        return column.astype(object).where(column.notna(), None).tolist()
    return [_plain(value) for value in column.tolist()]


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, str):  # most are
        return value
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if value is pd.NaT:
        return None
    if isinstance(value, date):
        return value.isoformat()[:10]
    if pd.isna(value):
        return None
    value = value.item() if hasattr(value, "item") else value
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    return value
