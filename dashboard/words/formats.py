"""Figures as people read them: units, uncertainty, risk in words, actions with a shape before the word."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Any

import pandas as pd

from analytics.past.normal import three_digits
from ingest.units import KM_PER_MILE, format_quantity
from ingest.wording.language import phrase
from ingest.wording.quantities import count, minus

# A shape for each action, so that a list reads in grey and by those who can't tell colours apart.
ACTION_SHAPES = {
    "book replacement": "■",
    "check and change": "▣",
    "capture first": "▢",
    "check circuit": "▲",
    "check filter or strainer": "◆",
    "check delivery": "◇",
    "repeat capture": "↻",
    "shorten interval": "◐",
    "none": "○",
}
ACTION_WORDS = {action: action[0].upper() + action[1:] for action in ACTION_SHAPES} | {"none": "No action"}
UNKNOWN = "–"


def is_unknown(value: Any) -> bool:
    """Return whether a single value is missing (None, NaN, NaT)."""
    return value is None or bool(pd.isna(value))


def action(name: str | None) -> str:
    """Return an action as shown: "■ Book replacement"."""
    if is_unknown(name):
        return UNKNOWN
    return f"{ACTION_SHAPES.get(str(name), '·')} {phrase(ACTION_WORDS.get(str(name), str(name)))}"


def distance(km: float | None, unit: str) -> str:
    """Return a distance kept in km as "88,412 mi"."""
    return format_quantity(km, unit)


def pressure(kpa: float | None, own: str) -> str:
    """Return a pressure kept in kPa in the unit that goes with the fleet's distances: "58.0 psi"."""
    return format_quantity(kpa, pressure_unit(own))


def pressure_unit(own: str) -> str:
    """Return the unit of pressure that goes with a unit of distance."""
    return "psi" if own == "mi" else "kPa"


def in_unit(km: Any, unit: str) -> Any:
    """Return a distance, or a column of them, in the fleet's own unit."""
    return km / KM_PER_MILE if unit == "mi" else km


def place(unit: str, position: str) -> str:
    """Return a pump's place: "103", or "103 (second)" where it is not the main one."""
    return unit if position == "main" else f"{unit} ({position})"


def part_for(row: Any) -> str:
    """Return parts to order, in words: "3 × TP-4108 for Stenmouth"; row: to_order, pump_type, depot."""
    kind = "a pump of unknown type" if row["pump_type"] == "unknown" else row["pump_type"]
    return f"{row['to_order']} × {kind} for {row['depot'] or 'units without a depot'}"


def percent(share: float | None, digits: int = 0) -> str:
    """Return 0.183 as "18 %"; a share that would round to nothing or to all is "under 1 %" or "over 99 %"."""
    if is_unknown(share):
        return UNKNOWN
    smallest = 10.0**-digits / 100
    if 0 < share < smallest / 2:  # type: ignore[operator]
        return f"under {smallest * 100:g} %"
    if 1 - smallest / 2 <= share < 1:  # type: ignore[operator]
        return f"over {100 - smallest * 100:g} %"
    return f"{share * 100:.{digits}f} %"  # type: ignore[operator]


def confidence(share: float | None) -> str:
    """Return a stated confidence no finer than studies could hold it to: "97 %", "over 99 %", "under 1 %"."""
    if is_unknown(share):
        return UNKNOWN
    assert share is not None
    if share < 0.01:
        return phrase("under 1 %")
    return phrase("over 99 %") if share >= 0.99 else f"{int(100 * share)} %"


def about(value: Any) -> str:
    """Return a figure no finer than it can be known, three digits: 91,288 is "91,300"."""
    return UNKNOWN if is_unknown(value) else minus(f"{three_digits(value):,.0f}")


def about_between(value: Any, low: Any, high: Any) -> str:
    """Return a figure with its range, each no finer than it can be known: "91,300 (84,000 to 99,200)"."""
    return f"{about(value)} ({about(low)} to {about(high)})"


def even_chance(text: str | None) -> str:
    """Return a ranking's distance_left_text in figures alone: "91,300", "over 141,000", "not known"."""
    if text is None or is_unknown(text):
        return UNKNOWN
    if "nobody knows" in text:
        return "not known"
    figure = re.search(r"\d[\d,]*", text)
    if figure is None:
        return UNKNOWN
    shown = about(float(figure.group().replace(",", "")))
    return f"over {shown}" if text.startswith("more than") else shown


def odds(share: float | None) -> str:
    """Return a probability in words people picture: "about 1 in 6"."""
    if is_unknown(share):
        return "not known"
    assert share is not None
    if share < 0.005:
        return "under 1 in 200"
    if share > 0.9:
        return "almost certain"
    if share > 0.55:
        return f"about {round(share * 10)} in 10"
    return f"about 1 in {round(1 / share)}"


def with_error(value: float | None, error: float | None, unit: str, digits: int = 2) -> str:
    """Return a measured value with its standard error: "5.12 ± 0.02 A"."""
    if is_unknown(value):
        return UNKNOWN
    if is_unknown(error):
        return f"{value:,.{digits}f} {unit}"
    assert error is not None
    if error < 0.5 * 10.0**-digits:  # one more place, so that the error doesn't read as none
        digits += 1
    if error < 0.5 * 10.0**-digits:
        return f"{value:,.{digits}f} ± {phrase('under')} {10.0**-digits:g} {unit}"
    return f"{value:,.{digits}f} ± {error:,.{digits}f} {unit}"


def money(amount: float | None, currency: str) -> str:
    """Return an amount without cents: "2,400 USD"."""
    return UNKNOWN if is_unknown(amount) else f"{minus(f'{amount:,.0f}')} {currency}"


def day(when: Any) -> str:
    """Return a date as 2026-11-25, the one order nobody can misread."""
    if is_unknown(when):
        return UNKNOWN
    if isinstance(when, datetime | date):
        return when.strftime("%Y-%m-%d")
    return str(when)[:10]


def holdings(counts: Any, noun: str) -> str:
    """Return what a ledger holds, from the row of fleet_counts.sql: "121 units, 121 pumps in service ..."."""
    return (
        f"{count(int(counts['vehicles']), noun)}, "
        f"{count(int(counts['pumps_in_service']), 'pump')} in service and "
        + (
            f"{count(int(counts['visits']), 'visit')}, the last on {day(counts['last_visited_on'])}."
            if counts["visits"]
            else "no visit yet."
        )
    )


def made_harmless(text: Any) -> Any:
    """Return a cell that a spreadsheet will not run as a formula; numbers, also negative ones, stay."""
    if not isinstance(text, str) or not text or text[0] not in "=+-@\t\r":
        return text
    try:
        float(text)
    except ValueError:
        return "'" + text
    return text


def with_plain_days(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a table whose columns of whole days read 2026-11-25, without an hour that nobody told."""
    stamped = frame.select_dtypes("datetime").columns
    days = {
        name: frame[name].dt.strftime("%Y-%m-%d")
        for name in stamped
        if (frame[name].dropna() == frame[name].dropna().dt.normalize()).all()
    }
    return frame.assign(**{str(name): values for name, values in days.items()}) if days else frame


def tenth(value: float) -> float:
    """Return a figure to a tenth as sentences print it: 2.85 hours are 2.9 (2.8 by numpy's rounding)."""
    return float(f"{value:.1f}")


def as_csv(frame: pd.DataFrame) -> bytes:
    """Return a table as CSV for a spreadsheet (UTF-8 with mark, formulas made harmless, days without
    hours)."""
    frame = with_plain_days(frame)
    text_columns = [
        c for c in frame.columns if frame[c].dtype == object or pd.api.types.is_string_dtype(frame[c])
    ]
    safe = frame.assign(**{c: frame[c].map(made_harmless) for c in text_columns})
    return safe.to_csv(index=False, lineterminator="\n").encode("utf-8-sig")
