"""A day, or the dates of a column at once: ISO always; day/month order decided for each separator of the
column, or asked.

Times may carry an offset ("2026-03-04T23:30-05:00"): the local date is the date as written, UTC is kept
beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import pandas as pd

from ingest.errors import EntryRefused
from ingest.typed import FIRST_DAY, LAST_DAY, demand_day

_TIME = r"(\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?)\s*(Z|[+-]\d{2}:?\d{2})?"
_ISO = rf"^(\d{{4}})[-/.](\d{{1,2}})[-/.](\d{{1,2}})(?:[T ]{_TIME})?$"
_ORDERED = r"^(\d{1,2})([./\-])(\d{1,2})\2(\d{4}|\d{2})(?:,?\s+\d{1,2}:\d{2}(?::\d{2})?(?:\s*[AaPp][Mm])?)?$"
SEPARATORS = "./-"
SAY_ORDER = ' write 2026-03-31, or say date_order = "day-first" (or "month-first") in fleet.toml'
_NAMED_FORMATS = ("%d %b %Y", "%d-%b-%Y", "%d %B %Y", "%b %d, %Y", "%B %d, %Y", "%b %d %Y")
ORDERS = ("day-first", "month-first")


@dataclass(frozen=True)
class DateColumn:
    """A column read: all fields have the index of the text they came from.

    local_date: datetime64, NaT where blank or unreadable. utc: datetime64, NaT where no time with a zone
    was given. problem: a sentence where a date could not be read, else "". order: how day and month were
    read by separator ("day-first", "month-first"; one that can't be told is missing).
    """

    local_date: pd.Series
    utc: pd.Series
    zone: pd.Series
    problem: pd.Series
    order: dict[str, str]


def read_day(text: str, *, field: str = "") -> date:
    """Return the day written as 2026-03-31; raises EntryRefused, naming the field, for anything else."""
    try:
        return demand_day(date.fromisoformat(text.strip()), field)
    except ValueError:
        said = f"'{text}' is not a date; write it like 2026-03-31."
        raise EntryRefused("date-format", f"{field}: {said}" if field else said) from None


def read_dates(text: pd.Series, *, order: str | Mapping[str, str] = "", time_zone: str = "") -> DateColumn:
    """Read a column of dates; `order` settles day/month, for all or by separator, `time_zone` times without
    offset.

    A year of two digits is one of this century, and read only where `order` says which part is the day.
    12/01/2023 beside 25.12.2023 says nothing of the slashes. Dates of a separator that are all possible
    either way, or whose order is contradicted by another date, are not read: each such row gets a problem.
    """
    told = {mark: order for mark in SEPARATORS} if isinstance(order, str) else dict(order)
    text = text.fillna("").astype("str").str.strip()
    given = text != ""
    local = pd.to_datetime(text.where(given), format="%Y-%m-%d", errors="coerce")
    local = local.where((local >= pd.Timestamp(FIRST_DAY)) & (local <= pd.Timestamp(LAST_DAY)))
    utc = pd.Series(pd.NaT, index=text.index, dtype="datetime64[us]")
    zone = pd.Series("", index=text.index, dtype="object")
    problem = pd.Series("", index=text.index, dtype="object")
    rest = text[given & local.isna()]
    if rest.empty:
        return DateColumn(local, utc, zone, problem, {})
    values = pd.Series(rest.unique(), dtype="object")
    dates, utcs, zones, problems, orders = _read_distinct(values, told, time_zone)
    place = pd.Index(values).get_indexer(rest)
    local.loc[rest.index] = dates.to_numpy()[place]
    utc.loc[rest.index] = utcs.to_numpy()[place]
    zone.loc[rest.index] = zones.to_numpy()[place]
    problem.loc[rest.index] = problems.to_numpy()[place]
    return DateColumn(local, utc, zone, problem, orders)


def _read_distinct(
    values: pd.Series, told: Mapping[str, str], time_zone: str
) -> tuple[pd.Series, pd.Series, pd.Series, pd.Series, dict[str, str]]:
    dates = pd.Series(pd.NaT, index=values.index, dtype="datetime64[us]")
    utcs = dates.copy()
    zones = pd.Series("", index=values.index, dtype="object")
    problems = pd.Series("", index=values.index, dtype="object")

    iso = values.str.extract(_ISO)
    is_iso = iso[0].notna()
    dates[is_iso] = _from_parts(iso[0], iso[1], iso[2])[is_iso]
    for place in iso.index[iso[3].notna()]:
        try:
            utcs[place], zones[place] = _to_utc(values[place], time_zone)
        except ValueError:
            problems[place] = f"'{values[place]}' has no such time; write it like 2026-03-31T14:30+02:00"

    orders: dict[str, str] = {}
    parts = values.str.extract(_ORDERED)
    for mark in sorted(parts[1].dropna().unique()):
        mine = parts[1] == mark
        short = mine & (parts[3].str.len() == 2)
        problems[short & (told.get(mark, "") not in ORDERS)] = _short_year(values)
        order, day_first = _order_of(values, parts, mine & (problems == ""), told.get(mark, ""), problems)
        if order:
            orders[mark] = order
        day, month = parts[0].where(day_first, parts[2]), parts[2].where(day_first, parts[0])
        year = parts[3].where(~short, "20" + parts[3].astype("str"))
        dates[mine] = _from_parts(year, month, day)[mine]
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
    return dates, utcs, zones, problems, orders


def _short_year(values: pd.Series) -> pd.Series:
    return "'" + values + f"' has a year of two digits, which may be its day;{SAY_ORDER}"


def _order_of(
    values: pd.Series, parts: pd.DataFrame, mine: pd.Series, told: str, problems: pd.Series
) -> tuple[str, pd.Series]:
    """Return the order of day and month in the dates of one separator, "" where there is none, and which of
    them are day first. Dates that can't be read get their problem."""
    first, second = pd.to_numeric(parts[0]), pd.to_numeric(parts[2])
    day_first, month_first = first.between(13, 31) & (second <= 12), second.between(13, 31) & (first <= 12)
    shows = {"day-first": mine & day_first, "month-first": mine & month_first}  # 13/40/2023 shows neither
    seen = [order for order in ORDERS if shows[order].any()]
    against = [order for order in seen if told in ORDERS and order != told]
    open_ = mine & (first <= 12) & (second <= 12) & (first != second)
    if against:
        other = values[shows[against[0]]].iloc[0]
        problems[open_] = (
            "'" + values[open_] + f"' can't be read: date_order in fleet.toml says {told}, but '{other}' of"
            " the same column is not; write these dates as 2026-03-31"
        )
    elif told not in ORDERS and len(seen) != 1:
        why = "the column holds dates of both orders" if seen else "no date written so in it tells which"
        problems[open_] = (
            "'" + values[open_] + f"' can be read day first or month first, and {why};" + SAY_ORDER
        )
    elif told not in ORDERS:
        told = seen[0]
    order = told if told in ORDERS and not against else ""
    return order, shows["day-first"] | (mine & ~shows["month-first"] & (order == "day-first"))


def _from_parts(year: pd.Series, month: pd.Series, day: pd.Series) -> pd.Series:
    parts = pd.DataFrame({"year": year, "month": month, "day": day}).astype("float64")
    return pd.to_datetime(parts, errors="coerce").astype("datetime64[us]")


def _to_utc(text: str, time_zone: str) -> tuple[pd.Timestamp | type(pd.NaT), str]:  # type: ignore[valid-type]
    stamp = pd.Timestamp(text.replace("/", "-"))
    if stamp.tzinfo is None:
        if not time_zone:
            return pd.NaT, ""
        # Where the clocks change: the earlier of two hours of one name, and none that does not exist.
        at = stamp.tz_localize(ZoneInfo(time_zone), ambiguous=True, nonexistent="shift_forward")
        return at.tz_convert("UTC").tz_localize(None), time_zone
    offset = stamp.strftime("%z")
    return stamp.tz_convert("UTC").tz_localize(None), f"{offset[:3]}:{offset[3:]}"
