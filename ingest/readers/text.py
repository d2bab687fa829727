"""Delimited text of any dialect: sniff the layout, read the header, read the numbers."""

from __future__ import annotations

from pathlib import Path

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.limits import Deadline
from ingest.readers.cell_units import without_cell_units
from ingest.readers.cells import resolution_of
from ingest.readers.encoding import PlainText, looks_binary, to_plain_text
from ingest.readers.layout import Layout, find_layout
from ingest.readers.numbers import read_body
from ingest.readers.preamble import Preamble, read_preamble, with_units
from ingest.readers.table import Column, Table
from ingest.wording import file_notes

_HEAD_BYTES = 262_144  # of a file that is looked at without reading it


def sniff(head: bytes) -> bool:
    """Tell whether the first kilobytes are text."""
    return bool(head) and not looks_binary(head)


def read_layout(data: bytes) -> tuple[PlainText, Layout, Preamble]:
    """Return the plain text, its layout and what its header says, without reading the numbers."""
    text, units = without_cell_units(to_plain_text(data))
    layout = find_layout(text)
    return text, layout, with_units(read_preamble(layout), layout.columns, units)


def read(data: bytes, deadline: Deadline) -> Table:
    """Return every number column of the file with what the header says; CaptureRefused if there is none."""
    text, layout, preamble = read_layout(data)
    deadline.check()
    body = read_body(text, layout, deadline)
    if not body.values or not len(body.values[0]):
        raise CaptureRefused("no-table", "no rows of numbers were found; export the trace as CSV.")
    columns = tuple(
        Column(
            label,
            values,
            unit.symbol if unit else None,
            unit_text,
            overflow,
            clock=place in layout.clock_columns,
            resolution=_resolution(layout, place),
            second_name=second,
        )
        for place, label, second, values, unit, unit_text, overflow in zip(
            layout.columns,
            preamble.names,
            preamble.second_names,
            body.values,
            preamble.units,
            preamble.unit_texts,
            body.overflow,
            strict=True,
        )
    )
    return Table(
        columns,
        preamble.header,
        body.row_number,
        body.breaks,
        (_layout_note(text, layout), *body.notes),
        kind="text",
    )


def _resolution(layout: Layout, place: int) -> float:
    """Size of the last printed digit, as most rows print it."""
    steps = [resolution_of(row[place], layout.decimal) for row in layout.sample if place < len(row)]
    steps = sorted(step for step in steps if step)
    return steps[len(steps) // 2] if steps else 0.0


def _layout_note(text: PlainText, layout: Layout) -> Note:
    delimiter = None if layout.cells == 1 else layout.delimiter
    first_row = layout.first_line + 1
    return file_notes.layout(text.encoding, text.line_end, delimiter, layout.decimal, first_row)


def ends_early(path: Path) -> bool:
    """Tell whether a text stops inside a line, or before as many rows as its header speaks of.

    False of what can't be seen or is no table.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
            lines, tail = _line_ends(head), head[-2:]
            while piece := file.read(1 << 20):
                lines, tail = lines + _line_ends(piece), (tail + piece)[-2:]
    except OSError:
        return False
    if not tail.rstrip(b"\0").endswith((b"\r", b"\n")):  # a zero byte is half of UTF-16
        return True
    try:
        _, layout, preamble = read_layout(head[: 1 + max(head.rfind(b"\n"), head.rfind(b"\r"))])
    except CaptureRefused:
        return False
    promised = preamble.header.rows_promised
    return promised is not None and lines - layout.first_line < promised


def _line_ends(data: bytes) -> int:
    return data.count(b"\n") or data.count(b"\r")
