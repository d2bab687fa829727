"""A switched (PWM) drive's lines: find its clock, and take the clock's harmonics out of the trace.

The clock is steady: its harmonics, folded down where sampling is too slow for them, are sinusoids of known
frequency, fitted by least squares and subtracted. What is left belongs to the pump.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from ingest.measuring.order_tracking import WorkTrace, line_phasors
from ingest.measuring.speed_lines import find_lines

HARMONICS = 24
LOWEST_CLOCK_HZ = 150.0
FIT_PART_S = 0.25  # amplitudes are fitted anew in every part: the duty cycle moves
NEAR_A_SHAFT_ORDER = 0.03  # a clock this near a whole order may be the pump's own ripple


def without_clock(work: WorkTrace) -> tuple[WorkTrace, float | None]:
    """Take the strongest line for the drive's clock; returns the trace without its comb, and the clock in Hz.

    Where sampling is slower than twice the clock, the frequency is that of the folded line.
    """
    lines = find_lines(work)
    if not len(lines.hz) or lines.hz[0] < LOWEST_CLOCK_HZ:
        return work, None
    clock_hz = _sharpened(work, float(lines.hz[0]))
    return _without(work, _comb_hz(clock_hz, work)), clock_hz


def without_lines(work: WorkTrace, hz: np.ndarray) -> WorkTrace:
    """Take steady lines at about hz (f,) out of the trace."""
    return _without(work, np.array([_sharpened(work, float(f)) for f in hz]))


def _without(work: WorkTrace, comb: np.ndarray) -> WorkTrace:
    """Subtract sinusoids of these frequencies (f,), fitted anew in every part of the trace."""
    y = work.y.copy()
    n = len(y)
    parts = max(int(n / work.rate_hz / FIT_PART_S), 1)
    edges = np.linspace(0, n, parts + 1).astype(int)
    for a, b in pairwise(edges):
        angle = 2 * np.pi / work.rate_hz * np.outer(np.arange(b - a), comb)
        waves = np.concatenate([np.cos(angle), np.sin(angle)], axis=1)
        gram = waves.T @ waves
        gram[np.diag_indices_from(gram)] *= 1 + 1e-6  # two harmonics may fold to one place
        y[a:b] -= waves @ np.linalg.solve(gram, waves.T @ y[a:b])
    return replace(work, y=y)


def may_be_ripple(clock_hz: float, turn_hz: float) -> bool:
    """Tell whether the clock lies so near a whole order of the shaft that it may be the ripple itself."""
    order = clock_hz / turn_hz
    return abs(order - round(order)) < NEAR_A_SHAFT_ORDER


def _sharpened(work: WorkTrace, line_hz: float) -> float:
    """Correct a steady line's frequency by the slope of its phase."""
    time, z = line_phasors(work.y, work.rate_hz, line_hz)
    if len(time) < 3:
        return line_hz
    return line_hz + float(np.polyfit(time, np.unwrap(np.angle(z)), 1)[0]) / (2 * np.pi)


def _comb_hz(clock_hz: float, work: WorkTrace) -> np.ndarray:
    """Harmonics of the clock, folded by the sampling and by the work rate; apart from each other, (k,)."""
    hz = clock_hz * np.arange(1, HARMONICS + 1)
    for rate in (work.spark_rate_hz, work.rate_hz):
        hz = np.abs(hz - rate * np.round(hz / rate))
    apart = 0.5 * work.rate_hz / len(work.y)
    hz = np.sort(hz)
    keep = np.concatenate([[True], np.diff(hz) > apart])
    return hz[keep & (hz > 10 * apart)]
