"""Reads a file in the parsing child, and says in one sentence where the child died of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import numpy as np

from ingest.apart.child import BUSY, ChildEnded, Children
from ingest.capture import Capture, from_description
from ingest.errors import CaptureRefused
from ingest.readers.options import Options

WALL_S = (
    90.0  # for one that waits for nothing: the limits of CPU come first, unless the machine is overloaded
)
_children = Children("ingest.readers.child")


def get_ready() -> None:
    """Start a child if none waits: somebody is about to choose a file."""
    _children.get_ready()


def ask_apart(
    asked: dict[str, Any], data: bytes, wall_s: float, *, sound: Callable[[dict[str, Any]], bool]
) -> tuple[dict[str, Any], bytes]:
    """Return the parsing child's answer about a file; ChildEnded where it died of it."""
    return _children.ask(asked, data, wall_s, sound=sound)


def read_apart(name: str, data: bytes, options: Options) -> Capture:
    """Return the capture in `data`; CaptureRefused where it can't be read, or ends what reads it."""
    asked = {"name": name, "options": asdict(options)}
    try:
        answer, body = _children.ask(asked, data, WALL_S, sound=lambda told: "capture" in told)
    except ChildEnded as ended:
        if ended.over_time:
            raise CaptureRefused(
                "took-too-long",
                f"{name}: reading took too long and was stopped; "
                "export a shorter record, or one channel, as CSV.",
            ) from ended
        if ended.starved:
            raise CaptureRefused("took-too-long", f"{name}: {BUSY}.") from ended
        raise CaptureRefused(
            "ended-the-reader",
            f"{name}: the file is damaged so that reading it breaks off; export or copy it again.",
        ) from ended
    if "refused" in answer:
        code, text, *channels = map(str, answer["refused"])
        raise CaptureRefused(code, text, channels)
    return _capture(name, answer["capture"], body)


def _capture(name: str, told: dict[str, Any], body: bytes) -> Capture:
    current = np.frombuffer(body, dtype="<f8").astype(np.float64)  # a copy, which may be written to
    capture = from_description(told, current)
    if not len(current) or not (math.isfinite(capture.sample_rate_hz) and capture.sample_rate_hz > 0):
        raise CaptureRefused("damaged", f"{name}: the file is damaged; save it again.")
    return capture
