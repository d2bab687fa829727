"""Samples a file has no value for: trimmed at the ends, kept as NaN inside, refused where they are many."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ingest.capture import Note
from ingest.errors import CaptureRefused

MOST_GAPS = 0.05  # share of the samples between first and last value that may be missing


def handle_gaps(
    current: np.ndarray, overflow: np.ndarray | None, row_number: Callable[[int], int]
) -> tuple[np.ndarray, int, list[Note]]:
    """Return (samples from the first value to the last, samples left out before, notes).

    Raises CaptureRefused when too many are missing.
    """
    # one sum tells whether any is missing
    if np.isfinite(current.sum()):
        return current, 0, []
    missing = ~np.isfinite(current)
    held = np.flatnonzero(~missing)
    if not len(held):
        raise CaptureRefused("no-values", "the channel holds no value at all; export it again.")
    first, last = int(held[0]), int(held[-1])
    notes = []
    ends = first + len(current) - 1 - last
    if ends:
        notes.append(
            Note("ends-trimmed", "info", f"{ends} samples without a value at the ends were left out.")
        )
    kept = current[first : last + 1].copy()
    inside = missing[first : last + 1]
    kept[inside] = np.nan
    count = int(inside.sum())
    if count:
        marks = int(overflow[first : last + 1].sum()) if overflow is not None else 0
        row = row_number(first + int(np.flatnonzero(inside)[0]))
        what = f"{count} samples have no value, the first in row {row}"
        what += f" ({marks} of them overflow marks: range too small?)" if marks else ""
        if count > MOST_GAPS * len(kept):
            raise CaptureRefused(
                "too-many-gaps",
                f"{what}, {100 * count / len(kept):.0f} % of the record; "
                "record again with a range that holds the whole current.",
            )
        level = "warning" if marks else "info"
        notes.append(Note("overflow" if marks else "gaps", level, f"{what}."))  # type: ignore[arg-type]
    return kept, first, notes
