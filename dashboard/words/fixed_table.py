"""A table for a terminal: aligned columns, wide texts wrapped below their row, no line over 100 columns."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from ingest.harmless import harmless

WIDTH = 100
LAST_LEAST = 24  # columns kept for the last one, whose text is the longest
GAP = "  "


@dataclass(frozen=True)
class Column:
    """A column's heading, and whether its figures stand flush right."""

    heading: str
    right: bool = False


def fixed_table(
    columns: Sequence[Column], rows: Iterable[Sequence[str]], below: Sequence[str] | None = None
) -> list[str]:
    """Return the lines of a table: a heading, then each row with its text of `below` wrapped under it.

    The last column takes what is left of the width, and the widest of the others give way where that is
    little; a text wider than its column is wrapped there, none is cut.
    """
    cells = [[printable(cell) for cell in row] for row in rows]
    widths = [max(len(c.heading), *(len(row[i]) for row in cells), 0) for i, c in enumerate(columns[:-1])]
    gaps = len(GAP) * len(widths)
    while widths and sum(widths) > WIDTH - LAST_LEAST - gaps:
        widths[widths.index(max(widths))] -= 1
    widths.append(WIDTH - sum(widths) - gaps)
    out = []
    for i, row in enumerate([[c.heading for c in columns], *cells]):
        wrapped = [textwrap.wrap(cell, width) or [""] for cell, width in zip(row, widths, strict=True)]
        out += [_line(line, columns, widths) for line in zip_longest(*wrapped, fillvalue="")]
        if not i:
            continue
        if below is not None:
            out += textwrap.wrap(
                printable(below[i - 1]), WIDTH, initial_indent="    ", subsequent_indent="    "
            )
    return out


def printable(text: object) -> str:
    """Return `text` on one line, harmless to the terminal."""
    return harmless(" ".join(str(text).split()))


def strong(text: str) -> str:
    """Return `text` in bold where a terminal shows it, and as it is in a file or a pipe."""
    return f"\x1b[1m{text}\x1b[0m" if sys.stdout.isatty() else text


def _line(cells: Sequence[str], columns: Sequence[Column], widths: Sequence[int]) -> str:
    padded = [
        cell.rjust(width) if column.right else cell.ljust(width)
        for cell, column, width in zip(cells, columns, widths, strict=True)
    ]
    return GAP.join([*padded[:-1], cells[-1]]).rstrip()
