"""Pictures without what cameras write beside them: names, places, times, devices. The picture itself is kept.

PNG (W3C PNG Specification, third edition, section 11.3: text, time and Exif are chunks of their own) and JPEG
(ITU-T T.81, annex B: application segments 1 to 13 and 15, and comments).
"""

from __future__ import annotations

import struct

PNG = b"\x89PNG\r\n\x1a\n"
JPEG = b"\xff\xd8"
_PNG_BESIDE = {b"tEXt", b"zTXt", b"iTXt", b"eXIf", b"tIME"}
# Application 0 (how to scale) and 14 (how colours are coded) are needed to draw it.
_JPEG_BESIDE = {0xFE, *range(0xE1, 0xEE), 0xEF}


def without_metadata(picture: bytes) -> bytes:
    """Return a PNG or JPEG without what stands beside the picture; anything else as it is."""
    if picture.startswith(PNG):
        return _png(picture)
    return _jpeg(picture) if picture.startswith(JPEG) else picture


def _png(picture: bytes) -> bytes:
    kept, at = [PNG], len(PNG)
    while at + 12 <= len(picture):
        (length,) = struct.unpack_from(">I", picture, at)
        end = at + 12 + length
        if end > len(picture):
            break
        if picture[at + 4 : at + 8] not in _PNG_BESIDE:
            kept.append(picture[at:end])
        if picture[at + 4 : at + 8] == b"IEND":  # what follows is none of the picture
            break
        at = end
    return b"".join(kept)


def _jpeg(picture: bytes) -> bytes:
    kept, at = [JPEG], len(JPEG)
    while at + 4 <= len(picture) and picture[at] == 0xFF:
        kind = picture[at + 1]
        if kind == 0xDA:  # the picture itself, to its end
            break
        (length,) = struct.unpack_from(">H", picture, at + 2)
        if kind not in _JPEG_BESIDE:
            kept.append(picture[at : at + 2 + length])
        at += 2 + length
    end = picture.rfind(b"\xff\xd9")
    return b"".join([*kept, picture[at : end + 2 if end >= at else len(picture)]])
