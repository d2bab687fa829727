"""How long the last visit's speed is expected: until captures since that agree lead to another one.

A speed once told at double makes every right one after it look too far off. Which of two is misread no single
trace tells; two that agree stand against one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from ingest.capture import Note

AGAINST = 2  # captures that outweigh one told speed (common practice, no source)
AGREE = 0.15  # log ratio: a healthy pump's speed changes less from visit to visit


def speed_too_far(notes: Iterable[Note]) -> float | None:
    """The speed in rpm that a trace led to, not told because it is too far from the last visit's."""
    for note in notes:
        values = note.values or {}
        if note.code == "speed-undecided" and values.get("variant") == "far":
            return float(values["rpm"])
    return None


def outweighed(far_rpm: Iterable[float | None]) -> bool:
    """Whether the speed told last is outweighed; far_rpm: what `speed_too_far` says of the captures since, in
    order. One untold for another reason says nothing."""
    last = [math.log(rpm) for rpm in far_rpm if rpm is not None][-AGAINST:]
    return len(last) == AGAINST and max(last) - min(last) <= AGREE
