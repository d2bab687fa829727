"""Parquet: one row a sample, or one row a record with the waveforms as lists in its cells."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from ingest.errors import CaptureRefused
from ingest.limits import MAX_EXPANDED_BYTES, Deadline, refuse_rows, refuse_size
from ingest.readers.cells import SENTINEL
from ingest.readers.signal_units import split_name_unit
from ingest.readers.table import Column, Header, Table
from ingest.readers.vocabulary import key_of

MAGIC = b"PAR1"
BATCH_ROWS = 65_536


def sniff(head: bytes) -> bool:
    """Tell whether the file starts as Parquet does."""
    return head.startswith(MAGIC)


def read(data: bytes, deadline: Deadline) -> Table:
    """Return the numeric columns; sizes are taken from the metadata before anything is expanded.

    Raises CaptureRefused for a damaged file, one without numbers or one past the caps.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        file = pq.ParquetFile(pa.BufferReader(data), pre_buffer=False)
        schema = file.schema_arrow
        lists = [f.name for f in schema if _is_list(f.type) and _is_number(f.type.value_type)]
        flat = [f.name for f in schema if _is_number(f.type) or pa.types.is_timestamp(f.type)]
        wanted = lists + flat
        if not wanted or len(set(wanted)) < len(wanted):
            raise CaptureRefused(
                "no-table", "there is no column of numbers in the file; save time and current."
            )
        _check_sizes(file, len(lists or flat))
        batches: dict[str, list[Any]] = {column: [] for column in lists or ()}
        floats: dict[str, list[np.ndarray]] = {column: [] for column in flat}
        starts: dict[str, Any] = {}
        values = 0
        for batch in file.iter_batches(batch_size=BATCH_ROWS, columns=wanted, use_threads=False):
            deadline.check()
            for column in wanted:
                array = batch.column(column)
                values += len(array) if column in flat else len(array.flatten())
                if column in batches:
                    batches[column].append(array)
                else:
                    if starts.get(column) is None and pa.types.is_timestamp(array.type):
                        held = array.cast(pa.int64()).drop_null()
                        starts[column] = held[0] if len(held) else None
                    floats[column].append(_floats(array, starts.get(column)))
            refuse_rows(values // max(1, len(wanted)), len(wanted))
    except CaptureRefused:
        raise
    # Arrow raises whatever a damaged byte leads to; its message would not help a reader
    except Exception as error:
        raise CaptureRefused("damaged", "the Parquet file is damaged; save it again.") from error
    if lists:
        return _of_lists(batches, lists, {label: parts[0] for label, parts in floats.items() if parts})
    # each column's parts are given up as it is put together
    columns = [_column(label, floats.pop(label), _clock(schema, label)) for label in flat]
    if not columns or not len(columns[0].values):
        raise CaptureRefused("no-values", "the Parquet file has no rows; save it again.")
    return Table(tuple(columns), kind="parquet")


def _check_sizes(file: Any, columns: int) -> None:
    metadata = file.metadata
    refuse_rows(metadata.num_rows, columns)
    total = values = 0
    for group in range(metadata.num_row_groups):
        for column in range(metadata.num_columns):
            chunk = metadata.row_group(group).column(column)
            total += max(0, chunk.total_uncompressed_size)
            values = max(values, chunk.num_values)
            refuse_rows(values, columns)
    refuse_size(total, MAX_EXPANDED_BYTES, "expanded file")


def _of_lists(batches: dict[str, list[Any]], lists: list[str], beside: dict[str, np.ndarray]) -> Table:
    """One record a row: lists of the commonest length are the channels, single numbers may give the rate."""
    cells = {label: [cell for part in batches[label] for cell in _cells(part)] for label in lists}
    lengths = {label: [len(cell) for cell in parts] for label, parts in cells.items()}
    first = lengths[lists[0]] if len(lists) == 1 else max(lengths.values(), key=sum)
    kept = [label for label in lists if lengths[label] == first]
    if not sum(first):
        raise CaptureRefused("no-values", "the lists in the Parquet file are empty; save it again.")
    columns = [_column(label, cells[label], False) for label in kept]
    starts = np.concatenate([[0], np.cumsum([n for n in first if n])[:-1]]).astype(int)
    facts = {key_of(split_name_unit(label)[0]): values for label, values in beside.items()}
    interval = _fact(facts, "interval")
    rate = _fact(facts, "rate")
    if interval is None and rate:
        interval = 1 / rate
    return Table(
        tuple(columns), Header(interval_s=interval), record_starts=tuple(map(int, starts)), kind="parquet"
    )


def _fact(facts: dict[str | None, np.ndarray], key: str) -> float | None:
    value = float(facts[key][0]) if key in facts and len(facts[key]) else 0.0
    return value if 0 < value < 1e9 else None


def _cells(part: Any) -> list[np.ndarray]:
    offsets = np.asarray(part.offsets)
    flat = _floats(part.values)
    return [flat[a:b] for a, b in pairwise(offsets)]


def _column(label: str, parts: list[np.ndarray], clock: bool) -> Column:
    stem, unit, unit_text = split_name_unit(label)
    values = np.concatenate(parts) if parts else np.empty(0)
    return Column(stem, values, unit.symbol if unit else None, unit_text, clock=clock)


def _floats(array: Any, first: Any = None) -> np.ndarray:
    """Arrow numbers to floats; timestamps to seconds since `first`, else since their own first."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_timestamp(array.type):
        per_second = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}[array.type.unit]
        ticks = array.cast(pa.int64())
        held = ticks.drop_null()
        # subtracting whole numbers keeps the nanoseconds, which a float of a date loses
        since = ticks if not len(held) else pc.subtract(ticks, first or held[0])
        return since.to_numpy(zero_copy_only=False).astype(np.float64) / per_second
    values = array.to_numpy(zero_copy_only=False).astype(np.float64)
    return np.where(np.abs(values) < SENTINEL, values, np.nan)


def _is_list(kind: Any) -> bool:
    import pyarrow as pa

    return bool(pa.types.is_list(kind) or pa.types.is_large_list(kind))


def _is_number(kind: Any) -> bool:
    import pyarrow as pa

    return bool(pa.types.is_integer(kind) or pa.types.is_floating(kind))


def _clock(schema: Any, label: str) -> bool:
    import pyarrow as pa

    return bool(pa.types.is_timestamp(schema.field(label).type))
