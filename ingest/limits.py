"""Caps that keep one file from taking the machine: bytes, samples, seconds."""

from __future__ import annotations

import time

from ingest.errors import CaptureRefused

MAX_FILE_BYTES = 128 * 2**20
MAX_EXPANDED_BYTES = 128 * 2**20  # what a compressed file may become
MAX_CELLWISE_BYTES = 16 * 2**20  # text that is no plain table of numbers: Python holds each cell
MAX_SAMPLES = 5_000_000  # rows of one file
MAX_VALUES = 20_000_000  # cells that are kept, over all channels
MAX_COLUMNS = 1_000
TIME_LIMIT_S = 9.0  # of CPU: on a busy machine a file must not be refused for what others take
MIN_RUNNING_SAMPLES = 64


class Deadline:
    """CPU left to this thread for one file, in s; `check()` raises CaptureRefused once it is used up."""

    def __init__(self, seconds: float = TIME_LIMIT_S):
        self._end = time.thread_time() + seconds
        self._seconds = seconds

    def check(self) -> None:
        """Raise CaptureRefused('took-too-long') when the time is over."""
        if time.thread_time() > self._end:
            raise CaptureRefused(
                "took-too-long",
                f"reading took more than {self._seconds:g} s of CPU and was stopped; "
                "export a shorter record, or one channel, as CSV.",
            )


def refuse_size(size: int, limit: int, what: str = "file") -> None:
    """Raise CaptureRefused('too-large') when `size` bytes pass `limit`."""
    if size > limit:
        raise CaptureRefused(
            "too-large",
            f"the {what} is larger than {limit // 2**20} MB; export a shorter record or one channel.",
        )


def refuse_rows(rows: int, columns: int = 1) -> None:
    """Raise CaptureRefused('too-many-samples') when a table passes the caps on rows or cells."""
    if rows > MAX_SAMPLES or rows * columns > MAX_VALUES:
        raise CaptureRefused(
            "too-many-samples",
            f"{rows:,} rows of {columns} columns are more than the {MAX_SAMPLES:,} rows "
            f"({MAX_VALUES:,} values) that are read; export a shorter record or fewer channels.",
        )
    if columns > MAX_COLUMNS:
        raise CaptureRefused(
            "too-many-columns",
            f"{columns:,} columns are more than the {MAX_COLUMNS:,} that are read; "
            "export the current channel alone.",
        )
