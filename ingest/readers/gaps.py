"""Samples a file has no value for: trimmed at the ends, kept as NaN inside, refused where they are many."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.wording import file_notes

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
        notes.append(file_notes.ends_trimmed(ends))
    kept = current[first : last + 1].copy()
    inside = missing[first : last + 1]
    kept[inside] = np.nan
    count = int(inside.sum())
    if count:
        marks = int(overflow[first : last + 1].sum()) if overflow is not None else 0
        row = row_number(first + int(np.flatnonzero(inside)[0]))
        note = file_notes.overflow(count, row, marks) if marks else file_notes.gaps(count, row)
        if count > MOST_GAPS * len(kept):
            raise CaptureRefused(
                "too-many-gaps",
                f"{note.text.removesuffix('.')}, {100 * count / len(kept):.0f} % of the record; "
                "record again with a range that holds the whole current.",
            )
        notes.append(note)
    return kept, first, notes
