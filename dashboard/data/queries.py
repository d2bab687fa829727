"""Every question a page asks the ledger: one SQL file each under sql/, run with named parameters."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from dashboard.statements import statement
from ingest.ledger.connection import open_ledger
from ingest.ledger.depots import Depots
from ingest.ledger.newest_fact import newest_fact
from ingest.ledger.settings import settings_at
from ingest.settings_in_force import Settings

ALL_ROWS = 10_000_000  # a page of a list that holds them all


def ask(ledger: Path, name: str, *, bound_to: Depots = (), **parameters: Any) -> pd.DataFrame:
    """Run sql/<name>.sql on the ledger and return its rows; bound_to: the depots that the reader sees."""
    with open_ledger(ledger, depots=bound_to) as connection:
        return connection.execute(statement(name), parameters or None).df()


def records(rows: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows one by one, column -> value, None where there is none."""
    told = rows.astype("object").where(rows.notna(), None)
    return [{str(name): value for name, value in row.items()} for row in told.to_dict("records")]


def last_fact(ledger: Path, *, bound_to: Depots = ()) -> datetime.date | None:
    """Return the day of the newest fact that the reader sees, or None."""
    with open_ledger(ledger, depots=bound_to) as connection:
        return newest_fact(connection)


def settings(ledger: Path, on: datetime.date | None = None) -> Settings:
    """Return the settings in force on a day (default: the latest)."""
    with open_ledger(ledger) as connection:
        return settings_at(connection, on)


def trends(ledger: Path) -> pd.DataFrame:
    """Return the last readings of every pump in service as lists, indexed by pump_id."""
    return ask(ledger, "trends").set_index("pump_id")


def units_like(ledger: Path, unit: str, bound_to: Depots = ()) -> list[str]:
    """Return existing units that a typed number may stand for."""
    found = ask(ledger, "units_like", bound_to=bound_to, plain=_plain(unit.strip()))
    return near_matches(unit, found["unit"].tolist())


def near_matches(unit: str, names: list[str], most: int = 4) -> list[str]:
    """Return existing units a typed number may stand for: equal but for zeros or case, or one slip off."""
    typed = unit.strip()
    key = _plain(typed)
    same = [n for n in names if same_but_for_zeros(typed, n)]
    close = [n for n in names if n != typed and n not in same and _one_slip(_plain(n), key)]
    return (same + close)[:most]


def same_but_for_zeros(a: str, b: str) -> bool:
    """Return whether two unit numbers differ only by leading zeros, case or punctuation."""
    return a != b and _plain(a) == _plain(b)


def _plain(unit: str) -> str:
    text = "".join(ch for ch in unit.casefold() if ch.isalnum())
    return text.lstrip("0") or text


def _one_slip(a: str, b: str) -> bool:
    """Return whether one character changed, added, left out or two neighbours swapped turns a into b."""
    if abs(len(a) - len(b)) > 1 or min(len(a), len(b)) < 3:
        return False
    if len(a) == len(b):
        differing = [i for i in range(len(a)) if a[i] != b[i]]
        return len(differing) == 1 or (
            len(differing) == 2
            and differing[1] == differing[0] + 1
            and a[differing[0]] == b[differing[1]]
            and a[differing[1]] == b[differing[0]]
        )
    short, long = sorted((a, b), key=len)
    return any(long[:i] + long[i + 1 :] == short for i in range(len(long)))
