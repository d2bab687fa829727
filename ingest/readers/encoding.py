"""Bytes of a text file into UTF-8 bytes with LF line ends, whatever the writer used."""

from __future__ import annotations

import codecs
from dataclasses import dataclass

from ingest.errors import CaptureRefused

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16, whose mark it starts with
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True)
class PlainText:
    """`data`: UTF-8 (or, if `encoding` is cp1252, still that one byte a sign), lines end in LF.

    `ended`: whether the last line had an end. A line's number is its place in `data`.
    """

    data: bytes
    encoding: str
    line_end: str
    ended: bool


def sniff_encoding(head: bytes) -> tuple[str, int]:
    """Return (encoding, length of the byte-order mark) from a file's first kilobytes."""
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding, len(mark)
    even, odd = head[0:2000:2].count(0), head[1:2000:2].count(0)
    pairs = min(len(head), 2000) // 2
    if pairs >= 8 and odd > 0.7 * pairs and even < 0.05 * pairs:
        return "utf-16-le", 0
    if pairs >= 8 and even > 0.7 * pairs and odd < 0.05 * pairs:
        return "utf-16-be", 0
    try:
        # the head may end inside a multi-byte sign
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252", 0
    return "utf-8", 0


def looks_binary(head: bytes) -> bool:
    """Tell whether the first kilobytes hold bytes that no text file in a known encoding holds."""
    encoding, mark = sniff_encoding(head)
    if encoding.startswith(("utf-16", "utf-32")):
        return False
    controls = sum(head.count(byte) for byte in (*range(9), 11, *range(14, 27), *range(28, 32)))
    return controls > 0.002 * len(head[mark:]) + (1 if b"\0" not in head else 0)


def to_plain_text(data: bytes) -> PlainText:
    """Decode where needed and make every line end LF (CR CR LF is one); CaptureRefused if it can't be."""
    encoding, mark = sniff_encoding(data[:65536])
    if encoding.startswith(("utf-16", "utf-32")):
        try:
            data = data[mark:].decode(encoding, errors="replace").encode("utf-8")
        except (UnicodeDecodeError, UnicodeEncodeError) as error:
            raise CaptureRefused("damaged", f"The text is damaged: it is not valid {encoding}.") from error
    elif mark:
        data = data[mark:]
    if data.endswith(b"\0"):
        data = data.rstrip(b"\0")  # loggers that reserve a file's length leave zeros behind the text
    for printed, plain in ((b"\xe2\x88\x92", b"-"), (b"\xc2\xa0", b" "), (b"\xe2\x80\xaf", b" ")):
        # typographic minus and blanks; only looked for where the first kilobytes hold one
        if encoding != "cp1252" and printed in data[:65536]:
            data = data.replace(printed, plain)
    head = data[:65536]
    line_end = "LF"
    if b"\r" in head:
        if b"\r\r\n" in head:
            line_end, data = "CR CR LF", data.replace(b"\r\r\n", b"\n")
        elif b"\r\n" in head:
            line_end, data = "CR LF", data.replace(b"\r\n", b"\n")
        else:
            line_end, data = "CR", data.replace(b"\r", b"\n")
    return PlainText(data, encoding, line_end, data.endswith(b"\n"))


def decode(data: bytes, encoding: str) -> str:
    """Return `data` of a PlainText as str; a byte that is no sign becomes U+FFFD."""
    return data.decode("cp1252" if encoding == "cp1252" else "utf-8", errors="replace")
