"""Options that several commands read the same way."""

from __future__ import annotations

import argparse
from datetime import date

from ingest.errors import EntryRefused

LONGEST_DAYS = 3660


def days(text: str) -> int:
    """Read a number of days given as an option."""
    try:
        number = int(text)
    except ValueError:
        number = LONGEST_DAYS + 1
    if number > LONGEST_DAYS:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number of days up to {LONGEST_DAYS:,}")
    return number


def day(text: str) -> date:
    """Read a day given as an option; argparse names the option where it is none."""
    from ingest.dates import read_day

    try:
        return read_day(text)
    except EntryRefused as refused:
        raise argparse.ArgumentTypeError(refused.text) from refused
