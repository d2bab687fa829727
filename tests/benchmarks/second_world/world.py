"""A world: what is settled before anyone decides anything, and its years of history."""

from __future__ import annotations

import numpy as np

from . import causes, fleet
from .kinds import KINDS, CheckSkill, Kind, Prices
from .luck import Luck
from .run import Run


class World:
    """One seed's fleet. `start(day)` gives a `Run` with its history behind it; all runs share its luck."""

    def __init__(
        self,
        seed: int,
        kind: str | Kind,
        vehicles: int,
        history_years: float,
        ahead_years: float,
        beside: float,
        prices: Prices,
        skill: CheckSkill,
    ):
        self.seed, self.vehicles = seed, vehicles
        self.kind_name = kind if isinstance(kind, str) else "own"
        self.kind = KINDS[kind] if isinstance(kind, str) else kind
        self.prices, self.skill, self.beside = prices, skill, beside
        self.luck = Luck(seed)
        self.history_days = round(history_years * 365.25)
        self.end_day = round((history_years + ahead_years) * 365.25)
        self.fleet = fleet.make_fleet(self.luck, vehicles, self.end_day)
        self.arrivals = causes.arrivals(self.fleet, self.kind, beside, self.end_day)
        self.clamp_errors = 0.022 * beside / (1 - beside)
        self._history: Run | None = None

    def day(self, day: int | str | np.datetime64) -> int:
        """A day as a number: from a number, an ISO date or a date."""
        if isinstance(day, (int, np.integer, float)):
            return int(day)
        return int((np.datetime64(day, "D") - fleet.EPOCH).astype(int))

    def date(self, day: int) -> np.datetime64:
        """The date of a day."""
        return fleet.EPOCH + np.timedelta64(int(day), "D")

    def start(self, day: int | str | None = None) -> Run:
        """A run that stands at the end of `day` (default: end of history).

        Until then the shop has gone by its own habits; from then on nothing is done but what is ordered, what
        fails, and routine services.
        """
        day = self.history_days if day is None else self.day(day)
        if self._history is None or self._history.today > day:
            self._history = Run(self)
        if self._history.today < day:
            self._history.step(day)
        run = self._history.copy()
        run.shop = False
        return run

    def tables(self, as_of: int | str | None = None):
        """The history's tables as recorded by a day (default: its end)."""
        as_of = self.history_days if as_of is None else self.day(as_of)
        return self.start(max(as_of, self.history_days)).tables(as_of)
