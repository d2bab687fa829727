"""What may be typed at all: how long a text is, which numbers and days are possible, which letters are one.

The doors (a visit, a fleet folder, a form, an option) hold what comes in against these; what is impossible is
refused in a sentence, never kept and never echoed at length.
"""

from __future__ import annotations

import math
import unicodedata
from datetime import date

from ingest.errors import EntryRefused
from ingest.harmless import steers

LONGEST_NAME = 100  # of a unit, serial, lot, depot, clamp, person
LONGEST_TEXT = 4_000  # of a note or a reason
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)
# Closed ranges outside which an entry of a visit is impossible, in the ledger's units.
NUMBERS: dict[str, tuple[float, float]] = {
    "odometer_km": (0, 2e7),
    "hours": (0, 1e6),
    "duty_pct": (0, 100),
    "meter_a": (0, 100),
    "supply_v": (0, 60),
    "drop_supply_v": (-1, 60),
    "drop_ground_v": (-1, 60),
    "fuel_pressure_kpa": (0, 5000),
    "delivery_l_min": (0, 100),
    "pressure_hold_kpa": (0, 5000),
    "fuel_temp_c": (-60, 150),
    "fuel_level_pct": (0, 100),
}

# Cells that say that there is nothing; the second set only where no name or text is meant.
_BLANK = ("n/a", "#n/a", "null", "-", "--", "---", "–", "—", "#value!", "#ref!", "#name?", "#null!",
          "k.a.", "k.A.", "k. A.", "s/d", "n.c.", "n/t")  # fmt: skip
_BLANK_VALUE = ("na", "none", "unknown", "?", "nil", "tbd", "no reading", "not read", "not taken",
                "unbekannt", "keine", "desconocido", "inconnu")  # fmt: skip


def blank_spellings(*, text: bool) -> set[str]:
    """Return what stands for a blank, in the cases it is written in. text: in a name or text."""
    words = _BLANK if text else (*_BLANK, *_BLANK_VALUE)
    return {cased for word in words for cased in (word, word.upper(), word.title(), word.capitalize())}


def means_nothing(name: str) -> bool:
    """Return whether a name says that there is none, such as n/a."""
    return not name.strip() or name.strip() in blank_spellings(text=True)


def tidy(text: str, field: str, longest: int = LONGEST_TEXT) -> str:
    """Return a text with composed and decomposed letters as one; EntryRefused for what is none, or too long.

    Letters are composed (Unicode Standard Annex 15, form C). A name (longest is LONGEST_NAME) has one line.
    """
    problem = text_problem(text, longest)
    if not problem and longest == LONGEST_NAME and any(mark in text.strip() for mark in "\r\n\t"):
        problem = "holds a line end or a tab; type it on one line"
    if problem:
        raise EntryRefused("bad-text", f"{field} {problem}.")
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def text_problem(text: str, longest: int = LONGEST_TEXT) -> str:
    """Return what keeps a text from being taken, "" where nothing does; the text itself is not repeated."""
    if len(text) > longest:
        return f"is {len(text):,} characters long; shorten it to {longest:,}"
    if steers(text):
        return "holds a control character, which is no text; type it anew"
    return ""


def demand_possible(field: str, value: float, called: str = "") -> None:
    """Raise EntryRefused for a number that is none or that no visit can have (see NUMBERS)."""
    low, high = NUMBERS[field]
    if not low <= value <= high:  # nan lies nowhere
        raise EntryRefused(
            "impossible",
            f"{called or field}: {value:g} is impossible; it must lie between {low:g} and {high:g}.",
        )


def demand_day(day: date, field: str = "") -> date:
    """Return the day; EntryRefused where no fact of a fleet can be dated so."""
    if not FIRST_DAY <= day <= LAST_DAY:
        said = f"{day.isoformat()} is impossible; days run from {FIRST_DAY} to {LAST_DAY}."
        raise EntryRefused("impossible-date", f"{field}: {said}" if field else said)
    return day


def demand_finite(name: str, value: object) -> None:
    """Raise EntryRefused where a value, or one inside it, is a number that is none."""
    if isinstance(value, float) and not math.isfinite(value):
        raise EntryRefused("bad-setting", f"{name}: {value} is not a number.")
    if isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            demand_finite(name, inner)
