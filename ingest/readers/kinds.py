"""Files that are known but not read, by their first bytes, with what to export instead."""

from __future__ import annotations

import re

_INSTEAD = "export the trace as CSV (time and current, one row a sample)"
_MAGIC: tuple[tuple[bytes, str, str], ...] = (
    (b"PK\x03\x04", "workbook", "a workbook or archive (ZIP), whatever its name says; save the sheet as CSV"),
    (b"PK\x05\x06", "workbook", "an empty archive (ZIP); save the sheet as CSV"),
    (b"\xd0\xcf\x11\xe0", "workbook", "an old workbook or document; save the sheet as CSV"),
    (b"\x89HDF\r\n\x1a\n", "hdf5", "an HDF5 file (also MATLAB 7.3); save it with -v7 or export CSV"),
    (b"TDSm", "recorder-binary", f"a binary recorder file; {_INSTEAD}"),
    (b"%PDF", "document", f"a PDF document, not samples; {_INSTEAD}"),
    (b"\x89PNG", "picture", f"a picture of the trace, not its samples; {_INSTEAD}"),
    (b"\xff\xd8\xff", "picture", f"a picture of the trace, not its samples; {_INSTEAD}"),
    (b"GIF8", "picture", f"a picture of the trace, not its samples; {_INSTEAD}"),
    (b"BM", "picture", f"a picture of the trace, not its samples; {_INSTEAD}"),
    (b"SQLite format 3", "database", f"a database, not a capture; {_INSTEAD}"),
    (b"BZh", "compressed", "compressed with bzip2; unpack it first, or use gzip"),
    (b"\xfd7zXZ", "compressed", "compressed with xz; unpack it first, or use gzip"),
    (b"7z\xbc\xaf\x27\x1c", "compressed", "a 7z archive; unpack it first"),
    (b"Rar!", "compressed", "a RAR archive; unpack it first"),
    (b"\x28\xb5\x2f\xfd", "compressed", "compressed with zstd; unpack it first, or use gzip"),
    (b"OggS", "audio", "compressed audio, which bends the trace; record WAV instead"),
    (b"fLaC", "audio", "FLAC audio; convert it to WAV"),
    (b"ID3", "audio", "compressed audio, which bends the trace; record WAV instead"),
    (b"FORM", "audio", "AIFF audio; convert it to WAV"),
    (b"RF64", "audio", "a 64-bit WAV; cut it to a shorter one"),
)


def known_but_unread(head: bytes) -> tuple[str, str] | None:
    """Return (code, what it is and what to do) for a file kind that is recognised but not read."""
    for magic, code, text in _MAGIC:
        if head.startswith(magic):
            return code, text
    if re.match(rb"\x80[\x02-\x05][^\x00-\x1f]?", head) and head[:1] == b"\x80":
        return "pickle", f"a Python pickle, which is never opened because it can run code; {_INSTEAD}"
    return None


def known_text(head: str) -> tuple[str, str] | None:
    """Return (code, text) for text that is no table: a recorder's configuration, a page, a document."""
    start = head.lstrip("\ufeff \t\r\n")[:2000]
    lowered = start.lower()
    if lowered.startswith(("<!doctype html", "<html", "<?xml", "<svg")):
        return "document", f"a web page or XML, not a table of samples; {_INSTEAD}"
    if start.startswith(("{", "[{", "[[")):
        return "document", f"JSON, not a table of samples; {_INSTEAD}"
    if start.startswith("{\\rtf"):
        return "document", f"a word-processor document; {_INSTEAD}"
    lines = start.splitlines()
    # IEEE C37.111: station line, then "8,4A,4D"
    if len(lines) > 1 and re.fullmatch(r"\s*\d+\s*,\s*\d+\s*A\s*,\s*\d+\s*D\s*", lines[1]):
        return "recorder-config", (
            f"the configuration half of a power-system recorder's pair of files, without samples; {_INSTEAD}"
        )
    return None
