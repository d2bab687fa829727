"""Causes beside the pump: connector, supply wiring, ground, strainer, outlet filter, regulator, hose, fuel.

Each vehicle has for each cause a list of arrivals, laid down beforehand (a Poisson process in time, by class
and depot); a cause is present from its first arrival after the last cure, later arrivals while it is present
do nothing. It starts with a jump (or none), grows with distance towards its own ceiling, and some end in a
breakdown. It goes by recorded work, by a check that finds it, by routine work at a stop that nobody meant for
it, and fuel by itself. The outlet filter also plugs with distance since its last change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .fleet import Fleet
from .kinds import DIRTY, DUTIES, ETHANOL, HOT, Kind

CAUSES = ("connector", "supply", "ground", "strainer", "filter", "regulator", "hose", "fuel")
CONNECTOR, SUPPLY, GROUND, STRAINER, FILTER, REGULATOR, HOSE, FUEL = range(8)
WORK = ("connector", "wiring", "wiring", "strainer", "filter", "regulator", "hose", "fuel")
CHECK_NAME = ("circuit", "circuit", "circuit", "strainer", "filter", "regulator", "hose", "fuel")

SHARE = np.array([0.20, 0.10, 0.10, 0.20, 0.13, 0.12, 0.07, 0.08])  # of arrivals
BREAKS = np.array([0.70, 0.60, 0.50, 0.55, 0.35, 0.30, 0.70, 0.60])  # end in a breakdown if left alone
GROWS_KM = np.array([14e3, 16e3, 16e3, 18e3, 20e3, 22e3, 10e3, 2e3])  # to the ceiling
INCIDENTAL = np.array([0.13, 0.13, 0.13, 0.10, 0.10, 0.06, 0.05, 0.0])  # goes at a stop, unmeant
COMPLAINED = 0.3  # of arrivals bring a driver's complaint while they grow
FUEL_DAYS = 45.0
ARRIVALS = 6  # at most, by vehicle and cause
FILTER_LIFE_KM = 60_000.0


@dataclass
class Arrivals:
    """Arrivals by (unit, cause, which): day, severity and what becomes of it."""

    day: np.ndarray
    jump: np.ndarray  # share of the ceiling at once
    ceiling: np.ndarray  # severity, 1 is typical of a bad one
    grows_km: np.ndarray
    breaks_km: np.ndarray  # distance to the breakdown, inf: never
    speaks: np.ndarray  # share of the growth at which a driver complains, inf: never
    is_low: np.ndarray  # a regulator that holds too little (else too much)


def arrivals(fleet: Fleet, kind: Kind, beside: float, days: int) -> Arrivals:
    """All arrivals of a world. beside: wanted share of abnormal readings that come from such causes."""
    luck, n = fleet.luck, fleet.size
    u, c, j = np.arange(n)[:, None, None], np.arange(8)[None, :, None], np.arange(ARRIVALS)[None, None, :]
    depot = np.array(fleet.depot_kinds)[fleet.depot]
    factor = np.ones((n, 8))
    factor[depot == DIRTY] *= [1.1, 1, 1, 2.2, 2.0, 1.2, 1, 1.3]
    factor[depot == HOT] *= [1.4, 1, 1, 1, 1, 1, 1.4, 1.6]
    factor[depot == ETHANOL] *= [1.3, 1, 1, 1.4, 1.2, 1, 1.5, 2.0]
    use = np.array([duty.km_year for duty in DUTIES])[fleet.duty] / 30_000
    factor = factor * (0.4 + 0.6 * use)[:, None] * luck.lognormal(0.3, "cause-frailty", np.arange(n))[:, None]
    rate = kind.beside * beside / (1 - beside) * SHARE[None, :] * factor / 365.25  # a day
    gaps = luck.exponential("cause-gap", u, c, j) / rate[:, :, None]
    start = np.maximum(fleet.in_service, -200.0)[:, None, None] + np.cumsum(gaps, axis=2)
    shape = start.shape
    ceiling = luck.lognormal(0.45, "cause-ceiling", u, c, j)
    jump = np.where(luck.uniform("cause-jumps", u, c, j) < 0.35, 1.0, 0.15) * luck.uniform(
        "cause-jump", u, c, j
    )
    grows = GROWS_KM[None, :, None] * luck.lognormal(0.6, "cause-grows", u, c, j)
    breaks = np.where(
        luck.uniform("cause-breaks", u, c, j) < BREAKS[None, :, None],
        grows * (0.8 + luck.exponential("cause-breaks-km", u, c, j)),
        np.inf,
    )
    is_low = luck.uniform("regulator-low", u, c, j) < 0.6
    heard = luck.uniform("cause-heard", u, c, j) < COMPLAINED
    speaks = np.where(heard, 0.2 + luck.uniform("cause-heard-at", u, c, j), np.inf)
    return Arrivals(start, jump, ceiling, grows, breaks, speaks, np.broadcast_to(is_low, shape))


@dataclass
class Beside:
    """What is beside the pump of every unit now: the arrival that is next or present, by (unit, cause)."""

    which: np.ndarray
    day: np.ndarray  # of that arrival
    start_km: np.ndarray
    breaks: np.ndarray  # day of the breakdown, inf
    complaint: np.ndarray  # day on which a driver complains of it, inf
    filter_km: np.ndarray  # (unit,) odometer clock at the last filter change


def renew(fleet: Fleet, arr: Arrivals, beside: Beside, unit: np.ndarray, cause: np.ndarray, day: np.ndarray):
    """After a cure on `day`: the next arrival counts."""
    days = arr.day[unit, cause]
    which = (days <= day[:, None]).sum(axis=1)
    beyond = which >= ARRIVALS
    which = np.minimum(which, ARRIVALS - 1)
    start = np.where(beyond, 1e6, days[np.arange(unit.size), which])
    start_km = fleet.km.at(unit, start)
    ends = fleet.km.when(unit, start_km + np.minimum(arr.breaks_km[unit, cause, which], 1e9))
    gone = (cause == FUEL) & (ends > start + FUEL_DAYS)
    beside.which[unit, cause], beside.day[unit, cause] = which, start
    beside.start_km[unit, cause] = start_km
    lasting = np.isfinite(arr.breaks_km[unit, cause, which]) & ~beyond & ~gone
    speaks = arr.speaks[unit, cause, which]
    heard = fleet.km.when(unit, start_km + np.minimum(speaks, 1e9) * arr.grows_km[unit, cause, which])
    heard = np.where((cause == FUEL) & (heard > start + FUEL_DAYS), np.inf, np.ceil(heard) + 1)
    beside.complaint[unit, cause] = np.where((speaks < 2) & ~beyond & (heard >= 0), heard, np.inf)
    beside.breaks[unit, cause] = np.where(
        lasting, np.maximum(np.ceil(ends), np.ceil(start) + 1) + 0.25, np.inf
    )


def at_first(fleet: Fleet, arr: Arrivals) -> Beside:
    """Nothing cured yet."""
    n = fleet.size
    beside = Beside(np.zeros((n, 8), int), *(np.zeros((n, 8)) for _ in range(4)), np.zeros(n))
    unit, cause = (x.ravel() for x in np.meshgrid(np.arange(n), np.arange(8), indexing="ij"))
    renew(fleet, arr, beside, unit, cause, np.full(unit.shape, -1e6))
    clean = fleet.luck.uniform("filter-first", np.arange(n)) * 40_000
    beside.filter_km[:] = fleet.km.at(np.arange(n), np.zeros(n)) - clean
    return beside


def severity(fleet: Fleet, arr: Arrivals, beside: Beside, unit: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Severity by cause (n, 8), plugging of the filter included; 0: absent."""
    c = np.arange(8)
    which = beside.which[unit]
    run = fleet.km.at(unit, day)
    u = unit[:, None]
    jump, ceiling = arr.jump[u, c, which], arr.ceiling[u, c, which]
    grown = np.minimum((run[:, None] - beside.start_km[unit]) / arr.grows_km[u, c, which], 1.0)
    level = ceiling * (jump + (1 - jump) * np.maximum(grown, 0.0))
    level = np.where(beside.day[unit] <= day[:, None], level, 0.0)
    over = day - beside.day[unit, FUEL] > FUEL_DAYS
    level[:, FUEL] = np.where(over, 0.0, level[:, FUEL])
    dirt = np.where(np.array(fleet.depot_kinds)[fleet.depot[unit]] == DIRTY, 1.5, 1.0)
    used = np.clip((run - beside.filter_km[unit]) * dirt / FILTER_LIFE_KM, 0, 2)
    level[:, FILTER] += 0.15 * used**2
    return level


def holds_low(arr: Arrivals, beside: Beside, unit: np.ndarray) -> np.ndarray:
    """Whether the regulator at fault holds too little rather than too much."""
    return arr.is_low[unit, REGULATOR, beside.which[unit, REGULATOR]]


def effects(low: np.ndarray, level: np.ndarray) -> dict[str, np.ndarray]:
    """What causes of severity `level` (n, 8) do: volts lost upstream (supply, ground) and at the tank
    (connector), pressure, load …

    low: the regulator holds too little. line: pressure that a gauge at the port sees; pressure: what the pump
    works against; logarithms.
    """
    regulator = np.where(low, -0.16, 0.18) * level[:, REGULATOR]
    hose = -0.14 * level[:, HOSE]
    return {
        "supply_v": 1.1 * level[:, SUPPLY],
        "ground_v": 0.9 * level[:, GROUND],
        "connector_v": 1.1 * level[:, CONNECTOR],
        "pressure": regulator + hose + 0.17 * level[:, FILTER],
        "line": regulator + 0.9 * hose - 0.05 * level[:, FILTER],
        "load": -0.13 * level[:, STRAINER] - 0.10 * level[:, FUEL],
        "ripple": 0.25 * level[:, STRAINER] + 0.3 * level[:, FUEL] + 0.2 * level[:, FILTER],
        "delivery": -0.28 * level[:, STRAINER] - 0.15 * level[:, FUEL] - 0.22 * level[:, FILTER]
        - 0.30 * level[:, HOSE],
    }  # fmt: skip
