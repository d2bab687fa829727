"""What is on record of a clamp: its factor and channel, how far it may be off, when it is due for a check."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import duckdb

from ingest.accuracy import mean_accuracy_a
from ingest.ledger.statements import statement
from ingest.settings_in_force import Settings
from ingest.wording.language import phrase


@dataclass(frozen=True)
class Clamp:
    """One clamp or meter. `factor`: as 100mV/A, for captures in volts; `range_a`: the most it reads."""

    clamp: str
    factor: str | None = None
    channel: str | None = None
    range_a: float | None = None
    pct: float | None = None
    offset_a: float | None = None
    owner: str | None = None
    checked_on: date | None = None
    due_on: date | None = None

    def within_a(self, known_a: float, settings: Settings) -> float:
        """Return how far it may be off on a known current, A; settings: for what is not told of it."""
        pct = settings["clamp_accuracy_pct"] if self.pct is None else self.pct
        offset_a = settings["clamp_accuracy_a"] if self.offset_a is None else self.offset_a
        return float(mean_accuracy_a(known_a, 0.0, pct, offset_a))

    def overdue(self, on: date) -> str:
        """Return a sentence where the clamp's check is due before a day, else ""."""
        if self.due_on is None or on <= self.due_on:
            return ""
        told = {"clamp": self.clamp, "due": self.due_on, "checked": self.checked_on}
        if self.checked_on:
            return phrase("Clamp {clamp} was due for a check on {due}; last checked on {checked}.", **told)
        return phrase("Clamp {clamp} was due for a check on {due}.", **told)


def read_as(clamp: Clamp | None, probe: str | None, channel: str | None) -> tuple[str | None, str | None]:
    """Return the factor and channel a capture is read with: what its visit names, else its clamp's own."""
    if clamp is None:
        return probe or None, channel or None
    return probe or clamp.factor, channel or clamp.channel


def clamps(connection: duckdb.DuckDBPyConnection) -> dict[str, Clamp]:
    """Return every clamp on record, by name."""
    rows = connection.execute(statement("ledger/clamps")).fetchall()
    return {row[0]: Clamp(*row) for row in rows}


def factors(connection: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Return the factor of each clamp that has one on record, by the clamp's name."""
    return {name: clamp.factor for name, clamp in sorted(clamps(connection).items()) if clamp.factor}


def clamp_of(connection: duckdb.DuckDBPyConnection, name: str | None) -> Clamp | None:
    """Return the clamp of this name, None where none is on record."""
    return clamps(connection).get(name) if name else None
