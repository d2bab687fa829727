"""Text whose cells print a unit beside each number ("0.02 ms"): the units are taken off and kept.

A column has the unit of its first such cell. A cell in another unit of the same kind, as where a recorder
goes from ns to µs, is converted, so that every row means what it says.
"""

from __future__ import annotations

import re
from dataclasses import replace

from ingest.errors import CaptureRefused
from ingest.limits import MAX_CELLWISE_BYTES
from ingest.readers.encoding import PlainText, decode
from ingest.readers.signal_units import SignalUnit, find_signal_unit

LOOKED_AT_BYTES, LOOKED_AT = 12_288, 16  # of the head; lines at its end
MOSTLY = 0.75  # share of them with such a cell in a column
IN_A_ROW = 3  # lines one after another with which the rows begin
_CELL = re.compile(r'\s*"?\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d{1,4})?)\s*([^\W\d_]{1,3})\s*"?\s*')
_KINDS = ("time", "current", "voltage")


def without_cell_units(text: PlainText) -> tuple[PlainText, dict[int, SignalUnit]]:
    """Return the text without units in its cells, and the unit of each column that had them.

    Raises CaptureRefused, naming the row, where a column goes from one kind of unit to another.
    """
    delimiter, columns = _unit_columns(text)
    if not columns:
        return text, {}
    if len(text.data) > MAX_CELLWISE_BYTES:
        raise CaptureRefused(
            "too-large",
            "the cells hold units, which are read one by one only up to "
            f"{MAX_CELLWISE_BYTES // 2**20} MB; export a shorter record, or units in the header alone.",
        )
    lines = decode(text.data, text.encoding).split("\n")
    units: dict[int, SignalUnit] = {}
    for index in range(_first_row(lines, delimiter, columns), len(lines)):
        cells = lines[index].split(delimiter)
        for column in columns:
            if column < len(cells) and (found := _number_and_unit(cells[column])):
                number, unit = found
                first = units.setdefault(column, unit)
                cells[column] = _in_unit(number, unit, first, index + 1)
        lines[index] = delimiter.join(cells)
    encoding = "cp1252" if text.encoding == "cp1252" else "utf-8"
    return replace(text, data="\n".join(lines).encode(encoding, errors="replace")), units


def _unit_columns(text: PlainText) -> tuple[str, tuple[int, ...]]:
    """Delimiter and columns of cells with units, by the lines at the end of the first kilobytes."""
    lines = decode(text.data[:LOOKED_AT_BYTES], text.encoding).split("\n")
    if len(text.data) > LOOKED_AT_BYTES:
        lines.pop()
    lines = [line for line in lines if line.strip()][-LOOKED_AT:]
    best: tuple[str, tuple[int, ...]] = ("", ())
    for delimiter in ("\t", ";", "|", ","):
        rows = [line.split(delimiter) for line in lines]
        width = max(map(len, rows), default=0)
        held = [
            sum(column < len(row) and _number_and_unit(row[column]) is not None for row in rows)
            for column in range(min(width, 200))
        ]
        columns = tuple(column for column, count in enumerate(held) if count >= MOSTLY * len(lines))
        if len(columns) > len(best[1]):
            best = delimiter, columns
    return best


def _first_row(lines: list[str], delimiter: str, columns: tuple[int, ...]) -> int:
    run = 0
    for index, line in enumerate(lines):
        if not line.strip():
            continue
        cells = line.split(delimiter)
        held = all(column < len(cells) and _number_and_unit(cells[column]) for column in columns)
        run = run + 1 if held else 0
        if run == IN_A_ROW:
            return index - IN_A_ROW + 1
    return len(lines)


def _number_and_unit(cell: str) -> tuple[str, SignalUnit] | None:
    match = _CELL.fullmatch(cell)
    unit = find_signal_unit(match[2]) if match else None
    return (match[1], unit) if match and unit and unit.kind in _KINDS else None


def _in_unit(number: str, unit: SignalUnit, wanted: SignalUnit, row: int) -> str:
    if unit == wanted:
        return number
    if unit.kind != wanted.kind:
        raise CaptureRefused(
            "mixed-units",
            f"row {row}: '{number} {unit.symbol}' stands in a column that is in {wanted.symbol} above; "
            "export each signal in a column of its own.",
        )
    value = float(number.replace(",", ".")) * unit.factor / wanted.factor
    printed = f"{value:.12g}"
    return printed.replace(".", ",") if "," in number else printed
