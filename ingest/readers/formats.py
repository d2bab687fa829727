"""Bytes to table: sniff each format in turn, unpack gzip, refuse what is known but not read."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ingest.errors import CaptureRefused
from ingest.limits import MAX_EXPANDED_BYTES, Deadline, refuse_size
from ingest.readers import matlab, npy, npz, parquet, text, wav
from ingest.readers.encoding import decode, sniff_encoding
from ingest.readers.kinds import known_but_unread, known_text
from ingest.readers.numbers import THREADS_FROM_BYTES
from ingest.readers.table import Table

_HEAD = 8_192


@dataclass(frozen=True)
class Format:
    """How to know a kind of file and to read it. sniff: of the bytes, for text of its decoded beginning."""

    sniff: Callable[[Any], bool]
    read: Callable[[bytes, Deadline], Table]


BINARY_FORMATS = (
    Format(npy.sniff, lambda data, _deadline: npy.read(data)),
    Format(matlab.sniff, matlab.read),
    Format(wav.sniff, lambda data, _deadline: wav.read(data)),
    Format(parquet.sniff, parquet.read),
    Format(npz.sniff, npz.read),
)
# One line for each layout of text that is no table of delimited rows; the first that knows the file reads it.
TEXT_FORMATS = (Format(lambda _beginning: True, text.read),)


def read_table(data: bytes, deadline: Deadline, *, nested: bool = False) -> Table:
    """Return the file's table; raises CaptureRefused for anything that is not a supported capture."""
    head = data[:_HEAD]
    blank = b"\0 \t\r\n\xef\xbb\xbf\xff\xfe"
    if not head.strip(blank) and not data.strip(blank):
        raise CaptureRefused("empty", "the file is empty; export the capture again.")
    if head.startswith(b"\x1f\x8b"):
        if nested:
            raise CaptureRefused("compressed", "it is compressed more than once; unpack it first.")
        return read_table(gunzip(data, deadline), deadline, nested=True)
    for form in BINARY_FORMATS:
        if form.sniff(data):
            return form.read(data, deadline)
    if refusal := known_but_unread(head):
        raise CaptureRefused(refusal[0], f"this is {refusal[1]}.")
    if not text.sniff(head.rstrip(b"\0")):
        raise CaptureRefused(
            "binary",
            "this is a binary file of a kind that is not read; "
            "export CSV, WAV, Parquet, MATLAB 5 or NumPy instead.",
        )
    encoding, mark = sniff_encoding(head)
    plain = head[mark:].decode(encoding, "replace") if encoding.startswith("utf-") else decode(head, encoding)
    form = next(form for form in TEXT_FORMATS if form.sniff(plain))
    if form is TEXT_FORMATS[-1] and (refusal := known_text(plain)):
        raise CaptureRefused(refusal[0], f"this is {refusal[1]}.")
    return form.read(data, deadline)


def is_parsed_apart(data: bytes) -> bool:
    """Tell whether the file goes to the parsing child: what a library takes apart, and what is large."""
    head = data[:_HEAD]
    if npy.sniff(head) or wav.sniff(head):
        return False
    packed = head.startswith((b"PK", b"\x1f\x8b"))
    # much text is worth a process that gives all its memory back
    return packed or parquet.sniff(head) or matlab.sniff(head) or len(data) > THREADS_FROM_BYTES


def gunzip(data: bytes, deadline: Deadline) -> bytes:
    """Unpack gzip in pieces, all members of it; CaptureRefused at the cap or where it is damaged."""
    pieces: list[bytes] = []
    total = 0
    rest = data
    try:
        while rest.startswith(b"\x1f\x8b"):
            unpacker = zlib.decompressobj(wbits=31)
            while rest and not unpacker.eof:
                piece = unpacker.decompress(rest, 1 << 20)
                rest = unpacker.unconsumed_tail
                total += len(piece)
                refuse_size(total, MAX_EXPANDED_BYTES, "expanded file")
                deadline.check()
                pieces.append(piece)
            if not unpacker.eof:
                raise CaptureRefused("damaged", "the gzip file is cut short; copy it again.")
            rest = unpacker.unused_data
    except zlib.error as error:
        raise CaptureRefused("damaged", "the gzip file is damaged; copy it again.") from error
    return b"".join(pieces)
