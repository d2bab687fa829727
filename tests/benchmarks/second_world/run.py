"""A fleet's days as they pass: failures, breakdowns beside the pump, stops, and the jobs that a policy
orders.

Units do not touch each other, so each has its own clock: a round takes the next event of every unit that has
one before the day asked for, all units at once. Within a day, stops come before failures.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from . import causes, lives, readings, work
from .causes import FILTER, FUEL
from .jobs import NOTHING, Orders, default_judge, shop_jobs
from .log import Log

PM, COMPLAINT, EXTRA = range(3)


@dataclass
class Step:
    """What a step brought, as frames: `events` (day, unit, what, pump, detail), `money` (day, unit, what,
    amount), `stops` (unit, day, reason) made, `unmet` orders (no stop came, or the pump went before)."""

    events: pd.DataFrame
    money: pd.DataFrame
    stops: pd.DataFrame
    unmet: pd.DataFrame


class Run:
    """One course of a world under what was ordered so far. Made by `World.start`; `copy` branches it."""

    def __init__(self, world):
        fleet = world.fleet
        n = fleet.size
        self.world, self.fleet, self.today = world, fleet, 0
        self.log = Log()
        self.lives = _first_pumps(world, self.log)
        self.beside = causes.at_first(fleet, world.arrivals)
        self.pointer = np.zeros(n, int)
        self.complaint = np.full(n, np.inf)
        self.complaint[:] = lives.complaint_day(fleet, world.kind, self.lives, np.arange(n))
        self.held = np.full(n, np.nan)  # day of the stop at which the unit is held
        self.base_sum, self.base_n = np.zeros((n, 3)), np.zeros((n, 3))
        self.last = np.full((n, 3), np.nan)  # newest reading, normalised
        self.last_day = np.full(n, np.nan)
        self.book, self.judge = Orders(fleet, None, world.day), default_judge
        self.shop = True  # the shop acts by its own habits (history)

    def copy(self) -> Run:
        """A branch with the same past; the world is shared."""
        other = copy.copy(self)
        other.lives, other.log = self.lives.copy(), self.log.copy()
        other.beside = copy.deepcopy(self.beside)
        for name in ("pointer", "complaint", "held", "base_sum", "base_n", "last", "last_day"):
            setattr(other, name, getattr(self, name).copy())
        return other

    # ------------------------------------------------------------------ public
    def step(
        self,
        to_day: int | str,
        orders=None,
        hold: bool = False,
        judge: Callable[[pd.DataFrame], np.ndarray] | None = None,
    ) -> Step:
        """Let the days pass up to and including `to_day`.

        orders: a frame or list of dicts with unit, day, job ('check', 'change', 'check and change') and
        own_stop (default False). Without a stop of its own the job is done at the unit's first stop on or
        after its day; with one, on its day. A unit held at a stop has jobs for that day done there, now.
        They count for this step only: give those in `unmet` again if you still want them.
        hold: units that come to a stop stay there until the next call, so that it can order jobs for now.
        judge: for 'check and change', decides on a frame of what the checks found whether to change (bool
        array); the default is `jobs.default_judge`.
        """
        to_day = self.world.day(to_day)
        mark = self.log.mark()
        book = Orders(self.fleet, orders, self.world.day)
        self.judge, self.book = judge or default_judge, book
        self._hold_jobs(book)
        self.held[:] = np.nan
        limit = to_day + 0.9
        n = self.fleet.size
        units, at = np.arange(n), np.zeros(n)
        job = np.zeros(n, int)  # to be done at the stop where the unit stands
        while True:
            planned = self.fleet.stops[units, np.minimum(self.pointer, self.fleet.stops.shape[1] - 1)]
            extra = np.maximum(book.own_days(), self.today + 1.0)
            complaint = np.minimum(self.complaint, self.beside.complaint.min(axis=1))
            stop = np.minimum(np.minimum(planned, complaint), extra)
            broken = self.beside.breaks.min(axis=1)
            nearest = np.minimum(np.minimum(stop, broken), self.lives.fail_day)
            due = (nearest <= limit) & (nearest < self.fleet.retires) & np.isnan(self.held) & (job == NOTHING)
            failed = due & (self.lives.fail_day <= nearest)
            aside = due & ~failed & (broken <= nearest)
            u = np.flatnonzero(due & ~failed & ~aside)
            if u.size:
                why = np.where(
                    extra[u] <= nearest[u], EXTRA, np.where(planned[u] <= nearest[u], PM, COMPLAINT)
                )
                job[u] = self._stop(u, nearest[u], why, book)
                at[u] = nearest[u]
                if hold:
                    self.held[u] = nearest[u]
                continue
            # Units wait for each other here, so that rarer things are done for many at once.
            u = np.flatnonzero(job)
            if not (u.size or due.any()):
                break
            work.do_jobs(self, u, at[u], job[u])
            job[u] = NOTHING
            self._fail(np.flatnonzero(failed))
            self._break_down(np.flatnonzero(aside))
        self.today = to_day
        return Step(*self.log.since(mark, self.fleet), book.unmet())

    def tables(
        self, as_of: int | str | None = None, since: int | str | None = None
    ) -> dict[str, pd.DataFrame]:
        """The fleet folder as recorded by `as_of` (default: today); with `since`, only what came after it."""
        from .records import tables

        as_of = self.today if as_of is None else self.world.day(as_of)
        return tables(self, as_of, None if since is None else self.world.day(since))

    def money(self) -> pd.DataFrame:
        """All that was spent so far: day, unit, what, amount."""
        return self.log.frame("money", self.fleet)

    # ------------------------------------------------------------------ events
    def state(self, u: np.ndarray, day: np.ndarray):
        level = causes.severity(self.fleet, self.world.arrivals, self.beside, u, day)
        hurt = lives.damage(self.fleet, self.world.kind, self.lives.take(u), u, day)
        return hurt, level

    def read(self, u, day, occasion, hurt, level, share=readings.USUAL):
        effects = causes.effects(causes.holds_low(self.world.arrivals, self.beside, u), level)
        return readings.take(
            self.fleet, self.lives.take(u), u, day, occasion, hurt, effects, self.world.clamp_errors, share
        )

    def _fail(self, u: np.ndarray) -> None:
        if not u.size:
            return
        luck = self.world.luck
        day = np.floor(self.lives.fail_day[u])
        number = self.lives.number[u]
        word = luck.choice([0.83, 0.11, 0.06], "confirmed", u, number)  # yes, unknown, no
        comeback = (self.lives.mechanism[u] == lives.FITTING) & (number > 0)
        prices = self.world.prices
        self.log.spend(u, day, np.where(comeback, "comeback", "failure"),
                       np.where(comeback, prices.comeback, prices.failure))  # fmt: skip
        self.log.happen(u, day, "failure", number, self.lives.mechanism[u])
        limps = (luck.uniform("road-call", u, number) < 0.3) & (self.lives.mechanism[u] < lives.SEEN)
        if limps.any():  # read where it was towed, before it comes off
            k, d = u[limps], day[limps]
            told = self.read(k, d, readings.ROAD_CALL, *self.state(k, d))
            self.log.visit(self.fleet, k, d, np.full(k.size, 4), told, number[limps])
        cost = prices.failure * luck.lognormal(0.3, "cost", u, number)
        silent = np.array(self.fleet.depot_kinds)[self.fleet.depot[u]] == "silent"
        self.log.breakdown(self.fleet, u, day, word, cost, silent)
        removal = np.where(silent, np.where(luck.uniform("silent-word", u, number) < 0.6, 3, 1), 0)
        removal = np.where(word == 2, 3, removal)
        work.change(self, u, day, removal, failed=True)

    def _break_down(self, u: np.ndarray) -> None:
        if not u.size:
            return
        luck, beside = self.world.luck, self.beside
        cause = beside.breaks[u].argmin(axis=1)
        day = np.floor(beside.breaks[u, cause])
        which = beside.which[u, cause]
        blamed = luck.uniform("blamed", u, cause, which) < 0.2  # the pump is taken for it
        unclear = luck.uniform("unclear", u, cause, which) < 0.25
        prices = self.world.prices
        what = np.where(blamed, "failure beside the pump", "breakdown beside the pump")
        self.log.spend(u, day, what, np.where(blamed, prices.failure, prices.other_breakdown))
        self.log.happen(u, day, "breakdown beside the pump", self.lives.number[u], cause)
        silent = np.array(self.fleet.depot_kinds)[self.fleet.depot[u]] == "silent"
        cost = np.where(blamed, prices.failure, prices.other_breakdown) * luck.lognormal(
            0.3, "cost-b", u, day
        )
        self.log.breakdown(self.fleet, u, day, np.where(blamed, 0, np.where(unclear, 1, 2)), cost, silent)
        again = blamed & (luck.uniform("again", u, cause, which) < 0.4)
        work.cure(self, u[~again], cause[~again], day[~again], ~blamed[~again])
        k, c = u[again], cause[again]
        later = self.fleet.km.when(k, self.fleet.km.at(k, day[again]) + 3000)
        beside.breaks[k, c] = np.ceil(np.maximum(later, day[again] + 1)) + 0.25
        if blamed.any():
            work.change(self, u[blamed], day[blamed], np.where(silent[blamed], 3, 0), failed=True)

    def _stop(self, u: np.ndarray, day: np.ndarray, why: np.ndarray, book: Orders) -> np.ndarray:
        """What a stop brings by itself; the job to be done there."""
        luck = self.world.luck
        self.pointer[u] += why == PM
        spoke = u[why == COMPLAINT]
        self.complaint[spoke] = np.where(
            self.complaint[spoke] <= day[why == COMPLAINT], np.inf, self.complaint[spoke]
        )
        heard = self.beside.complaint[spoke]
        self.beside.complaint[spoke] = np.where(heard <= day[why == COMPLAINT, None], np.inf, heard)
        self.log.happen(
            u, day, np.array(["planned stop", "complaint", "extra stop"])[why], self.lives.number[u], 0
        )
        hurt, level = self.state(u, day)
        seen = why != EXTRA
        job, own = book.due(u, day, why == EXTRA)
        if seen.any():
            k, d = u[seen], day[seen]
            told = self.read(k, d, readings.AT_STOP, hurt[seen], level[seen])
            reason = np.where(why[seen] == PM, 0, 2)
            keep = self.keep(k, d, told)
            self.log.visit(self.fleet, k, d, reason, told, self.lives.number[k])
            if self.shop:
                job[seen] = shop_jobs(luck, k, d, reason == 2, keep, told["got"])
        self.log.spend(u[own], day[own], "extra stop", self.world.prices.extra_stop)
        self._routine(u, day, level)
        return job

    def _hold_jobs(self, book: Orders) -> None:
        u = np.flatnonzero(~np.isnan(self.held))
        if u.size:
            job, _ = book.due(u, self.held[u], np.zeros(u.size, bool))
            work.do_jobs(self, u, self.held[u].copy(), job)

    def _routine(self, u: np.ndarray, day: np.ndarray, level: np.ndarray) -> None:
        """Filter changes by distance, work that happens to cure something, bad fuel used up."""
        km = self.fleet.km.at(u, day)
        due = km - self.beside.filter_km[u] > 45_000 * self.world.luck.lognormal(0.15, "filter-due", u)
        rows = np.flatnonzero(due)
        work.cure(self, u[rows], np.full(rows.size, FILTER), day[rows], np.ones(rows.size, bool))
        key = self.world.luck.at(u[:, None], np.arange(8), self.beside.which[u], day.astype(int)[:, None])
        lucky = (
            (key.uniform("incidental") < causes.INCIDENTAL)
            & (self.beside.day[u] <= day[:, None])
            & (level > 0)
        )
        lucky[due, FILTER] = False
        told = key.uniform("incidental-told") < 0.7
        rows, c = np.nonzero(lucky)
        work.cure(self, u[rows], c, day[rows], told[rows, c])
        over = self.beside.day[u, FUEL] + causes.FUEL_DAYS
        rows = np.flatnonzero(over <= day)
        if rows.size:
            gone = np.full(rows.size, FUEL)
            causes.renew(self.fleet, self.world.arrivals, self.beside, u[rows], gone, over[rows])

    # ------------------------------------------------------------------ what the shop remembers
    def keep(self, u, day, told) -> np.ndarray:
        """Take a reading into the pump's own record; how far it stands off what came before, (n, 3)."""
        z = readings.normalised(self.lives.design[u], told)
        off = self.off(u, z)
        early = self.base_n[u] < 2
        good = ~np.isnan(z) & early
        self.base_sum[u] += np.where(good, z, 0.0)
        self.base_n[u] += good
        known = ~np.isnan(z).all(axis=1)
        self.last[u[known]], self.last_day[u[known]] = z[known], day[known]
        return off

    def off(self, u: np.ndarray, z: np.ndarray | None = None) -> np.ndarray:
        """A reading (default: the newest) off the pump's own first two, in units of noise; nan without."""
        z = self.last[u] if z is None else z
        with np.errstate(invalid="ignore", divide="ignore"):
            return z - self.base_sum[u] / np.where(self.base_n[u] > 0, self.base_n[u], np.nan)


def _first_pumps(world, log: Log) -> lives.Lives:
    """The pumps at day 0, from the fleet's life before its records: failures were made good, no more."""
    fleet, n = world.fleet, world.fleet.size
    units = np.arange(n)
    current = lives.born(fleet, world.kind, units, np.zeros(n, int), fleet.in_service)
    while True:
        u = np.flatnonzero(current.fail_day < 0)
        if not u.size:
            break
        again = lives.born(fleet, world.kind, u, current.number[u] + 1, np.floor(current.fail_day[u]))
        current.put(u, again)
    log.fitted(fleet, units, np.maximum(current.fitted, -1e5), current, np.zeros(n, bool), True, first=True)
    return current
