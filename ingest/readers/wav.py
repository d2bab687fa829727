"""WAV audio: fractions of a full scale that the file doesn't state, at an exact sample rate.

Our own reading of the chunks, so that every size is checked before anything is allocated. Format: "Multimedia
Programming Interface and Data Specifications 1.0" (RIFF WAVE, 1991) and its extensible form, from memory;
tests hold it against files that a library writes.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from ingest.errors import CaptureRefused
from ingest.limits import refuse_rows
from ingest.readers.cells import SENTINEL
from ingest.readers.table import Column, Header, Table

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_FORMS = {(_PCM, 8): "u1", (_PCM, 16): "i2", (_PCM, 32): "i4", (_PCM, 64): "i8", (_FLOAT, 32): "f4",
          (_FLOAT, 64): "f8"}  # fmt: skip
DAMAGED = "the WAV file is damaged or compressed; save it as plain PCM."


@dataclass(frozen=True)
class _Format:
    tag: int
    channels: int
    rate_hz: int
    bytes_a_frame: int
    bits: int


def sniff(head: bytes) -> bool:
    """Tell whether the file starts as RIFF WAVE (or its big-endian form) does."""
    return head[:4] in (b"RIFF", b"RIFX") and head[8:12] == b"WAVE"


def read(data: bytes) -> Table:
    """Return one column for each channel, -1 to 1, of 8 to 64 bit PCM or float; else CaptureRefused."""
    order = ">" if data[:4] == b"RIFX" else "<"
    try:
        form, start, size = _chunks(data, order)
    except struct.error as error:
        raise CaptureRefused("damaged", DAMAGED) from error
    width = form.bytes_a_frame // form.channels if form.channels else 0
    packed = form.tag == _PCM and form.bits == 24
    if (
        not 0 < form.channels <= 1_000
        or form.bytes_a_frame != form.channels * width
        or 8 * width != form.bits
        or not (packed or (form.tag, form.bits) in _FORMS)
    ):
        raise CaptureRefused("damaged", DAMAGED)
    # a file cut short, or whose size was never filled in, holds what it holds
    frames = min(size, len(data) - start) // form.bytes_a_frame
    if frames < 1 or form.rate_hz < 1:
        raise CaptureRefused("no-values", "the WAV file holds no samples; record it again.")
    refuse_rows(frames, form.channels)
    if packed:
        samples = _of_three_bytes(data, start, frames * form.channels, order)
    else:
        dtype = np.dtype(order + _FORMS[form.tag, form.bits])
        samples = np.frombuffer(data, dtype, frames * form.channels, start)
    samples = samples.reshape(frames, form.channels)
    columns = tuple(Column(f"CH{k + 1}", _fractions(samples[:, k])) for k in range(form.channels))
    return Table(columns, Header(interval_s=1.0 / form.rate_hz), full_scale=True, kind="wav")


def _chunks(data: bytes, order: str) -> tuple[_Format, int, int]:
    """Return the format, and where the samples start and how many bytes they are said to be."""
    form: _Format | None = None
    place = 12
    while place + 8 <= len(data):
        name = data[place : place + 4]
        size = struct.unpack_from(order + "I", data, place + 4)[0]
        place += 8
        if name == b"fmt ":
            tag, channels, rate_hz, _, bytes_a_frame, bits = struct.unpack_from(order + "HHIIHH", data, place)
            if tag == _EXTENSIBLE and size >= 40:  # the first bytes of the sub-format are the tag
                tag = struct.unpack_from(order + "I", data, place + 24)[0]
            form = _Format(tag, channels, rate_hz, bytes_a_frame, bits)
        elif name == b"data":
            if form is None:
                break
            return form, place, size
        place += size + size % 2
    raise CaptureRefused("damaged", DAMAGED)


def _of_three_bytes(data: bytes, start: int, count: int, order: str) -> np.ndarray:
    """24-bit samples as the upper three bytes of 32-bit ones, shape (count,)."""
    wide = np.zeros((count, 4), dtype=np.uint8)
    upper = slice(0, 3) if order == ">" else slice(1, 4)
    wide[:, upper] = np.frombuffer(data, np.uint8, 3 * count, start).reshape(count, 3)
    return wide.view(order + "i4").ravel()


def _fractions(row: np.ndarray) -> np.ndarray:
    """Whole numbers to -1..1 by their width; unsigned 8 bit has its zero at 128."""
    if row.dtype == np.uint8:
        return (row.astype(np.float64) - 128) / 128
    with np.errstate(invalid="ignore"):  # a damaged float may be a signalling NaN
        values = row.astype(np.float64)
    if row.dtype.kind == "i":
        return values / float(2 ** (8 * row.dtype.itemsize - 1))
    return np.where(np.abs(values) < SENTINEL, values, np.nan)
