"""Files with several records (one for each trigger): which rows make up the one that is read."""

from __future__ import annotations

import numpy as np

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.limits import MIN_RUNNING_SAMPLES
from ingest.readers.options import Options
from ingest.readers.roles import Roles
from ingest.readers.table import Table
from ingest.wording import file_notes


def choose_record(table: Table, roles: Roles, options: Options) -> tuple[slice, list[Note]]:
    """Return the rows of the record asked for, else of the first, saying so when there are several.

    Raises CaptureRefused for a record the file does not hold.
    """
    count = len(table.columns[0].values)
    starts = _starts(table, roles, count)
    wanted = options.record or 1
    if wanted > len(starts):
        held = "one record" if len(starts) == 1 else f"{len(starts)} records"
        raise CaptureRefused("no-such-record", f"record {wanted} was asked for, but the file holds {held}.")
    ends = [*starts[1:], count]
    rows = slice(starts[wanted - 1], ends[wanted - 1])
    if len(starts) == 1:
        return rows, []
    return rows, [file_notes.record_chosen(len(starts), options.record)]


def _starts(table: Table, roles: Roles, count: int) -> list[int]:
    if table.record_starts:
        return list(table.record_starts)
    if roles.record is not None:
        values = roles.record.values
        changes = np.flatnonzero(np.diff(values) != 0) + 1
        if len(changes) < count / MIN_RUNNING_SAMPLES:
            return [0, *(int(c) for c in changes)]
    breaks = [b for b in dict.fromkeys(table.breaks) if 0 < b < count]
    if not breaks:
        return [0]
    if roles.time is not None:
        # a break starts a record only where the time starts again; elsewhere it is just a blank line
        stamps = roles.time.values
        restarts = [b for b in breaks if stamps[b] <= stamps[b - 1]]
        return [0, *restarts]
    lengths = np.diff([0, *breaks, count])
    if len(breaks) < count / MIN_RUNNING_SAMPLES and lengths.min() >= 0.9 * lengths.max():
        return [0, *breaks]
    return [0]
