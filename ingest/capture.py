"""What every reader returns: one current waveform, evenly sampled, in amperes."""

from __future__ import annotations

import hashlib
from dataclasses import asdict, dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any, Literal

import numpy as np

Level = Literal["info", "ask", "warning"]


@dataclass(frozen=True)
class Note:
    """A remark on a capture or reading. `code` is stable; `text` is one plain sentence.

    values: what the sentence is made from again by `ingest.wording`; None in a remark that was kept without.
    """

    code: str
    level: Level
    text: str
    values: dict[str, Any] | None = field(default=None, hash=False)


@dataclass(frozen=True)
class Capture:
    """One recorded current waveform.

    current_a: shape (n,), float64, amperes, NaN where the file had no value.
    sample_rate_hz: samples a second; start_s: time of the first sample (negative before a trigger).
    notes: every assumption made while reading.
    """

    current_a: np.ndarray
    sample_rate_hz: float
    start_s: float = 0.0
    source: str = ""
    channel: str = ""
    captured_at: datetime | None = None
    notes: tuple[Note, ...] = field(default_factory=tuple)

    @property
    def duration_s(self) -> float:
        """Length of the record, n / sample_rate_hz, in seconds."""
        return len(self.current_a) / self.sample_rate_hz

    @cached_property
    def identity(self) -> str:
        """SHA-256 (hex) of sample rate and samples: the same samples under any name are one capture."""
        digest = hashlib.sha256(np.float64(self.sample_rate_hz).tobytes())
        digest.update(np.ascontiguousarray(self.current_a, dtype="<f8").tobytes())
        return digest.hexdigest()


def described(capture: Capture) -> dict[str, Any]:
    """Return everything about a capture but its samples, as JSON holds it."""
    return {
        "sample_rate_hz": float(capture.sample_rate_hz),
        "start_s": float(capture.start_s),
        "source": capture.source,
        "channel": capture.channel,
        "captured_at": capture.captured_at.isoformat() if capture.captured_at else None,
        "notes": [asdict(note) for note in capture.notes],
    }


def from_description(told: dict[str, Any], current_a: np.ndarray) -> Capture:
    """Return the capture that `described` told of; current_a: its samples, shape (n,)."""
    captured_at = told["captured_at"]
    return Capture(
        current_a=current_a,
        sample_rate_hz=float(told["sample_rate_hz"]),
        start_s=float(told["start_s"]),
        source=told["source"],
        channel=told["channel"],
        captured_at=datetime.fromisoformat(captured_at) if captured_at else None,
        notes=tuple(Note(**note) for note in told["notes"]),
    )
