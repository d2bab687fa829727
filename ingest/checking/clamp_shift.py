"""A clamp that was off for a day shows on many pumps at once: each changes by the same share, the same way.

Of every clamp and day, each pump's average is held against the median of its own earlier ones in the same
engine state. One pump that changes has a fault; five and more that change alike share a clamp. It is told
where the median of ln(average / own level) lies further from 0 than `LEAST_SHARE`, and than four standard
errors of a median (1.2533 sd / sqrt n, sd from the median absolute deviation), and nine of ten pumps went the
same way.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from ingest.author import Author
from ingest.ledger.questions import raise_question
from ingest.ledger.statements import statement
from ingest.ledger.transaction import transaction
from ingest.wording.quantities import signed
from ingest.wording.questions import clamp_shifted

FEWEST_PUMPS = 5  # [P] fewer that change alike may be chance
LEAST_SHARE = 0.03  # [P] of the current: what a zero left alone or a range switch makes at the least
SAME_WAY = 0.9
STANDARD_ERRORS = 4.0


@dataclass(frozen=True)
class Shift:
    """One clamp on one day: by how much its pumps' averages moved together, and the visits it concerns."""

    clamp: str
    day: date
    share: float
    visits: tuple[int, ...]

    @property
    def text(self) -> str:
        """What was found and done, as a sentence."""
        return (
            f"Clamp {self.clamp} on {self.day}: {len(self.visits)} pumps {signed(100 * self.share, 1)} %;"
            " their readings are held, and one question is open."
        )


def find_shifts(connection: duckdb.DuckDBPyConnection, since: date | None = None) -> list[Shift]:
    """Return the days, from `since` on, on which a clamp seems to have been off."""
    rows = connection.execute(statement("visit/against_own_level"), {"since": since}).df()
    found = []
    for (clamp, day), part in rows.groupby(["clamp", "visited_on"], sort=True):
        share = shift_of(np.log(part["mean_a"].to_numpy(float) / part["level_a"].to_numpy(float)))
        if share is not None:
            visits = tuple(int(i) for i in part["visit_id"])
            found.append(Shift(str(clamp), pd.Timestamp(str(day)).date(), share, visits))
    return found


def shift_of(logs: np.ndarray) -> float | None:
    """Return the share by which averages moved together, from ln(average / own level) a pump, or None."""
    if len(logs) < FEWEST_PUMPS:
        return None
    middle = float(np.median(logs))
    sd = 1.4826 * float(np.median(np.abs(logs - middle)))
    beyond = max(np.log1p(LEAST_SHARE), STANDARD_ERRORS * 1.2533 * sd / np.sqrt(len(logs)))
    same = float(np.mean(np.sign(logs) == np.sign(middle)))
    return float(np.expm1(middle)) if abs(middle) > beyond and same >= SAME_WAY else None


def hold_new_shifts(
    connection: duckdb.DuckDBPyConnection, author: Author, since: date | None = None
) -> list[Shift]:
    """Hold the readings of shifts not asked about yet, and ask once for each; returns these.

    In a transaction of its own, or the caller's.
    """
    asked = {key for (key,) in connection.execute(statement("intake/shifts_asked")).fetchall()}
    shifts = [s for s in find_shifts(connection, since) if f"{s.clamp} {s.day}" not in asked]
    if not shifts:
        return []
    with transaction(connection, author, "work", command="clamp"):
        for shift in shifts:
            question = clamp_shifted(
                shift.clamp, str(shift.day), len(shift.visits), 100 * shift.share, list(shift.visits)
            )
            raise_question(connection, "clamp", f"{shift.clamp} {shift.day}", question)
            for visit_id in shift.visits:
                connection.execute(statement("visit/out_of_trend"), [visit_id])
    return shifts
