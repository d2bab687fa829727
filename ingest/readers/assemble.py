"""A table as read into one Capture: channel, amperes, time base, gaps; every assumption becomes a note."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.readers.amperes import to_amperes
from ingest.readers.channels import choose_channel
from ingest.readers.gaps import handle_gaps
from ingest.readers.options import Options
from ingest.readers.plausibility import check_plausible
from ingest.readers.records import choose_record
from ingest.readers.roles import assign_roles, unit_of
from ingest.readers.table import Column, Table
from ingest.readers.timebase import find_time_base, resample, stamps_of
from ingest.wording import file_notes

SLOWEST_RATE_HZ, FASTEST_RATE_HZ = 1e-6, 1e12  # beyond any recorder: only nonsense is refused


def assemble(name: str, table: Table, options: Options) -> Capture:
    """Return the capture in `table`; raises CaptureRefused with what is wrong or what must be said."""
    roles = assign_roles(table)
    time_unit = unit_of(roles.time) if roles.time else None
    if table.header.spectrum or (time_unit and time_unit.kind in ("frequency", "level")):
        raise CaptureRefused(
            "not-a-time-record",
            "this is a spectrum (values against frequency), not a record over time; export the trace itself.",
        )
    notes = list(table.notes)
    channel, chosen = choose_channel(roles, options.channel)
    notes += chosen
    if roles.time_guessed:
        notes.append(file_notes.time_column_assumed())
    rows, record_notes = choose_record(table, roles, options)
    notes += record_notes
    channel = channel.rows(rows)
    rows, channel = _trim_cut_rows(roles.time, channel, rows)
    count = len(channel.values)
    if not count:
        raise CaptureRefused("no-values", "the channel holds no value at all; export it again.")
    promised = table.header.rows_promised
    if promised and len(table.columns[0].values) < promised:
        notes.append(file_notes.rows_missing(promised, count))
    base = find_time_base(table, roles.time, rows, count, options)
    if not SLOWEST_RATE_HZ <= base.rate_hz <= FASTEST_RATE_HZ:
        raise CaptureRefused(
            "rate-absurd",
            f"by the file {1 / base.rate_hz:.3g} s lie between samples, which no recorder does; "
            "say the rate with --sample-rate, for example --sample-rate 100kS/s.",
        )
    notes += base.notes
    current, unit_notes, unit_known = to_amperes(table, channel, options)
    notes += unit_notes
    first_row = rows.start or 0

    def row_number(index: int) -> int:
        return table.row_number(first_row + index)

    current, lead, gap_notes = handle_gaps(current, channel.overflow, row_number)
    notes += gap_notes
    current, plausible_notes = check_plausible(current, lambda i: row_number(i + lead), unit_known=unit_known)
    notes += plausible_notes
    start = base.start_s + lead / base.rate_hz
    if base.resample_at is not None and roles.time is not None:
        stamps = stamps_of(table, roles.time, rows)[lead : lead + len(current)]
        grid = base.resample_at[(base.resample_at >= stamps[0]) & (base.resample_at <= stamps[-1])]
        current = resample(current, replace(base, resample_at=grid), stamps)
        start = float(grid[0]) if len(grid) else start
    return Capture(
        current_a=np.ascontiguousarray(current, dtype=np.float64),
        sample_rate_hz=float(base.rate_hz),
        start_s=float(start),
        source=name,
        channel=channel.name,
        captured_at=table.header.captured_at,
        notes=tuple(notes),
    )


def _trim_cut_rows(time: Column | None, channel: Column, rows: slice) -> tuple[slice, Column]:
    """Leave out last rows that have neither a value nor, where there is a time column, a time."""
    if time is None:
        return rows, channel
    stamps = time.values[rows]
    if len(stamps) and np.isnan(stamps[-1]):
        keep = len(stamps)
        while keep and np.isnan(stamps[keep - 1]) and np.isnan(channel.values[keep - 1]):
            keep -= 1
        start = rows.start or 0
        return slice(start, start + keep), channel.rows(slice(0, keep))
    return rows, channel
