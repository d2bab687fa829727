"""MATLAB files of level 5 and 4: plain numeric arrays and structures of them, every size checked first.

Our own reader, because the usual one ends the whole process on some damaged files. Formats: "MAT-File
Format", The MathWorks, public documentation of level 5 (tags, small elements, compression) and level 4.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Iterator

import numpy as np

from ingest.errors import CaptureRefused
from ingest.limits import MAX_EXPANDED_BYTES, Deadline, refuse_rows, refuse_size
from ingest.readers.arrays import table_from_arrays
from ingest.readers.table import Table

_NUMBERS = {1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8"}
_MATRIX, _COMPRESSED = 14, 15
_STRUCTURE, _FIRST_NUMERIC, _LAST_NUMERIC = 2, 6, 15
_LEVEL_4 = {0: "f8", 1: "f4", 2: "i4", 3: "i2", 4: "u2", 5: "u1"}
DEEPEST = 5


class _Damaged(Exception):
    """A size or tag that can't be."""


def sniff(head: bytes) -> bool:
    """Tell whether the file starts as MATLAB level 5 or level 4 does."""
    return _is_level_5(head) or _is_level_4(head)


def _is_level_5(head: bytes) -> bool:
    return len(head) >= 128 and (head[124:128] in (b"\0\1IM", b"\1\0MI"))


def _is_level_4(head: bytes) -> bool:
    if len(head) < 20:
        return False
    kind, rows, columns, imaginary, length = struct.unpack("<5i", head[:20])
    named = 1 < length < 64 and len(head) >= 20 + length and head[19 + length] == 0
    return kind in (0, 10, 20, 30, 40, 50) and rows > 0 and columns > 0 and imaginary in (0, 1) and named


def read(data: bytes, deadline: Deadline) -> Table:
    """Return all real numeric vectors and matrices, also in structures; CaptureRefused if damaged."""
    arrays: dict[str, np.ndarray] = {}
    try:
        if _is_level_5(data[:128]):
            order = "<" if data[126:128] == b"IM" else ">"
            for part in _unpacked(data, order, deadline):
                _collect(part, order, arrays, "", 0)
        else:
            arrays = dict(_level_4(data))
    except (_Damaged, struct.error, zlib.error, ValueError, IndexError) as error:
        raise CaptureRefused("damaged", "the MATLAB file is damaged or cut short; save it again.") from error
    return table_from_arrays(arrays, kind="mat")


def _unpacked(data: bytes, order: str, deadline: Deadline) -> Iterator[bytes]:
    """Yield the content of each top-level array, unpacked in pieces up to the cap."""
    place, total = 128, 0
    while place + 8 <= len(data):
        kind, size = struct.unpack_from(f"{order}II", data, place)
        place += 8
        if size > len(data) - place:
            raise _Damaged
        if kind == _COMPRESSED:
            pieces = []
            unpacker = zlib.decompressobj()
            rest = data[place : place + size]
            while rest and not unpacker.eof:
                pieces.append(unpacker.decompress(rest, 1 << 20))
                rest = unpacker.unconsumed_tail
                total += len(pieces[-1])
                refuse_size(total, MAX_EXPANDED_BYTES, "expanded file")
                deadline.check()
            whole = b"".join(pieces)
            if len(whole) >= 8 and struct.unpack_from(f"{order}I", whole)[0] == _MATRIX:
                yield whole[8:]
        elif kind == _MATRIX:
            yield data[place : place + size]
        place += size


def _elements(data: bytes, order: str) -> Iterator[tuple[int, bytes]]:
    """Yield (type, content) of the elements in `data`; small ones hold four bytes inside their tag."""
    place = 0
    while place + 8 <= len(data):
        kind, size = struct.unpack_from(f"{order}II", data, place)
        if kind >> 16:
            kind, size = kind & 0xFFFF, kind >> 16
            if size > 4:
                raise _Damaged
            yield kind, data[place + 4 : place + 4 + size]
            place += 8
        else:
            if size > len(data) - place - 8:
                raise _Damaged
            yield kind, data[place + 8 : place + 8 + size]
            place += 8 + size + -size % 8


def _collect(data: bytes, order: str, into: dict[str, np.ndarray], label: str, depth: int) -> None:
    """Put the array in `data`, or the arrays of a structure of one element, into `into` by name."""
    parts = _elements(data, order)
    header = [next(parts, (0, b"")) for _ in range(3)]
    if len(header[0][1]) < 4:
        raise _Damaged
    kind = struct.unpack_from(f"{order}I", header[0][1])[0] & 0xFF
    shape = np.frombuffer(header[1][1], dtype=f"{order}i4")
    name = label or header[2][1].decode("latin-1").strip("\0") or "values"
    if len(shape) < 2 or (shape < 0).any():
        raise _Damaged
    count = math.prod(int(size) for size in shape)
    if _FIRST_NUMERIC <= kind <= _LAST_NUMERIC:
        stored, content = next(parts, (0, b""))
        if stored not in _NUMBERS:
            raise _Damaged
        values = np.frombuffer(content, dtype=f"{order}{_NUMBERS[stored]}")
        if len(values) != count:
            raise _Damaged
        while name in into:
            name += "'"
        refuse_rows(len(values))
        into[name] = values.reshape(tuple(shape), order="F")
    elif kind == _STRUCTURE and count == 1 and depth < DEEPEST:
        width = struct.unpack_from(f"{order}i", next(parts, (0, b""))[1])[0]
        names = next(parts, (0, b""))[1]
        if width < 1:
            raise _Damaged
        fields = [names[at : at + width] for at in range(0, len(names), width)]
        for field, (stored, content) in zip(fields, parts, strict=False):
            if stored == _MATRIX and content:
                _collect(content, order, into, field.decode("latin-1").split("\0")[0], depth + 1)


def _level_4(data: bytes) -> Iterator[tuple[str, np.ndarray]]:
    place = 0
    while place + 20 <= len(data):
        kind, rows, columns, imaginary, length = struct.unpack_from("<5i", data, place)
        if not 0 <= kind < 60 or min(rows, columns, length) < 0:
            raise _Damaged
        dtype = np.dtype("<" + _LEVEL_4[kind // 10])
        name = data[place + 20 : place + 20 + length].decode("latin-1").strip("\0")
        place += 20 + length
        size = rows * columns * dtype.itemsize
        if size * (2 if imaginary else 1) > len(data) - place:
            raise _Damaged
        if kind % 10 == 0:
            refuse_rows(rows * columns)
            values = np.frombuffer(data, dtype, rows * columns, place)
            yield name, values.reshape((rows, columns), order="F")
        place += size * (2 if imaginary else 1)
