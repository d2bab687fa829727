"""What goes through a pipe between two of our processes: a JSON object and bytes, each with its length first.

Nothing is ever unpickled, so an answer can be wrong but cannot run code.
"""

from __future__ import annotations

import json
import struct
from typing import IO, Any

_HEAD = struct.Struct("<4sIQ")
_MARK = b"PLF1"
MOST_ABOUT_BYTES = 16 * 2**20
MOST_BODY_BYTES = 256 * 2**20


class BrokenFrame(Exception):
    """The other side ended within a frame, or sent something else than one."""


def write_frame(stream: IO[bytes], about: dict[str, Any], body: bytes | memoryview = b"") -> None:
    """Write one frame and flush; `about` must be JSON; NaN and NumPy's numbers are."""
    told = json.dumps(about, default=lambda number: number.item()).encode()
    stream.write(_HEAD.pack(_MARK, len(told), len(body)))
    stream.write(told)
    stream.write(body)
    stream.flush()


def read_frame(stream: IO[bytes]) -> tuple[dict[str, Any], bytes] | None:
    """Return (about, body) of the next frame, or None where the other side has closed the pipe.

    Raises BrokenFrame for anything else than a whole frame within the caps.
    """
    head = stream.read(_HEAD.size)
    if not head:
        return None
    if len(head) < _HEAD.size:
        raise BrokenFrame("the pipe ended within a frame")
    mark, told_size, body_size = _HEAD.unpack(head)
    if mark != _MARK or told_size > MOST_ABOUT_BYTES or body_size > MOST_BODY_BYTES:
        raise BrokenFrame("what came is no frame")
    told = _exactly(stream, told_size)
    body = _exactly(stream, body_size)
    try:
        about = json.loads(told)
    except ValueError as error:
        raise BrokenFrame("what came is no JSON") from error
    if not isinstance(about, dict):
        raise BrokenFrame("what came is no JSON object")
    return about, body


def _exactly(stream: IO[bytes], size: int) -> bytes:
    content = stream.read(size)
    if len(content) < size:
        raise BrokenFrame("the pipe ended within a frame")
    return content
