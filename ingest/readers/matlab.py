"""MATLAB files of level 5 and 4, through scipy; sizes are walked first so that nothing can swell."""

from __future__ import annotations

import io
import struct
import warnings
import zlib

import numpy as np

from ingest.errors import CaptureRefused
from ingest.limits import MAX_EXPANDED_BYTES, Deadline, refuse_size
from ingest.readers.arrays import table_from_arrays
from ingest.readers.table import Table

_COMPRESSED = 15


def sniff(head: bytes) -> bool:
    """Tell whether the file starts as MATLAB level 5 or level 4 does."""
    return _is_level_5(head) or _is_level_4(head)


def _is_level_5(head: bytes) -> bool:
    return len(head) >= 128 and head[126:128] in (b"IM", b"MI") and head[124:126] in (b"\0\1", b"\1\0")


def _is_level_4(head: bytes) -> bool:
    if len(head) < 20:
        return False
    kind, rows, columns, imaginary, name_length = struct.unpack("<5i", head[:20])
    return (
        kind in (0, 10, 20, 30, 40, 50)
        and rows > 0
        and columns > 0
        and imaginary in (0, 1)
        and 1 < name_length < 64
        and len(head) >= 20 + name_length
        and head[20 + name_length - 1] == 0
    )


def read(data: bytes, deadline: Deadline) -> Table:
    """Return all real numeric vectors and matrices, also those inside structures."""
    from scipy.io import loadmat

    if _is_level_5(data[:128]):
        _walk_level_5(data, deadline)
    else:
        _walk_level_4(data)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            content = loadmat(io.BytesIO(data), squeeze_me=True, struct_as_record=True)  # type: ignore[arg-type]
    # scipy raises whatever a damaged byte leads to; its message would not help a reader
    except Exception as error:
        raise CaptureRefused("damaged", "the MATLAB file is damaged; save it again.") from error
    arrays: dict[str, np.ndarray] = {}
    for label, value in content.items():
        if not label.startswith("__"):
            _collect(label, value, arrays, depth=0)
    return table_from_arrays(arrays, kind="mat")


def _collect(label: str, value: object, into: dict[str, np.ndarray], depth: int) -> None:
    if isinstance(value, (int, float)):
        into[label] = np.array([value], dtype=float)
    elif isinstance(value, np.ndarray | np.void):
        if value.dtype.names and depth < 5 and len(into) < 1_000:
            for field in value.dtype.names:
                part = value[field]
                inner = part.item() if isinstance(part, np.ndarray) and part.shape == () else part
                _collect(field if depth else f"{field}", inner, into, depth + 1)
        elif isinstance(value, np.ndarray) and value.dtype.kind in "fiub":
            unique = label
            while unique in into:
                unique += "'"
            into[unique] = value


def _walk_level_5(data: bytes, deadline: Deadline) -> None:
    """Add up what the compressed elements expand to, in small pieces, and stop at the cap."""
    order = "<" if data[126:128] == b"IM" else ">"
    place, total = 128, 0
    while place + 8 <= len(data):
        kind, size = struct.unpack(f"{order}II", data[place : place + 8])
        place += 8
        if kind == _COMPRESSED:
            unpacker = zlib.decompressobj()
            rest = data[place : place + size]
            try:
                while rest and not unpacker.eof:
                    total += len(unpacker.decompress(rest, 1 << 20))
                    rest = unpacker.unconsumed_tail
                    refuse_size(total, MAX_EXPANDED_BYTES, "expanded file")
                    deadline.check()
            except zlib.error as error:
                raise CaptureRefused("damaged", "the MATLAB file is damaged; save it again.") from error
        elif size > len(data) - place:
            raise CaptureRefused("damaged", "the MATLAB file is cut short; save it again.")
        place += size


def _walk_level_4(data: bytes) -> None:
    place = 0
    while place + 20 <= len(data):
        kind, rows, columns, imaginary, name_length = struct.unpack("<5i", data[place : place + 20])
        width = {0: 8, 1: 4, 2: 4, 3: 2, 4: 2, 5: 1}.get(kind // 10 % 10)
        if width is None or kind not in range(60) or min(rows, columns, name_length) < 0:
            raise CaptureRefused("damaged", "the MATLAB file is damaged; save it again.")
        size = rows * columns * width * (2 if imaginary else 1)
        place += 20 + name_length + size
        if place > len(data):
            raise CaptureRefused("damaged", "the MATLAB file is cut short; save it again.")
