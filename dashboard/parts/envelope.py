"""Waveforms made small enough to draw: lowest and highest value per bin, so that no spike is lost."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ingest.capture import Capture
from ingest.reading import Reading

BINS = 2000


def envelope(
    capture: Capture, from_s: float | None = None, to_s: float | None = None, *, bins: int = BINS
) -> pd.DataFrame:
    """Return columns time_ms, low_a, high_a between two times of the record, at most `bins` rows.

    Bins share the samples evenly; bins without a value are left out. Times count from the record's start_s.
    """
    rate, n = capture.sample_rate_hz, len(capture.current_a)
    first = 0 if from_s is None else max(0, int(np.ceil((from_s - capture.start_s) * rate - 1e-9)))
    last = n if to_s is None else min(n, int(np.floor((to_s - capture.start_s) * rate + 1e-9)) + 1)
    current = capture.current_a[first:last]
    if not len(current):
        return pd.DataFrame({"time_ms": [], "low_a": [], "high_a": []}, dtype=float)
    edges = np.unique(np.linspace(0, len(current), min(bins, len(current)) + 1).astype(int))
    starts = edges[:-1]
    gap = np.isnan(current)
    low = np.minimum.reduceat(np.where(gap, np.inf, current), starts)
    high = np.maximum.reduceat(np.where(gap, -np.inf, current), starts)
    middle = (starts + np.diff(edges) / 2 - 0.5) + first
    frame = pd.DataFrame({"time_ms": (capture.start_s + middle / rate) * 1000, "low_a": low, "high_a": high})
    return frame[np.isfinite(frame["low_a"])].reset_index(drop=True)


def one_turn_s(capture: Capture, reading: Reading) -> tuple[float, float] | None:
    """Return start and end, in seconds of the record, of one revolution in the middle of the steady run."""
    if reading.revolution_ms is None:
        return None
    start = reading.steady_from_s if reading.steady_from_s is not None else capture.start_s
    end = reading.steady_to_s if reading.steady_to_s is not None else capture.start_s + capture.duration_s
    middle = (start + end) / 2
    return middle, middle + reading.revolution_ms / 1000


def zoom_choices(capture: Capture, reading: Reading | None) -> dict[str, tuple[float | None, float | None]]:
    """Return the ranges a page offers, by name: whole record, steady run, ten turns, two turns."""
    choices: dict[str, tuple[float | None, float | None]] = {"Whole record": (None, None)}
    if reading is None:
        return choices
    if reading.steady_from_s is not None and reading.steady_to_s is not None:
        choices["Steady run"] = (reading.steady_from_s, reading.steady_to_s)
    turn = one_turn_s(capture, reading)
    if turn:
        length = turn[1] - turn[0]
        choices["Ten turns"] = (turn[0] - 4.5 * length, turn[1] + 4.5 * length)
        choices["Two turns"] = (turn[0] - 0.5 * length, turn[1] + 0.5 * length)
    return choices


def averaged_turn(
    capture: Capture,
    revolution_ms: float,
    from_s: float | None = None,
    to_s: float | None = None,
    *,
    points: int = 360,
    turns: int = 12,
) -> pd.DataFrame:
    """Return one revolution averaged over up to `turns` turns: columns angle_deg, current_a.

    The period given is followed with each turn lined up on the running average by its best circular shift,
    within a tenth of a turn, which takes up small changes of speed. Empty when no whole turn fits.
    """
    rate = capture.sample_rate_hz
    start = capture.start_s if from_s is None else from_s
    end = capture.start_s + capture.duration_s if to_s is None else to_s
    period = revolution_ms / 1000
    count = min(turns, int((end - start) / period))
    if count < 1:
        return pd.DataFrame({"angle_deg": [], "current_a": []}, dtype=float)
    first = (start + end) / 2 - count * period / 2
    grid = first + (np.arange(count * points) / points) * period
    times = capture.start_s + np.arange(len(capture.current_a)) / rate
    good = np.isfinite(capture.current_a)
    folded = np.interp(grid, times[good], capture.current_a[good]).reshape(count, points)
    mean = folded[0].copy()
    for k in range(1, count):
        mean = (mean * k + _lined_up(folded[k], mean)) / (k + 1)
    return pd.DataFrame({"angle_deg": np.arange(points) * 360 / points, "current_a": mean})


def turned_onto(turn: pd.DataFrame, reference: pd.DataFrame) -> pd.DataFrame:
    """Return `turn` rotated onto `reference`: the clamp doesn't see where a turn begins."""
    if len(turn) != len(reference) or not len(turn):
        return turn
    values = turn["current_a"].to_numpy()
    return turn.assign(current_a=_lined_up(values, reference["current_a"].to_numpy(), reach=1.0))


def profiles_in_step(profiles: Sequence[Sequence[float]]) -> list[np.ndarray]:
    """Return segment profiles (segments,), each turned onto the mean of those before it of as many.

    Numbering starts anew with every record, so that without this one segment is never on the same line twice.
    """
    turned: list[np.ndarray] = []
    for profile in profiles:
        values = np.asarray(profile, dtype=float)
        before = [other for other in turned if len(other) == len(values)]
        turned.append(_lined_up(values, np.mean(before, axis=0), reach=1.0) if before else values)
    return turned


def _lined_up(values: np.ndarray, onto: np.ndarray, *, reach: float = 0.1) -> np.ndarray:
    a, b = values - values.mean(), onto - onto.mean()
    match = np.fft.irfft(np.fft.rfft(b) * np.conj(np.fft.rfft(a)), len(a))
    shifts = np.arange(len(a))
    distance = np.minimum(shifts, len(a) - shifts)
    match[distance > reach * len(a)] = -np.inf
    return np.roll(values, int(np.argmax(match)))
