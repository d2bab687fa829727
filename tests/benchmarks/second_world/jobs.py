"""Jobs: orders of a policy, the shop's own habits in the years before, and when a check stops a change."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from .fleet import Fleet
from .luck import Luck
from .readings import STANDS_OUT

NOTHING, CHECK, CHANGE, CHECK_AND_CHANGE = range(4)
JOBS = ("nothing", "check", "change", "check and change")


class Orders:
    """Open orders of one step, by unit in order of day."""

    def __init__(self, fleet: Fleet, orders, day_of: Callable):
        frame = pd.DataFrame([] if orders is None else orders)
        self.fleet, self.frame = fleet, frame
        if frame.empty:
            self.unit = self.day = np.empty(0, int)
            self.job = np.empty(0, int)
            self.own = self.done = self.done_in_vain = np.empty(0, bool)
            return
        where = {name: i for i, name in enumerate(fleet.names)}
        strange = [name for name in frame["unit"] if name not in where]
        if strange:
            raise ValueError(f"no unit {strange[0]} in this fleet")
        self.unit = np.array([where[name] for name in frame["unit"]])
        self.day = np.array([day_of(day) for day in frame["day"]])
        self.job = np.array([JOBS.index(job) for job in frame["job"]])
        self.own = frame["own_stop"].to_numpy(bool) if "own_stop" in frame else np.zeros(len(frame), bool)
        self.done, self.done_in_vain = np.zeros(len(frame), bool), np.zeros(len(frame), bool)

    def own_days(self) -> np.ndarray:
        """By unit, the day of its next stop ordered for its own sake, inf if none."""
        days = np.full(self.fleet.size, np.inf)
        rows = self.own & ~self.done
        np.minimum.at(days, self.unit[rows], self.day[rows].astype(float))
        return days

    def due(self, u: np.ndarray, day: np.ndarray, extra: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Jobs of these units at their stops (job, whether the stop is its own); marks them done.

        Of several jobs for one stop the strongest is done. At an extra stop, jobs for any stop are done too.
        """
        job, own = np.zeros(u.size, int), np.zeros(u.size, bool)
        if self.unit.size:
            at = np.full(self.fleet.size, -1)
            at[u] = np.arange(u.size)
            row = at[self.unit]
            fits = (row >= 0) & ~self.done
            fits &= self.day <= day[np.maximum(row, 0)]
            fits &= ~self.own | extra[np.maximum(row, 0)]
            np.maximum.at(job, row[fits], self.job[fits])
            own[row[fits & self.own]] = True
            self.done |= fits
        return job, own

    def void(self, u: np.ndarray) -> None:
        """The pumps of these units were just changed: open orders meant the old ones."""
        if self.unit.size:
            self.done_in_vain |= np.isin(self.unit, u) & ~self.done
            self.done |= self.done_in_vain

    def unmet(self) -> pd.DataFrame:
        """Orders that no stop reached, or whose pump was changed before."""
        left = ~self.done | self.done_in_vain
        return self.frame[left].reset_index(drop=True) if len(self.frame) else self.frame


def size(off: np.ndarray) -> np.ndarray:
    """How far a reading stands off, one number: the largest of its parts; -1 without a baseline."""
    return np.max(np.where(np.isnan(off), -1.0, np.abs(off)), axis=1)


def default_judge(seen: pd.DataFrame) -> np.ndarray:
    """Change unless the reading that stood out (by 2 units of noise off the pump's own) no longer does."""
    stood_out = seen["off_before"].to_numpy() >= STANDS_OUT
    after = seen["off_after"].to_numpy()
    return ~(stood_out & (after >= 0) & (after < STANDS_OUT))


def shop_jobs(luck: Luck, u, day, complaint, off, got) -> np.ndarray:
    """What a shop without forecasts does at a stop: follows up some readings that stand out, most complaints,
    and now and then takes a pump off because the tank is out anyway."""
    day_i = day.astype(int)
    with np.errstate(invalid="ignore"):
        stands_out = (np.where(np.isnan(off), 0, np.abs(off)).max(axis=1) > 2.7) & got
    coin, which = luck.uniform("shop", u, day_i), luck.uniform("shop-job", u, day_i)
    follow = np.where(complaint, coin < 0.6, stands_out & (coin < 0.18))
    job = np.where(which < 0.5, CHECK, np.where(which < 0.85, CHECK_AND_CHANGE, CHANGE))
    chance = luck.uniform("shop-chance", u, day_i) < 0.004
    return np.where(follow, job, np.where(chance, CHANGE, NOTHING))
