"""Named arrays (NumPy, MATLAB, Parquet lists) into one table: columns, time vector, sample rate."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ingest.errors import CaptureRefused
from ingest.limits import refuse_rows
from ingest.readers.cells import SENTINEL
from ingest.readers.signal_units import split_name_unit
from ingest.readers.table import Column, Header, Table
from ingest.readers.vocabulary import key_of


def table_from_arrays(arrays: Mapping[str, np.ndarray], *, kind: str) -> Table:
    """Return a table of the longest vectors; single numbers may give rate, interval or start.

    Raises CaptureRefused where there is no vector of numbers.
    """
    vectors: list[tuple[str, np.ndarray, float]] = []
    facts: dict[str, float] = {}
    for label, array in arrays.items():
        for part_label, part, resolution in _vectors_of(label, array):
            if len(part) == 1:
                if key := key_of(split_name_unit(part_label)[0]):
                    facts.setdefault(key, float(part[0]))
            else:
                vectors.append((part_label, part, resolution))
    if not vectors:
        raise CaptureRefused(
            "no-table",
            "there is no vector of numbers in the file; save time and current as vectors.",
        )
    length = max(len(part) for _, part, _ in vectors)
    vectors = [vector for vector in vectors if len(vector[1]) == length]
    refuse_rows(length, len(vectors))
    columns = []
    for label, part, resolution in vectors:
        stem, unit, unit_text = split_name_unit(label)
        if unit and not stem and len(label) == 1:  # a variable called A or V is a name
            stem, unit, unit_text = label, None, ""
        columns.append(
            Column(stem, _floats(part), unit.symbol if unit else None, unit_text, resolution=resolution)
        )
    interval = facts.get("interval") or (1 / facts["rate"] if facts.get("rate", 0) > 0 else None)
    if interval is not None and not 0 < interval < 1e6:
        interval = None
    header = Header(interval_s=interval, start_s=facts.get("start"))
    return Table(tuple(columns), header, kind=kind)


def _vectors_of(label: str, array: np.ndarray) -> list[tuple[str, np.ndarray, float]]:
    """Return (label, numbers as they are, resolution) of each field of a record or column of a matrix."""
    if array.dtype.names:
        return [
            (field if not label else f"{label}.{field}", part, resolution)
            for field in array.dtype.names
            for _, part, resolution in _vectors_of("", array[field])
        ]
    if array.dtype.kind not in "fiub" or array.size == 0:
        return []
    squeezed = np.atleast_1d(np.squeeze(array))
    # times in single precision are rounded as printed ones are
    single = array.dtype.kind == "f" and array.dtype.itemsize < 8
    held = np.abs(squeezed[np.isfinite(squeezed)]) if single else squeezed[:0]
    resolution = float(np.spacing(held.max())) if held.size else 0.0
    if squeezed.ndim == 1:
        return [(label, squeezed, resolution)]
    if squeezed.ndim != 2:
        return []
    if squeezed.shape[0] < squeezed.shape[1]:
        squeezed = squeezed.T
    if squeezed.shape[1] > 1_000:
        return []
    return [
        (f"{label} {place + 1}".strip() if label else "", squeezed[:, place], resolution)
        for place in range(squeezed.shape[1])
    ]


def _floats(array: np.ndarray) -> np.ndarray:
    with np.errstate(invalid="ignore"):  # a damaged float may be a signalling NaN
        values = np.ascontiguousarray(array, dtype=np.float64)
    # infinite values and the numbers that stand for them in IEEE 488.2 are gaps
    return np.where(np.abs(values) < SENTINEL, values, np.nan)
