"""The rows of a text file into numbers: fast where they are plain, else cell by cell, naming a bad row."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.limits import MAX_CELLWISE_BYTES, MAX_SAMPLES, Deadline, refuse_rows
from ingest.readers.cells import GAPS, OVERFLOWS, SENTINEL, kind_of
from ingest.readers.clock import clock_column
from ingest.readers.encoding import PlainText, decode
from ingest.readers.layout import Layout, split_line
from ingest.readers.vocabulary import RECORD_WORDS, fold, key_of
from ingest.wording import file_notes

THREADS_FROM_BYTES = 4 * 2**20  # of text; so much is read in a child, which ends without a farewell
MOST_BELOW = 50  # lines of text below the rows that are left out
MOST_LOOKED_UP = 50_000  # gaps looked up one by one in the text
_ALL_MARKS = sorted(
    {form(mark) for mark in GAPS | OVERFLOWS for form in (str, str.upper, str.title)} | {"NaN"}
)


@dataclass(frozen=True)
class Body:
    """`values`: one array (n,) for each of the layout's columns; `overflow`: where overflow marks stood.

    `rows`: file row of each sample, or None where they are consecutive from `first_row`.
    """

    values: tuple[np.ndarray, ...]
    overflow: tuple[np.ndarray | None, ...]
    first_row: int
    rows: np.ndarray | None = None
    breaks: tuple[int, ...] = ()
    notes: tuple[Note, ...] = ()

    def row_number(self, index: int) -> int:
        """Return the row of the file, counted from 1, that sample `index` stands in."""
        if self.rows is not None:
            return int(self.rows[index])
        return self.first_row + index


def read_body(text: PlainText, layout: Layout, deadline: Deadline) -> Body:
    """Return the numbers; raises CaptureRefused naming the first row that can't be read."""
    # a row takes at least one digit and a line end for each column kept
    refuse_rows(0, len(layout.columns))
    body = None
    if not layout.clock_columns:
        body = _fast(text, layout)
    deadline.check()
    return body or _tolerant(text, layout, deadline)


def _fast(text: PlainText, layout: Layout) -> Body | None:
    """Read through Arrow's CSV engine, or return None where the body isn't plain enough for it."""
    if layout.delimiter == " ":
        return _fast_blanks(text, layout)
    import pyarrow as pa

    start = layout.first_byte
    data = text.data
    end = len(data) - len(data[-4096:]) + len(data[-4096:].rstrip(b"\n"))
    if len(layout.columns) == 1 and data.find(b"\n\n", start, end) >= 0:
        return None  # a blank line may part two records
    buffer = pa.py_buffer(data).slice(start, end - start)
    if b"+" in data[start : start + 4096]:  # the engine knows no plus sign; exponents don't need theirs
        buffer = pa.py_buffer(data[start:end].replace(b"+", b""))
    table = _arrow_table(buffer, layout, ["", "NaN"])
    marked = table is None
    if table is None:
        # each mark asked for costs time, so they are asked for only where the plain reading fails
        table = _arrow_table(buffer, layout, _ALL_MARKS)
    if table is None:
        return None
    refuse_rows(table.num_rows, len(layout.columns))
    values, overflow = [], []
    columns = table.columns
    nulls = [column.null_count for column in columns]
    del table
    while columns:
        array = columns.pop(0).to_numpy()  # which gives up each of Arrow's columns for ours
        array = array if array.flags.writeable else array.copy()
        # sums are finite only if every value is, which is far quicker than looking at each
        total = float(array.sum())
        marks = None
        if not np.isfinite(total) or abs(total) > SENTINEL / 10:
            marks = np.isinf(array) | (np.abs(array) >= SENTINEL)
            array[marks] = np.nan
        values.append(array)
        overflow.append(marks)
    holed = len(values) > 1 and all(nulls)
    if holed and np.logical_and.reduce([np.isnan(array) for array in values]).any():
        return None  # a row without any number may be a blank line, which may part two records
    if marked and not _tell_marks(memoryview(buffer), layout, values, overflow):
        return None
    return Body(tuple(values), tuple(overflow), layout.first_line + 1)


def _arrow_table(buffer: Any, layout: Layout, null_values: list[str]) -> Any:
    import pyarrow as pa
    from pyarrow import csv

    names = [str(index) for index in range(layout.cells)]
    try:
        return csv.read_csv(
            pa.BufferReader(buffer),
            # its threads may outlive a refused file, and end a process that is about to end by itself
            read_options=csv.ReadOptions(
                column_names=names, use_threads=len(buffer) > THREADS_FROM_BYTES, block_size=2 << 20
            ),
            parse_options=csv.ParseOptions(
                delimiter=layout.delimiter,
                quote_char='"' if layout.quoted else False,
                # a blank line becomes a row without any number, which is looked for afterwards
                ignore_empty_lines=len(layout.columns) == 1,
            ),
            convert_options=csv.ConvertOptions(
                include_columns=[names[index] for index in layout.columns],
                column_types={names[index]: pa.float64() for index in layout.columns},
                null_values=null_values,
                decimal_point=layout.decimal,
                check_utf8=False,
            ),
        )
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, IndexError):
        return None


def _tell_marks(
    data: memoryview, layout: Layout, values: list[np.ndarray], overflow: list[np.ndarray | None]
) -> bool:
    """Look up in the text which gaps are overflow marks; False if they are too many for that."""
    gaps = [np.flatnonzero(np.isnan(array)) for array in values]
    if sum(map(len, gaps)) > MOST_LOOKED_UP:
        return False
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n"))
    for place, rows in enumerate(gaps):
        known = overflow[place]
        marks = np.zeros(len(values[place]), dtype=bool) if known is None else known
        for row in rows:
            first = ends[row - 1] + 1 if row else 0
            last = ends[row] if row < len(ends) else len(data)
            line = bytes(data[first:last]).decode("utf-8", errors="replace")
            cells = split_line(line, layout.delimiter)
            column = layout.columns[place]
            marks[row] |= column < len(cells) and kind_of(cells[column], layout.decimal) == "overflow"
        overflow[place] = marks if marks.any() else None
    return True


def _fast_blanks(text: PlainText, layout: Layout) -> Body | None:
    """Columns aligned with blanks, through pandas' C engine."""
    import pandas as pd

    body = text.data[layout.first_byte :]
    if b"\n\n" in body.rstrip(b"\n") or b"\n \n" in body:
        return None
    try:
        frame = pd.read_csv(
            io.BytesIO(body),
            sep=r"\s+",
            header=None,
            dtype=np.float64,
            decimal=layout.decimal,
            engine="c",
            usecols=list(layout.columns),
            nrows=MAX_SAMPLES + 1,
        )
    except (ValueError, TypeError, OverflowError):
        return None
    refuse_rows(len(frame), len(layout.columns))
    values = tuple(frame[index].to_numpy(copy=True) for index in layout.columns)
    if any(np.isinf(array).any() for array in values):
        return None
    return Body(values, tuple(None for _ in values), layout.first_line + 1)


def _tolerant(text: PlainText, layout: Layout, deadline: Deadline) -> Body:
    """Read cell by cell: gaps, overflow marks, clock times, stray comments, blank lines, a cut last line."""
    if len(text.data) > MAX_CELLWISE_BYTES:
        raise CaptureRefused(
            "too-large",
            "the rows hold marks, times or blanks that are read cell by cell, which is done only up to "
            f"{MAX_CELLWISE_BYTES // 2**20} MB; export a shorter record or one channel.",
        )
    lines = decode(text.data[layout.first_byte :], text.encoding).split("\n")
    while lines and not lines[-1].strip(' \t,;"'):
        lines.pop()
    refuse_rows(len(lines), len(layout.columns))
    needed, decimal = layout.columns[-1] + 1, layout.decimal
    columns: list[list[str]] = [[] for _ in layout.columns]
    rows: list[int] = []
    breaks: list[int] = []
    foreign: list[int] = []  # rows of words, judged once it is known what follows them
    cut = False
    for index, line in enumerate(lines):
        if not index % 20_000:
            deadline.check()
        if not line.strip():
            breaks.append(len(rows))
            continue
        cells = split_line(line, layout.delimiter)
        row = layout.first_line + index + 1
        if len(cells) < needed:
            if index == len(lines) - 1:
                cut = True
                continue
            # trailing gaps may be left out together with their delimiters
            cells = cells + [""] * (needed - len(cells))
        picked = [cells[column] for column in layout.columns]
        if kind_of(picked[0], decimal) != "number" and (_is_foreign(picked, decimal) or _is_header(cells)):
            foreign.append(row)
            breaks.append(len(rows))
            if len(foreign) > 20_000:
                _refuse_cell(row, picked, decimal)
            continue
        rows.append(row)
        for column, cell in zip(columns, picked, strict=True):
            column.append(cell)
    # "Mean,4.2" below the rows is a summary, not a bad row
    while rows and len(foreign) < MOST_BELOW and kind_of(columns[0][-1], decimal) == "text":
        foreign.append(rows.pop())
        for column in columns:
            column.pop()
    values: list[np.ndarray] = []
    overflow: list[np.ndarray | None] = []
    for place, cells in enumerate(columns):
        deadline.check()
        if layout.columns[place] in layout.clock_columns:
            values.append(clock_column(cells))
            overflow.append(None)
        else:
            array, marks = _numbers(cells, rows, decimal, last_row_cut=not text.ended)
            values.append(array)
            overflow.append(marks if marks.any() else None)
    notes = []
    if cut:
        notes.append(file_notes.last_line_cut())
    if foreign:
        notes.append(file_notes.text_rows(len(foreign), min(foreign)))
    return Body(
        tuple(values), tuple(overflow), layout.first_line + 1, np.array(rows), tuple(breaks), tuple(notes)
    )


def _is_header(cells: list[str]) -> bool:
    """Tell whether a line is of the header that a new record has, such as "Segment,2"."""
    return bool(cells[0]) and (
        fold(cells[0]).removesuffix("s") in RECORD_WORDS or key_of(cells[0]) is not None
    )


def _is_foreign(cells: list[str], decimal: str) -> bool:
    kinds = {kind_of(cell, decimal) for cell in cells}
    return "text" in kinds and not kinds & {"number", "clock"}


def _numbers(
    cells: list[str], rows: list[int], decimal: str, *, last_row_cut: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Cells of one column into (values, overflow marks); the first cell that is neither names its row."""
    values = np.full(len(cells), np.nan)
    marks = np.zeros(len(cells), dtype=bool)
    odd = []
    for index, cell in enumerate(cells):
        # most cells are plain numbers, which Python tells quicker than a pattern does
        try:
            values[index] = float(cell if decimal == "." else cell.replace(",", "."))
        except ValueError:
            odd.append(index)
        else:
            if "_" in cell or (decimal == "," and "." in cell):
                odd.append(index)
    marks |= np.isinf(values) | (np.abs(values) >= SENTINEL)
    values[marks] = np.nan
    for index in odd:
        kind = kind_of(cells[index], decimal)
        if kind == "overflow":
            marks[index] = True
        elif kind != "gap" and not (index == len(cells) - 1 and last_row_cut):
            # "1.2E-" at the very end of a cut file is a gap, trimmed later
            _refuse_cell(rows[index], [cells[index]], decimal)
    return values, marks


def _refuse_cell(row: int, cells: list[str], decimal: str) -> None:
    cell = next(c for c in cells if kind_of(c, decimal) not in ("number", "gap", "overflow"))
    shown = cell if len(cell) <= 40 else cell[:37] + "…"
    other = "," if decimal == "." else "."
    if decimal in cell and other in cell:
        raise CaptureRefused(
            "thousands-mark",
            f"row {row}: '{shown}' holds a thousands mark; export the numbers without thousands marks.",
        )
    if other in cell:
        raise CaptureRefused(
            "mixed-decimal",
            f"row {row}: '{shown}' has another decimal sign than the rows before it ('{decimal}'); "
            "export the file with one decimal sign.",
        )
    raise CaptureRefused(
        "bad-cell",
        f"row {row}: '{shown}' is not a number; mend or delete that row, or export the file again.",
    )
