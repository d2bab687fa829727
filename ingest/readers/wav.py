"""WAV audio: fractions of a full scale that the file doesn't state, at an exact sample rate."""

from __future__ import annotations

import io
import warnings

import numpy as np

from ingest.errors import CaptureRefused
from ingest.limits import refuse_rows
from ingest.readers.cells import SENTINEL
from ingest.readers.table import Column, Header, Table


def sniff(head: bytes) -> bool:
    """Tell whether the file starts as RIFF WAVE (or its big-endian form) does."""
    return head[:4] in (b"RIFF", b"RIFX") and head[8:12] == b"WAVE"


def read(data: bytes) -> Table:
    """Return one column for each channel, -1 to 1, of 8 to 32 bit PCM or float; else CaptureRefused."""
    from scipy.io import wavfile

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            rate, samples = wavfile.read(io.BytesIO(data))
    # scipy raises whatever a damaged byte leads to; its message would not help a reader
    except Exception as error:
        raise CaptureRefused(
            "damaged", "the WAV file is damaged or compressed; save it as plain PCM."
        ) from error
    samples = np.atleast_2d(samples.T)
    count = samples.shape[1]
    if not count or not 0 < rate < 1e9:
        raise CaptureRefused("no-values", "the WAV file holds no samples; record it again.")
    refuse_rows(count, len(samples))
    columns = tuple(Column(f"CH{place + 1}", _fractions(row)) for place, row in enumerate(samples))
    return Table(columns, Header(interval_s=1.0 / rate), full_scale=True, kind="wav")


def _fractions(row: np.ndarray) -> np.ndarray:
    """Whole numbers to -1..1 by their width; unsigned 8 bit has its zero at 128."""
    if row.dtype == np.uint8:
        return (row.astype(np.float64) - 128) / 128
    with np.errstate(invalid="ignore"):  # a damaged float may be a signalling NaN
        values = row.astype(np.float64)
    if row.dtype.kind == "i":
        return values / float(2 ** (8 * row.dtype.itemsize - 1))
    return np.where(np.abs(values) < SENTINEL, values, np.nan)
