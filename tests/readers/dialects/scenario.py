"""The known waveform, and what a scenario gives: a file's bytes with what reading it must return."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

RATE_HZ = 20_000.0
COUNT = 4_000
RPM = 6_000.0
SEGMENTS = 8


BARS_A = np.array([0, -0.05, 0.04, -0.15, 0.03, 0.02, -0.06, 0.05])  # how far each bar's hump is off, A


def waveform(count: int = COUNT, rate_hz: float = RATE_HZ, start_s: float = 0.0) -> np.ndarray:
    """Current in A of an eight-bar motor at 6,000 rpm whose bars differ a little; a whole number of turns."""
    turn = (np.arange(count) / rate_hz + start_s) * RPM / 60
    hump = 0.5 * (1 - np.cos(2 * np.pi * SEGMENTS * turn))
    bars = BARS_A[np.floor(turn * SEGMENTS + 1e-9).astype(int) % SEGMENTS] * hump
    commutation = 0.30 * np.cos(2 * np.pi * SEGMENTS * turn) + 0.08 * np.cos(2 * np.pi * 2 * SEGMENTS * turn)
    return 4.2 + commutation + bars + 0.05 * np.sin(2 * np.pi * turn)


def times(count: int = COUNT, rate_hz: float = RATE_HZ, start_s: float = 0.0) -> np.ndarray:
    return start_s + np.arange(count) / rate_hz


@dataclass(frozen=True)
class Scenario:
    """`data` is the file; `current_a`, `rate_hz`, `start_s` what must come out, within `tolerance_a`."""

    file_name: str
    data: bytes
    current_a: np.ndarray
    rate_hz: float = RATE_HZ
    start_s: float = 0.0
    options: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()  # codes that must be among the notes
    tolerance_a: float = 1e-4


SCENARIOS: list[Callable[[], Scenario]] = []


def scenario(function: Callable[[], Scenario]) -> Callable[[], Scenario]:
    """Put a scenario on the list that the table test goes through."""
    SCENARIOS.append(function)
    return function


def rows(
    *columns: Sequence[str] | np.ndarray,
    separator: str = ",",
    decimal: str = ".",
    end: str = "\n",
    before: str = "",
    after: str = "",
) -> str:
    """Text of the rows; arrays print with seven (time-like) decimals, strings as they are."""
    printed = [[c if isinstance(c, str) else f"{c:.7f}" for c in column] for column in columns]
    lines = (before + separator.join(cells) + after for cells in zip(*printed, strict=True))
    text = end.join(lines) + end
    return text.replace(".", decimal) if decimal != "." else text


def printed(values: Iterable[float], form: str) -> list[str]:
    return [format(value, form) for value in values]
