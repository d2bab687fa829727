"""What every format reader hands on: named columns of numbers and what the header says about them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from ingest.capture import Note


@dataclass(frozen=True)
class Column:
    """One column: shape (n,) float64, NaN for a gap.

    `unit` is a symbol of `signal_units.UNITS` or None; `unit_text` is what the file printed.
    `overflow` marks the gaps that were overflow marks; `clock` says the values are seconds of clock time.
    """

    name: str
    values: np.ndarray
    unit: str | None = None
    unit_text: str = ""
    overflow: np.ndarray | None = None
    clock: bool = False
    resolution: float = 0.0  # step of the last printed digit, where known
    second_name: str = ""  # from another row of the header, or for one of several called alike, its place

    def rows(self, keep: slice) -> Column:
        """Return the same column cut to `keep`."""
        overflow = None if self.overflow is None else self.overflow[keep]
        return replace(self, values=self.values[keep], overflow=overflow)


@dataclass(frozen=True)
class Header:
    """What the header says beside names: times in s, codes as value = (code - offset) * scale + zero."""

    interval_s: float | None = None
    start_s: float | None = None
    time_unit: str | None = None  # symbol; also "Hz" for spectra
    value_unit: str | None = None
    probe_v_per_a: float | None = None
    probe_attenuation: float | None = None
    code_scale: float | None = None
    code_offset: float = 0.0
    code_zero: float = 0.0
    volts_per_division: float | None = None
    rows_promised: int | None = None
    captured_at: datetime | None = None
    spectrum: bool = False


@dataclass(frozen=True)
class Table:
    """A file as read, before anything is decided about it.

    `row_number(i)` names row i of the columns as a person counts rows in the file;
    `breaks` are the indices where a blank or text line stood before the row.
    """

    columns: tuple[Column, ...]
    header: Header = field(default_factory=Header)
    row_number: Callable[[int], int] = lambda i: i + 1
    breaks: tuple[int, ...] = ()
    notes: tuple[Note, ...] = ()
    record_starts: tuple[int, ...] = ()  # first rows of the records, where the format itself knows them
    full_scale: bool = False  # values are fractions of a full scale the file doesn't state
    kind: str = "table"
