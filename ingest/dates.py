"""A day, or the dates of a column at once: ISO always; day/month order decided for the column or asked.

Times may carry an offset ("2026-03-04T23:30-05:00"): the local date is the date as written, UTC is kept
beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import pandas as pd

from ingest.errors import EntryRefused
from ingest.typed import FIRST_DAY, LAST_DAY, demand_day

_TIME = r"(\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?)\s*(Z|[+-]\d{2}:?\d{2})?"
_ISO = rf"^(\d{{4}})[-/.](\d{{1,2}})[-/.](\d{{1,2}})(?:[T ]{_TIME})?$"
_ORDERED = r"^(\d{1,2})[./\-](\d{1,2})[./\-](\d{4})$"
_NAMED_FORMATS = ("%d %b %Y", "%d-%b-%Y", "%d %B %Y", "%b %d, %Y", "%B %d, %Y", "%b %d %Y")
ORDERS = ("day-first", "month-first")


@dataclass(frozen=True)
class DateColumn:
    """A column read: all fields have the index of the text they came from.

    local_date: datetime64, NaT where blank or unreadable. utc: datetime64, NaT where no time with a zone
    was given. problem: a sentence where a date could not be read, else "". order: how day and month were
    read ("day-first", "month-first", "" where no such date occurs or it can't be told).
    """

    local_date: pd.Series
    utc: pd.Series
    zone: pd.Series
    problem: pd.Series
    order: str


def read_day(text: str, *, field: str = "") -> date:
    """Return the day written as 2026-03-31; raises EntryRefused, naming the field, for anything else."""
    try:
        return demand_day(date.fromisoformat(text.strip()), field)
    except ValueError:
        said = f"'{text}' is not a date; write it like 2026-03-31."
        raise EntryRefused("date-format", f"{field}: {said}" if field else said) from None


def read_dates(text: pd.Series, *, order: str = "", time_zone: str = "") -> DateColumn:
    """Read a column of dates; `order` settles day/month for the column, `time_zone` times without offset.

    A column whose day/month dates are all possible either way is not read: each such row gets a problem.
    """
    text = text.fillna("").astype("str").str.strip()
    given = text != ""
    local = pd.to_datetime(text.where(given), format="%Y-%m-%d", errors="coerce")
    local = local.where((local >= pd.Timestamp(FIRST_DAY)) & (local <= pd.Timestamp(LAST_DAY)))
    utc = pd.Series(pd.NaT, index=text.index, dtype="datetime64[us]")
    zone = pd.Series("", index=text.index, dtype="object")
    problem = pd.Series("", index=text.index, dtype="object")
    rest = text[given & local.isna()]
    if rest.empty:
        return DateColumn(local, utc, zone, problem, "")
    values = pd.Series(rest.unique(), dtype="object")
    dates, utcs, zones, problems, order = _read_distinct(values, order, time_zone)
    place = pd.Index(values).get_indexer(rest)
    local.loc[rest.index] = dates.to_numpy()[place]
    utc.loc[rest.index] = utcs.to_numpy()[place]
    zone.loc[rest.index] = zones.to_numpy()[place]
    problem.loc[rest.index] = problems.to_numpy()[place]
    return DateColumn(local, utc, zone, problem, order)


def _read_distinct(
    values: pd.Series, order: str, time_zone: str
) -> tuple[pd.Series, pd.Series, pd.Series, pd.Series, str]:
    dates = pd.Series(pd.NaT, index=values.index, dtype="datetime64[us]")
    utcs = dates.copy()
    zones = pd.Series("", index=values.index, dtype="object")
    problems = pd.Series("", index=values.index, dtype="object")

    iso = values.str.extract(_ISO)
    is_iso = iso[0].notna()
    dates[is_iso] = _from_parts(iso[0], iso[1], iso[2])[is_iso]
    for place in iso.index[iso[3].notna()]:
        utcs[place], zones[place] = _to_utc(values[place], time_zone)

    parts = values.str.extract(_ORDERED)
    ordered = parts[0].notna()
    first, second = pd.to_numeric(parts[0]), pd.to_numeric(parts[1])
    day_first = ordered & (first > 12)
    month_first = ordered & (second > 12)
    open_ = ordered & ~day_first & ~month_first & (first != second)
    if order not in ORDERS:
        if day_first.any() != month_first.any():
            order = "day-first" if day_first.any() else "month-first"
        else:
            order = ""
            problems[open_] = _ambiguous(values[open_], contradictory=bool(day_first.any()))
    as_day_first = day_first | (ordered & ~month_first & (order == "day-first"))
    dates[ordered] = _from_parts(
        parts[2], second.where(as_day_first, first), first.where(as_day_first, second)
    )[ordered]
    dates[problems != ""] = pd.NaT

    for fmt in _NAMED_FORMATS:
        left = dates.isna() & (problems == "")
        dates[left] = pd.to_datetime(values[left], format=fmt, errors="coerce")
    impossible = (dates < pd.Timestamp(FIRST_DAY)) | (dates > pd.Timestamp(LAST_DAY))
    problems[impossible] = (
        "'" + values[impossible] + f"' is impossible; days run from {FIRST_DAY} to {LAST_DAY}"
    )
    bad = dates.isna() & (problems == "")
    day_number = bad & values.str.fullmatch(r"[2-6]\d{4}(\.0*)?")
    problems[bad] = "'" + values[bad] + "' is not a date; write it like 2026-03-31"
    problems[day_number] = (
        "'" + values[day_number] + "' looks like a spreadsheet's day number; format the column as 2026-03-31"
    )
    return dates, utcs, zones, problems, order


def _from_parts(year: pd.Series, month: pd.Series, day: pd.Series) -> pd.Series:
    parts = pd.DataFrame({"year": year, "month": month, "day": day}).astype("float64")
    return pd.to_datetime(parts, errors="coerce").astype("datetime64[us]")


def _ambiguous(values: pd.Series, *, contradictory: bool) -> pd.Series:
    why = (
        "and the column holds dates of both orders"
        if contradictory
        else "and no date in the column tells which"
    )
    return (
        "'"
        + values
        + f"' can be read day first or month first, {why}; write 2026-03-31, or set date_order in fleet.toml"
    )


def _to_utc(text: str, time_zone: str) -> tuple[pd.Timestamp | type(pd.NaT), str]:  # type: ignore[valid-type]
    stamp = pd.Timestamp(text.replace("/", "-"))
    if stamp.tzinfo is None:
        if not time_zone:
            return pd.NaT, ""
        return stamp.tz_localize(ZoneInfo(time_zone)).tz_convert("UTC").tz_localize(None), time_zone
    offset = stamp.strftime("%z")
    return stamp.tz_convert("UTC").tz_localize(None), f"{offset[:3]}:{offset[3:]}"
