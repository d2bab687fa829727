"""Clock times and dates in captures: "13:38:29.618", "2026-06-30 13:38:29", "30.06.2026"."""

from __future__ import annotations

import re
from datetime import datetime

import numpy as np

_DATE = re.compile(r"(\d{1,4})[-/.](\d{1,2})[-/.](\d{1,4})")
_TIME = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:[.,:]\d+)?))?\s*([AaPp][Mm])?")
_MINUTES = re.compile(r"^\s*(\d{1,2}):(\d{2}[.,]\d+)\s*$")
_DAY_S = 86_400.0


def parse_date(date: str, clock: str = "") -> datetime | None:
    """Return date and time of recording where the date can be read in one way only, else None."""
    ymd = _year_month_day(date)
    if ymd is None:
        return None
    seconds = clock_seconds(clock if _TIME.search(clock) else _DATE.sub(" ", date, count=1))
    seconds = 0.0 if seconds is None else seconds
    try:
        moment = datetime(*ymd)
        return moment.replace(
            hour=int(seconds // 3600) % 24, minute=int(seconds // 60) % 60, second=int(seconds % 60)
        )
    except ValueError:
        return None


def _year_month_day(text: str) -> tuple[int, int, int] | None:
    match = _DATE.search(text)
    if not match:
        return None
    a, b, c = (int(part) for part in match.groups())
    if len(match[1]) == 4:
        return a, b, c
    if len(match[3]) != 4:
        return None
    if a > 12 >= b:
        return c, b, a
    if b > 12 >= a:
        return c, a, b
    return (c, b, a) if a == b else None


def clock_seconds(text: str) -> float | None:
    """Return the seconds since midnight that `text` holds, or None."""
    if minutes_seconds := _MINUTES.match(text):
        return int(minutes_seconds[1]) * 60 + float(minutes_seconds[2].replace(",", "."))
    match = _TIME.search(text)
    if not match:
        return None
    hours, minutes, rest, half = match.groups()
    seconds = float((rest or "0").replace(",", ".").replace(":", "."))
    hour = int(hours) % 12 + (12 if half.lower() == "pm" else 0) if half else int(hours)
    return hour * 3600 + int(minutes) * 60 + seconds


def clock_column(cells: list[str]) -> np.ndarray:
    """Return seconds since the first row's midnight; shape (n,), NaN for a cell that is no clock time.

    Printed dates count the days; without them a step back of more than half a day is midnight.
    """
    seconds = np.full(len(cells), np.nan)
    days = np.zeros(len(cells))
    first_day = None
    for index, cell in enumerate(cells):
        date = _DATE.search(cell)
        value = clock_seconds(cell[date.end() :] if date else cell)
        if value is None:
            continue
        seconds[index] = value
        if date:
            day = _ordinal(date)
            first_day = day if first_day is None else first_day
            days[index] = day - first_day if day is not None and first_day is not None else 0
    if not days.any():
        back = np.flatnonzero(np.diff(seconds) < -_DAY_S / 2)
        for row in back:
            days[row + 1 :] += 1
    return seconds + days * _DAY_S


def _ordinal(match: re.Match[str]) -> int | None:
    a, b, c = (int(part) for part in match.groups())
    # which of day and month comes first doesn't matter within one day, and a capture lasts seconds
    year, month, day = (a, b, c) if len(match[1]) == 4 else (c, b, a)
    for m, d in ((month, day), (day, month)):
        try:
            return datetime(year if year > 99 else 2000 + year, m, d).toordinal()
        except ValueError:
            continue
    return None
