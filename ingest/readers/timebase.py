"""One even sample rate from a time column, a header, or what a person says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.limits import refuse_rows
from ingest.readers.options import Options
from ingest.readers.roles import unit_of
from ingest.readers.signal_units import UNITS
from ingest.readers.table import Column, Table
from ingest.wording import file_notes

JITTER_KEPT = 0.05  # of a step: stamps this close to even ones are taken as even
LONGEST_STEP = 20.0  # median steps; a longer one is a hole, not jitter
CONFLICT = 0.01  # share by which header and stamps, or header and person, may differ


@dataclass(frozen=True)
class TimeBase:
    """`resample_at`: None, or times (m,) in s at which to interpolate between `stamps` (n,)."""

    rate_hz: float
    start_s: float
    notes: tuple[Note, ...]
    stamps: np.ndarray | None = None
    resample_at: np.ndarray | None = None


def find_time_base(table: Table, time: Column | None, rows: slice, count: int, options: Options) -> TimeBase:
    """Return the time base of the rows `rows` (`count` of them); CaptureRefused where no rate is known."""
    notes: list[Note] = []
    header = table.header
    interval = header.interval_s
    if options.sample_rate_hz:
        given = options.sample_rate_hz
        told = interval or (_mean_step(time, rows) if time is not None else None)
        if told and abs(told * given - 1) > CONFLICT:
            notes.append(file_notes.rate_overridden(given, 1 / told))
        start = _first(time, rows) if time is not None else (header.start_s or 0.0)
        return TimeBase(given, start if np.isfinite(start) else 0.0, tuple(notes))
    if time is None:
        if interval is None:
            raise CaptureRefused(
                "sample-rate-needed",
                "nothing tells the time between samples; say it with --sample-rate, "
                "for example --sample-rate 100kS/s.",
            )
        notes.append(file_notes.rate_from_header(1 / interval))
        return TimeBase(1 / interval, header.start_s or 0.0, tuple(notes))
    factor = _time_factor(time, table, notes)
    stamps = time.values[rows] * factor
    if count < 2:
        raise CaptureRefused("too-short", f"there are only {count} samples; at least 64 are needed.")
    return _from_stamps(table, time.resolution * factor, stamps, rows.start or 0, interval, notes)


def _from_stamps(
    table: Table,
    resolution: float,
    stamps: np.ndarray,
    first: int,
    interval: float | None,
    notes: list[Note],
) -> TimeBase:
    steps = np.diff(stamps)
    lowest = float(steps.min())
    if np.isnan(lowest):
        row = table.row_number(first + int(np.flatnonzero(np.isnan(stamps))[0]))
        raise CaptureRefused(
            "time-missing", f"row {row} has no time; delete the row or export the file again."
        )
    if lowest < 0:
        row = table.row_number(first + int(np.flatnonzero(steps < 0)[0]) + 1)
        raise CaptureRefused(
            "time-order",
            f"row {row} goes back in time; export the samples in the order they were taken.",
        )
    span = float(stamps[-1] - stamps[0])
    if not span > 0:
        raise CaptureRefused(
            "time-stands-still",
            "the time column never changes; say the rate with --sample-rate, for example 100kS/s.",
        )
    mean = span / len(steps)
    largest = float(steps.max())
    if largest - lowest <= 1e-3 * mean:
        return TimeBase(1 / mean, float(stamps[0]), tuple(notes))
    # float dust of large stamps counts as a printed digit does
    dust = 8 * float(np.abs(stamps[[0, -1]]).max()) * np.finfo(float).eps
    quantum = max(dust, resolution)
    line = np.abs(stamps - (stamps[0] + mean * np.arange(len(stamps))))
    off_line = float(line.max())
    if interval and abs(interval / mean - 1) <= CONFLICT and off_line <= max(2 * quantum, JITTER_KEPT * mean):
        if lowest <= 0 or largest > 1.05 * mean:
            notes.append(file_notes.rate_rather_from_header(1 / interval))
        return TimeBase(1 / interval, float(stamps[0]), tuple(notes))
    if interval and abs(interval / mean - 1) > CONFLICT and off_line <= 2 * quantum:
        notes.append(file_notes.time_conflict(1 / interval, 1 / mean))
    if off_line <= max(1.01 * quantum, JITTER_KEPT * mean):
        if lowest <= 0 or quantum > JITTER_KEPT * mean:
            notes.append(file_notes.rate_from_span(quantum, 1 / mean))
        return TimeBase(1 / mean, float(stamps[0]), tuple(notes))
    return _resampled(table, stamps, steps, first, notes)


def _resampled(
    table: Table, stamps: np.ndarray, steps: np.ndarray, first: int, notes: list[Note]
) -> TimeBase:
    """Uneven steps: an even grid at the usual step, refused where a hole or repeated stamps spoil it."""
    median = float(np.median(steps))
    largest = int(np.argmax(steps))
    if median <= 0:
        raise CaptureRefused(
            "time-stands-still",
            "most rows repeat the time of the row before; say the rate with --sample-rate, such as 100kS/s.",
        )
    if steps[largest] > LONGEST_STEP * median:
        row = table.row_number(first + largest + 1)
        raise CaptureRefused(
            "time-hole",
            f"before row {row} {steps[largest]:.6g} s are missing (usual step {median:.6g} s); "
            "export one record without holes.",
        )
    keep = np.concatenate([[True], steps > 0])
    stamps = stamps if keep.all() else stamps[keep]
    span = float(stamps[-1] - stamps[0])
    # without missing samples the mean step is the truer one; with some, the median
    whole = steps[largest] < 3 * median
    count = len(stamps) if whole else max(2, round(span / median) + 1)
    refuse_rows(count)
    step = span / (count - 1)
    spread = (float(steps.min()), float(steps.max()))
    share = float(np.mean(np.abs(steps - median) > JITTER_KEPT * median))
    notes.append(file_notes.resampled(*spread, median, share, 1 / step))
    grid = stamps[0] + step * np.arange(count)
    return TimeBase(1 / step, float(stamps[0]), tuple(notes), stamps, grid)


def resample(values: np.ndarray, base: TimeBase, stamps: np.ndarray) -> np.ndarray:
    """Interpolate `values` taken at `stamps` onto the even grid; a gap on either side stays a gap."""
    if base.resample_at is None:
        return values
    keep = np.concatenate([[True], np.diff(stamps) > 0])
    return np.interp(base.resample_at, stamps[keep], values[keep])


def stamps_of(table: Table, time: Column, rows: slice) -> np.ndarray:
    """Return the times of `rows` in seconds."""
    return time.values[rows] * _time_factor(time, table, [])


def _time_factor(time: Column, table: Table, notes: list[Note]) -> float:
    unit = unit_of(time) or UNITS.get(table.header.time_unit or "")
    if time.clock:
        return 1.0
    if unit is None:
        notes.append(file_notes.time_unit_assumed())
        return 1.0
    return unit.factor


def _mean_step(time: Column, rows: slice) -> float | None:
    values = time.values[rows]
    unit = unit_of(time)
    span = (values[-1] - values[0]) * (unit.factor if unit else 1.0) if len(values) > 1 else 0.0
    return float(span / (len(values) - 1)) if span > 0 else None


def _first(time: Column, rows: slice) -> float:
    unit = unit_of(time)
    return float(time.values[rows][0]) * (unit.factor if unit else 1.0)
