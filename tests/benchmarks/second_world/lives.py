"""Pump lives: what a pump is born with, how damaged it is at a day, when it fails if left alone.

A life is named by unit and number; its luck hangs on these two alone. Damage by mechanism at stress distance
x since fitting: 0 before the onset, then jump + ((x - onset) / growth) ** power; the pump fails where the
first mechanism reaches the pump's own level. Sudden ends and fitting faults have a distance only.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from .designs import BRUSH, DRAG, FITTING, HYDRAULIC, LIFE, MECHANISMS, SEEN, SUDDEN, WINDING, column
from .fleet import LOT_DAYS, Fleet
from .kinds import Kind

GROUP = np.array([0, 0, 1, 1, 2])  # stress that drives each seen mechanism
COMEBACK_KM = 3000.0
FITTING_FAULT = 0.02
COMPLAINS = 0.3  # share of wearing pumps that someone complains of before they fail


@dataclass
class Lives:
    """One pump for each unit (or row): arrays (n,) or (n, SEEN); distances in km of stress."""

    number: np.ndarray
    design: np.ndarray
    lot: np.ndarray
    is_bad: np.ndarray
    fitted: np.ndarray  # day
    start: np.ndarray  # (n, 4) stress clocks at fitting
    start_km: np.ndarray
    onset: np.ndarray
    growth: np.ndarray
    jump: np.ndarray
    level: np.ndarray
    is_short: np.ndarray
    amps_own: np.ndarray  # logarithms off the design
    rpm_own: np.ndarray
    ripple_own: np.ndarray
    fail_day: np.ndarray
    mechanism: np.ndarray

    def take(self, rows: np.ndarray) -> Lives:
        """Some rows."""
        return Lives(*(getattr(self, f.name)[rows] for f in fields(self)))

    def put(self, rows: np.ndarray, other: Lives) -> None:
        """Replace some rows."""
        for f in fields(self):
            getattr(self, f.name)[rows] = getattr(other, f.name)

    def copy(self) -> Lives:
        """A copy that shares nothing."""
        return Lives(*(getattr(self, f.name).copy() for f in fields(self)))


def stress_at(fleet: Fleet, unit: np.ndarray, day: np.ndarray) -> np.ndarray:
    """The four stress clocks, (n, 4)."""
    return np.stack([clock.at(unit, day) for clock in fleet.stress], axis=1)


def born(fleet: Fleet, kind: Kind, unit: np.ndarray, number: np.ndarray, day: np.ndarray) -> Lives:
    """The pumps fitted to `unit` as their `number`-th on `day`."""
    luck, n = fleet.luck, unit.size
    design = fleet.design[unit]
    lot = np.floor((day + 4000) / LOT_DAYS).astype(int) * 2 + (luck.uniform("lot-half", unit, number) < 0.5)
    bad = bad_lot(fleet, kind)
    inside = (design == bad.design) & (day >= bad.first) & (day < bad.first + kind.bad_days)
    lot = np.where(inside & (luck.uniform("lot-bad", unit, number) < kind.bad_share), bad.lot, lot)
    is_bad = (lot == bad.lot) & (design == bad.design)
    m = np.arange(SEEN)
    life = LIFE[design]
    own, each = luck.at(unit, number), luck.at(unit[:, None], number[:, None], m)
    u = each.uniform("onset")
    onset = 1000 * np.array(kind.onset) * life[:, :SEEN] * (-np.log(u)) ** (1 / np.array(kind.shape))
    growth = 1000 * np.array(kind.growth) * each.lognormal(np.array(kind.growth_spread), "growth")
    hit = is_bad[:, None] & (m == bad.mechanism)
    onset, growth = np.where(hit, onset * kind.bad_life, onset), np.where(hit, growth * 0.8, growth)
    jump = np.array(kind.jump) * each.uniform("jump")
    level = each.lognormal(kind.level_spread, "level")
    start = stress_at(fleet, unit, day)
    start_km = fleet.km.at(unit, day)
    lives = Lives(
        number, design, lot, is_bad, day.astype(float), start, start_km, onset, growth, jump, level,
        own.uniform("short") < column("short_share", design),
        0.03 * own.normal("amps-own"),
        0.02 * own.normal("rpm-own"),
        0.15 * own.normal("ripple-own"),
        np.empty(n), np.empty(n, int),
    )  # fmt: skip
    days = np.empty((n, len(MECHANISMS)))
    reach = onset + growth * np.maximum(level - jump, 0.0) ** (1 / np.array(kind.power))
    for i in range(SEEN):
        days[:, i] = fleet.stress[GROUP[i]].when(unit, start[:, GROUP[i]] + reach[:, i])
    chance = 1000 * kind.sudden * life[:, SUDDEN] * own.exponential("sudden")
    days[:, SUDDEN] = fleet.stress[3].when(unit, start[:, 3] + chance)
    faulty = (own.uniform("fitting") < FITTING_FAULT) & (number > 0)
    soon = COMEBACK_KM * own.uniform("fitting-km")
    days[:, FITTING] = np.where(faulty, fleet.km.when(unit, start_km + soon), np.inf)
    lives.mechanism[:] = days.argmin(axis=1)
    # At least a day of life, and never two ends on one day.
    lives.fail_day[:] = np.maximum(np.ceil(days.min(axis=1)), day + 1) + 0.5
    return lives


@dataclass(frozen=True)
class BadLot:
    """The fleet's bad lot: of which type, its number, the day of its first sale, how it fails."""

    design: int
    lot: int
    first: float
    mechanism: int


def bad_lot(fleet: Fleet, kind: Kind) -> BadLot:
    """The bad lot, of the commonest type, first sold between year -1 and year 2; number -1: there is none.

    It fails by brush, drag, hydraulic wear or winding.
    """
    luck = fleet.luck
    common = int(np.bincount(fleet.design, minlength=len(LIFE)).argmax())
    first = 365 * (-1.0 + 3.0 * float(luck.uniform("bad-first", 0)))
    lot = int((first + 4000) // LOT_DAYS) * 2 + 1 if kind.bad_days else -1
    by = (BRUSH, DRAG, HYDRAULIC, WINDING)[int(luck.uniform("bad-mechanism", 0) * 4)]
    return BadLot(common, lot, first, by)


def exposure(fleet: Fleet, lives: Lives, unit: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Stress distance since fitting by seen mechanism, (n, SEEN)."""
    return (stress_at(fleet, unit, day) - lives.start)[:, GROUP]


def damage(fleet: Fleet, kind: Kind, lives: Lives, unit: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Damage by seen mechanism, (n, SEEN); 1 is a typical level of failure."""
    since = exposure(fleet, lives, unit, day) - lives.onset
    grown = lives.jump + (np.maximum(since, 0) / lives.growth) ** np.array(kind.power)
    return np.where(since > 0, grown, 0.0)


def complaint_day(fleet: Fleet, kind: Kind, own: Lives, unit: np.ndarray) -> np.ndarray:
    """The day on which a driver complains of a pump: of some, at .72 to 1 of the level they will fail at."""
    m = np.minimum(own.mechanism, SEEN - 1)
    at = np.arange(unit.size)
    luck = fleet.luck.at(unit, own.number)
    share = 0.72 + 0.28 * luck.uniform("complaint-at")
    grown = np.maximum(share * own.level[at, m] - own.jump[at, m], 0.0) ** (1 / np.array(kind.power)[m])
    reach = own.onset[at, m] + own.growth[at, m] * grown
    day = np.empty(unit.size)
    for group in range(3):
        rows = GROUP[m] == group
        day[rows] = fleet.stress[group].when(unit[rows], own.start[rows, group] + reach[rows])
    day = np.ceil(day) + 1
    speaks = (luck.uniform("complains") < COMPLAINS) & (own.mechanism < SEEN)
    return np.where(speaks & (day < own.fail_day) & (day > np.maximum(own.fitted, 0)), day, np.inf)
