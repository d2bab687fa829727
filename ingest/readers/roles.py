"""Which column is time, which only counts rows or records, and which hold values."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ingest.readers.signal_units import UNITS, SignalUnit
from ingest.readers.table import Column, Table
from ingest.readers.vocabulary import (
    CHANNEL,
    ENVELOPE_WORDS,
    INDEX_WORDS,
    RECORD_WORDS,
    STEP_WORDS,
    TIME_WORDS,
    fold,
)


@dataclass(frozen=True)
class Roles:
    """`values` are the channels, in file order, each with a name; `time` may be missing."""

    time: Column | None
    record: Column | None
    values: tuple[Column, ...]
    time_guessed: bool = False  # told from its even steps alone


def assign_roles(table: Table) -> Roles:
    """Tell time, index and record columns from channels, by name and unit first, by content last."""
    columns = list(table.columns)
    time = _named_time(columns)
    guessed = False
    index: Column | None = None
    rest = [c for c in columns if c is not time]
    if len(columns) > 1:
        index = next((c for c in rest if _counts_rows(c)), None)
        if time is None:
            candidates = [c for c in rest if c is not index and _may_be_time(c)]
            time = next((c for c in candidates[:-1] or candidates if _evenly_spaced(c.values)), None)
            guessed = time is not None
            rest = [c for c in rest if c is not time]
    record = next((c for c in rest if c is not index and fold(c.name) in RECORD_WORDS), None)
    skipped = {id(c) for c in (time, index, record)}
    values = [c for c in columns if id(c) not in skipped and not _is_step(c) and not _repeats(c, time)]
    if not values and time is not None and guessed:
        values, time, guessed = [time], None, False
    return Roles(time, record, _with_names(values), guessed)


def unit_of(column: Column) -> SignalUnit | None:
    """Return the column's unit, if it is one that is known."""
    return UNITS.get(column.unit) if column.unit else None


def is_envelope(column: Column) -> bool:
    """Tell whether the column is the second half of a highest/lowest pair rather than a channel."""
    folded = fold(column.name)
    return folded in ENVELOPE_WORDS or folded.endswith(("peakdetect", "envelope"))


def _named_time(columns: list[Column]) -> Column | None:
    for column in columns:
        if column.clock:
            return column
    timed = [c for c in columns if (unit := unit_of(c)) and unit.kind == "time" and not _is_step(c)]
    named = [c for c in timed if fold(c.name) in TIME_WORDS or not c.name]
    if named or timed:
        return (named or timed)[0]
    for column in columns:
        unit = unit_of(column)
        if fold(column.name) in TIME_WORDS and (unit is None or unit.kind in ("time", "frequency")):
            return column
    return None


def _is_step(column: Column) -> bool:
    folded = fold(column.name)
    unit = unit_of(column)
    return folded in STEP_WORDS and (unit is None or unit.kind == "time")


def _counts_rows(column: Column) -> bool:
    """A column that goes up by exactly one a row; without a name only whole numbers from 0 or 1 count."""
    if column.unit or len(column.values) < 3:
        return False
    values = column.values
    folded = fold(column.name)
    if folded in INDEX_WORDS or (folded in RECORD_WORDS and values[0] != values[1]):
        return bool(values[1] - values[0] == 1) and bool((np.diff(values) == 1).mean() > 0.9)
    return bool(
        not column.name
        and values[0] in (0.0, 1.0)
        and values[1] - values[0] == 1
        and (np.diff(values) == 1).all()
    )


def _may_be_time(column: Column) -> bool:
    unit = unit_of(column)
    return (unit is None or unit.kind == "time") and not (
        column.name and CHANNEL.fullmatch(fold(column.name))
    )


def _evenly_spaced(values: np.ndarray) -> bool:
    """Tell whether the values, put in order, go up in even steps, as only a time column does."""
    finite = values[np.isfinite(values)] if np.isnan(values).any() else values
    if len(finite) < 3:
        return False
    steps = np.diff(finite)
    if (steps < 0).any():
        ordered = np.sort(finite)
        steps = np.diff(ordered)
        # a channel put in order has runs of equal values, or uneven steps
        if (steps == 0).mean() > 0.01:
            return False
    span = steps.sum()
    mean = span / len(steps)
    if not mean > 0:
        return False
    # rounding may repeat stamps, jitter may stretch steps; a rising signal does neither evenly
    line = np.abs(np.cumsum(steps) - mean * np.arange(1, len(steps) + 1))
    return bool(np.median(line) < 0.02 * span and line.max() < 0.1 * span)


def _repeats(column: Column, time: Column | None) -> bool:
    """A time column printed once more beside each channel."""
    if time is None or len(column.values) < 3 or column.values[-1] != time.values[-1]:
        return False
    return bool(np.array_equal(column.values, time.values, equal_nan=True))


def _with_names(columns: list[Column]) -> tuple[Column, ...]:
    """Give each a name that no other has: "CH2" without one, "Value 2" for the second called "Value"."""
    folded = [fold(column.name) for column in columns]
    second = [fold(column.second_name) for column in columns]
    named = []
    for place, (column, name) in enumerate(zip(columns, folded, strict=True)):
        if not name:
            named.append(replace(column, name=f"CH{place + 1}"))
        elif folded.count(name) == 1:
            named.append(column)
        elif all(second) and len(set(second)) == len(second):
            named.append(replace(column, name=column.second_name, second_name=""))
        else:
            nth = 1 + folded[:place].count(name)
            named.append(replace(column, name=f"{column.name} {nth}", second_name=column.name))
    return tuple(named)
