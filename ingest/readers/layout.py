"""How a text file is laid out: delimiter, decimal sign, which columns hold numbers, where the rows start."""

from __future__ import annotations

import csv
import re
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise

from ingest.errors import CaptureRefused
from ingest.readers.cells import kind_of
from ingest.readers.encoding import PlainText, decode

HEAD_BYTES = 12_288
LONGEST_HEAD_BYTES = 4_194_304
TAIL_BYTES = 4_096
LONGEST_LINE = 100_000
SAMPLE_LINES = 16  # from the head, and as many from the tail
_CANDIDATES = (("\t", "."), ("\t", ","), (";", "."), (";", ","), (",", "."), ("|", "."), ("|", ","))
_BLANKS = ((" ", "."), (" ", ","))


@dataclass(frozen=True)
class Layout:
    """Where the numbers are.

    `columns`: indices of the number columns; `clock_columns`: those of them printed as clock time;
    `first_line`, `first_byte`: where the first row of numbers starts; `head`: the lines before it;
    `side`: cells beside the numbers in the first rows; `sample`: cells of some rows.
    """

    delimiter: str
    decimal: str
    columns: tuple[int, ...]
    clock_columns: frozenset[int]
    cells: int
    first_line: int
    first_byte: int
    head: tuple[str, ...]
    side: tuple[tuple[str, ...], ...]
    sample: tuple[tuple[str, ...], ...]
    quoted: bool


def split_line(line: str, delimiter: str) -> list[str]:
    """Split one line into stripped cells; blanks count as one delimiter however many they are."""
    if delimiter == " ":
        return line.split()
    if '"' in line:
        # a stray quote gives odd cells, never an exception; neither may a stray line end or a giant cell
        with suppress(csv.Error):
            line = line.replace("\r", " ")
            return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
    return [cell.strip() for cell in line.split(delimiter)]


def find_layout(text: PlainText) -> Layout:
    """Return the layout, from the first kilobytes and the last; CaptureRefused if there is no table."""
    size = HEAD_BYTES
    while True:
        whole = size >= len(text.data)
        lines = _lines(text, text.data[:size], drop_last=not whole)
        layout = _layout_of(text, lines, whole)
        if layout or whole or size >= LONGEST_HEAD_BYTES:
            break
        size *= 8
    if layout is None:
        raise CaptureRefused(
            "no-table",
            "no rows of numbers were found; export the trace itself as CSV, one row a sample.",
        )
    return layout


def _lines(text: PlainText, data: bytes, *, drop_last: bool = False, drop_first: bool = False) -> list[str]:
    lines = decode(data, text.encoding).split("\n")
    if drop_last and len(lines) > 1:
        lines.pop()
    return lines[1:] if drop_first else lines


def _layout_of(text: PlainText, lines: list[str], whole: bool) -> Layout | None:
    filled = [line for line in lines[-4 * SAMPLE_LINES :] if line.strip(' \t,;"')]
    sample = filled[-SAMPLE_LINES:]
    if not whole:
        tail = _lines(text, text.data[-TAIL_BYTES:], drop_first=True)[:-1]
        sample = sample + [line for line in tail if line.strip(' \t,;"')][-SAMPLE_LINES:]
    if max(map(len, sample), default=0) > LONGEST_LINE:
        return None
    best = None
    commas = any("," in line for line in sample)
    for order, (delimiter, decimal) in enumerate(_CANDIDATES + _BLANKS):
        if not commas and "," in (delimiter, decimal):
            continue  # reads as the same candidate without the comma does
        score, count = _score(sample, delimiter, decimal)
        key = (score, count, -order)
        if score > 0.3 and (best is None or key > best[0]):
            best = (key, delimiter, decimal)
    if best is None:
        return None
    _, delimiter, decimal = best
    if (delimiter, decimal) == (",", ".") and _one_decimal_comma(sample, lines):
        delimiter, decimal = ";", ","
    rows = [split_line(line, delimiter) for line in sample]
    cells = Counter(map(len, rows)).most_common(1)[0][0]
    columns, clocks = _number_columns(rows, decimal)
    if not columns:
        return None
    first = _first_row(lines, delimiter, decimal, columns)
    if first is None:
        return None
    _refuse_comma_twice(delimiter, rows, columns, lines[:first])
    side_width = columns[0] if columns[0] >= 2 else 0
    side = tuple(
        tuple(split_line(line, delimiter)[:side_width]) for line in lines[first : first + 200] if side_width
    )
    encoding = "cp1252" if text.encoding == "cp1252" else "utf-8"
    first_byte = sum(len(line.encode(encoding, errors="replace")) + 1 for line in lines[:first])
    if "\ufffd" in "".join(lines[:first]):  # a replaced sign has another length: count in the bytes
        first_byte = _line_start(text.data, first)
    return Layout(
        delimiter,
        decimal,
        columns,
        clocks,
        cells,
        first,
        first_byte,
        tuple(lines[:first]),
        tuple(row for row in side if any(row)),
        tuple(tuple(row) for row in rows),
        any('"' in line for line in sample),
    )


def _line_start(data: bytes, line: int) -> int:
    start = 0
    for _ in range(line):
        start = data.index(b"\n", start) + 1
    return start


def _score(sample: list[str], delimiter: str, decimal: str) -> tuple[float, int]:
    """Share of lines that read as rows of numbers, and how many number cells they mostly have."""
    held = delimiter == " " or delimiter in "".join(sample[:3] + sample[-3:])
    # without the delimiter a line is one cell, which any delimiter reads the same: two of them are enough
    if not sample or (not held and delimiter not in (";", ",")):
        return 0.0, 0
    total, widths, counts = 0.0, Counter[int](), Counter[int]()
    for line in sample:
        cells = split_line(line, delimiter)
        kinds = [kind_of(cell, decimal) for cell in cells[:200]]
        numbers = kinds.count("number") + kinds.count("clock")
        if numbers:
            total += numbers / (numbers + 2 * kinds.count("text"))
        widths[len(cells)] += 1
        counts[numbers] += 1
    steady = widths.most_common(1)[0][1] / len(sample)
    return round(total / len(sample) * (0.5 + 0.5 * steady), 2), counts.most_common(1)[0][0]


def _number_columns(rows: list[list[str]], decimal: str) -> tuple[tuple[int, ...], frozenset[int]]:
    kinds: dict[int, Counter[str]] = {}
    for row in rows:
        for index, cell in enumerate(row):
            kinds.setdefault(index, Counter())[kind_of(cell, decimal)] += 1
    columns, clocks = [], []
    for index, seen in sorted(kinds.items()):
        numbers = seen["number"] + seen["clock"]
        if numbers and numbers >= 2 * seen["text"] and numbers >= 0.05 * len(rows):
            columns.append(index)
            if seen["clock"] > seen["number"]:
                clocks.append(index)
    return tuple(columns), frozenset(clocks)


def is_row(cells: list[str], decimal: str, columns: tuple[int, ...]) -> bool:
    """Tell whether the cells are a row of numbers rather than a line of the header."""
    if len(cells) <= columns[-1]:
        return False
    if kind_of(cells[columns[0]], decimal) == "text":
        return False  # most header lines end here
    kinds = [kind_of(cells[index], decimal) for index in columns]
    if "text" in kinds or not ("number" in kinds or "clock" in kinds):
        return False
    # words before the numbers are side metadata only where key and value both have a column of their own
    return columns[0] >= 2 or not any(kind_of(cell, decimal) == "text" for cell in cells[: columns[0]])


def _first_row(lines: list[str], delimiter: str, decimal: str, columns: tuple[int, ...]) -> int | None:
    """Index of the first line from which rows of numbers follow one another."""
    ahead: list[tuple[int, bool]] = []
    for index, line in enumerate(lines):
        if not line.strip():
            continue
        ahead.append((index, is_row(split_line(line, delimiter), decimal, columns)))
        if len(ahead) >= 3 and all(flag for _, flag in ahead[-3:]):
            return _before_a_bad_row(ahead, len(columns))
    # a very short table has fewer than three rows
    rows = [index for index, flag in ahead if flag]
    return rows[0] if rows else None


def _before_a_bad_row(ahead: list[tuple[int, bool]], columns: int) -> int:
    """Go back over one or two odd lines with rows before them: those hold a bad cell, not a header."""
    start = len(ahead) - 3
    for gap in (1, 2):
        before = ahead[max(0, start - gap - 2) : start - gap] if start > gap else []
        if before and before[-1][1] and (columns > 1 or (len(before) == 2 and before[0][1])):
            start -= gap + 1
            while start and ahead[start - 1][1]:
                start -= 1
            break
    return ahead[start][0]


def _one_decimal_comma(sample: list[str], lines: list[str]) -> bool:
    """Tell whether each line is one number with a decimal comma rather than two whole numbers.

    It is where the parts after the comma are padded with zeros, or the header names one value, and the
    parts before it don't count up as times or row numbers do.
    """
    pairs = [line.strip().split(",") for line in sample if kind_of(line.strip(), ",") == "number"]
    if len(pairs) < 0.9 * len(sample) or any(len(pair) != 2 for pair in pairs):
        return False
    before = [float(pair[0].strip("+-") or 0) * (-1 if "-" in pair[0] else 1) for pair in pairs]
    counts_up = all(a < b for a, b in pairwise(before))
    named = [line for line in lines if line.strip() and kind_of(line.strip(), ",") != "number"]
    padded = any(re.match(r"0\d", pair[1]) for pair in pairs)
    return not counts_up and (padded or bool(named and "," not in named[-1]))


def _refuse_comma_twice(
    delimiter: str, rows: list[list[str]], columns: tuple[int, ...], head: list[str]
) -> None:
    """Refuse a comma used both between values and inside them: no reader can tell the two apart."""
    if delimiter != ",":
        return
    cells = [row[index] for row in rows for index in columns if index < len(row)]
    if any("." in cell or "e" in cell.lower() or ":" in cell for cell in cells) or len(columns) < 2:
        return
    padded = sum(bool(re.fullmatch(r"0\d+", cell)) for cell in cells) > 0.1 * len(rows)
    named = [split_line(line, ",") for line in head if line.strip()]
    halved = bool(named) and 2 * len([c for c in named[-1] if c]) == len([c for c in rows[-1] if c])
    widths = Counter(len(row) for row in rows)
    ragged = widths.most_common(1)[0][1] < 0.8 * len(rows)
    one_value = len(columns) == 2 and bool(named) and len([c for c in named[-1] if c]) == 1
    if padded or halved or ragged or one_value:
        raise CaptureRefused(
            "decimal-comma",
            "the comma stands both between values and inside them, so they can't be told apart; "
            "export with semicolon or tab between values, or with a decimal point.",
        )
