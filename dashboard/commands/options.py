"""Options that several commands read the same way."""

from __future__ import annotations

import argparse
from datetime import date

from ingest.errors import EntryRefused


def day(text: str) -> date:
    """Read a day given as an option; argparse names the option where it is none."""
    from ingest.dates import read_day

    try:
        return read_day(text)
    except EntryRefused as refused:
        raise argparse.ArgumentTypeError(refused.text) from refused
