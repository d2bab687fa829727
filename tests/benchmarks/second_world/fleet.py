"""What no policy can change: vehicles, depots, clamps, use over time, stress, stops, lots.

Days are whole numbers from day 0 (2020-01-06, a Monday), where the fleet's records begin. Use is kept as
cumulated distance at the ends of 28-day periods, from 11 years before day 0; between them it runs straight.
Stress is distance weighted by what wears a pump: electrical (brushes, bars: ethanol, idling), dirt (bearings,
clearances), heat (winding), plain (chance). A pump's damage follows its stress distance, so that when it
fails follows from its own thresholds and its vehicle's use, whatever is done to other pumps.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from .designs import DESIGNS
from .kinds import DEPOT_STRESS, DIRTY, DUTIES, DUTY_WEIGHTS, ETHANOL, HOT, ORDINARY, SILENT
from .luck import Luck

EPOCH = np.datetime64("2020-01-06")
PERIOD = 28
BURN = 143  # periods before day 0
STRESSES = ("electrical", "dirt", "heat", "plain")
LOT_DAYS = 200  # a lot of a type is sold for so long


@dataclass
class Clocks:
    """Cumulated quantities (units, periods + 1) and their reading at any day, and the way back."""

    cumulated: np.ndarray

    def __post_init__(self) -> None:
        c = self.cumulated
        self.tail = np.maximum((c[:, -1] - c[:, -14]) / (13 * PERIOD), 1e-9)
        self.end = (c.shape[1] - 1) * PERIOD

    def at(self, unit: np.ndarray, day: np.ndarray) -> np.ndarray:
        """The quantity at a day (fractions allowed)."""
        since = np.asarray(day, dtype=float) + BURN * PERIOD
        j = np.clip((since // PERIOD).astype(int), 0, self.cumulated.shape[1] - 2)
        low, high = self.cumulated[unit, j], self.cumulated[unit, j + 1]
        inside = low + (high - low) * (since / PERIOD - j)
        return np.where(
            since <= self.end, inside, self.cumulated[unit, -1] + self.tail[unit] * (since - self.end)
        )

    def when(self, unit: np.ndarray, amount: np.ndarray) -> np.ndarray:
        """The day on which the quantity reaches `amount` (inf stays inf)."""
        c = self.cumulated
        low_j, high_j = np.zeros(unit.shape, int), np.full(unit.shape, c.shape[1] - 1)
        while np.any(high_j - low_j > 1):  # bisection: the last period end at or below amount
            mid = (low_j + high_j) // 2
            below = c[unit, mid] <= amount
            low_j, high_j = np.where(below, mid, low_j), np.where(below, high_j, mid)
        low, high = c[unit, low_j], c[unit, high_j]
        inside = (low_j + (amount - low) / np.maximum(high - low, 1e-9)) * PERIOD
        beyond = self.end + (amount - c[unit, -1]) / self.tail[unit]
        return np.where(amount <= c[unit, -1], inside, beyond) - BURN * PERIOD


@dataclass
class Fleet:
    """Vehicles and everything about them that is settled beforehand. Arrays are by unit unless said."""

    luck: Luck
    names: np.ndarray
    duty: np.ndarray
    design: np.ndarray  # of the first pump; later ones are the same type
    depot: np.ndarray
    depot_names: list[str]
    depot_kinds: list[str]
    in_service: np.ndarray  # day, may be far before 0
    retires: np.ndarray  # day, inf
    odometer0: np.ndarray
    km: Clocks
    stress: list[Clocks]
    stops: np.ndarray  # (units, most stops) days of planned stops made, inf beyond
    clamps: dict[str, np.ndarray]
    clamp_pools: list[np.ndarray]  # by depot: clamps that may be used

    @property
    def size(self) -> int:
        """Units."""
        return self.names.size

    def odometer(self, unit: np.ndarray, day: np.ndarray) -> np.ndarray:
        """True odometer, km."""
        return self.odometer0[unit] + self.km.at(unit, day)

    def pm_km(self, unit: np.ndarray) -> np.ndarray:
        """Distance between planned stops, km."""
        return np.array([duty.pm_km for duty in DUTIES])[self.duty[unit]]


def _depots(luck: Luck, vehicles: int) -> tuple[list[str], list[str], np.ndarray]:
    number = 5 if vehicles < 120 else 6 if vehicles < 500 else 10 if vehicles < 1500 else 14
    kinds = [DIRTY, HOT, ETHANOL, SILENT] + [ORDINARY] * (number - 4)
    order = np.argsort(luck.uniform("depot-order", np.arange(number)))
    kinds = [kinds[i] for i in order]
    weights = luck.lognormal(0.35, "depot-size", np.arange(number))
    return [f"D{i + 1}" for i in range(number)], kinds, weights


def _use(luck: Luck, duty: np.ndarray, in_service: np.ndarray, periods: int) -> np.ndarray:
    """Distance by unit and period, km: class, own level, season, changes of work, month by month."""
    n, units = duty.size, np.arange(duty.size)
    day = (np.arange(periods) + 0.5 - BURN) * PERIOD
    of_year = (day + 5) % 365.25

    def by_class(name: str) -> np.ndarray:
        return np.array([getattr(d, name) for d in DUTIES])[duty][:, None]

    level = by_class("km_year")[:, 0] * luck.lognormal(0.28, "use-level", units)
    season = 1 + by_class("season") * np.cos(2 * np.pi * (of_year - by_class("peak")) / 365.25)
    closed = by_class("summer_break") & (of_year > 170)[None, :] & (of_year < 235)[None, :]
    grid = np.arange(periods)[None, :]
    changes = luck.uniform("use-change", units[:, None], grid) < 0.12 * PERIOD / 365.25
    shifts = np.where(changes, 0.4 * luck.normal("use-shift", units[:, None], grid), 0.0)
    # Work changes, but does not wander off: a shift fades with a half-life of three years.
    fade = 0.5 ** (PERIOD / (3 * 365.25))
    work = np.empty((n, periods))
    running = np.zeros(n)
    for j in range(periods):
        running = running * fade + shifts[:, j]
        work[:, j] = running
    monthly = luck.lognormal(0.14, "use-month", units[:, None], grid)
    km = level[:, None] * PERIOD / 365.25 * season * np.exp(work) * monthly
    km = np.where(closed, 0.06 * km, km)
    served = np.clip((day[None, :] + PERIOD / 2 - in_service[:, None]) / PERIOD, 0, 1)
    return km * served


def _stresses(luck: Luck, duty: np.ndarray, depot_factor: np.ndarray, km: np.ndarray) -> list[Clocks]:
    units, periods = np.arange(duty.size), km.shape[1]
    day = (np.arange(periods) + 0.5 - BURN) * PERIOD
    summer = np.cos(2 * np.pi * ((day + 5) % 365.25 - 200) / 365.25)[None, :]
    # Bad fuel or a dirty tank: for three months a vehicle takes in three times the dirt.
    begins = luck.uniform("dirt-event", units[:, None], np.arange(periods)[None, :]) < 0.12 * PERIOD / 365.25
    dirty = begins.copy()
    for back in (1, 2, 3):
        dirty[:, back:] |= begins[:, :-back]
    swing = (1 + 0.08 * summer, np.where(dirty, 3.0, 1.0), 1 + 0.35 * summer)
    clocks = []
    for i, name in enumerate(STRESSES):
        own = luck.lognormal(0.25 if i < 3 else 0.15, "frailty-" + name, units)
        if i < 3:
            own = own * np.array([d.stress[i] for d in DUTIES])[duty] * depot_factor[:, i]
        rate = km * own[:, None] * (swing[i] if i < 3 else 1.0)
        clocks.append(_cumulate(rate))
    return clocks


def _cumulate(rate: np.ndarray) -> Clocks:
    total = np.zeros((rate.shape[0], rate.shape[1] + 1))
    np.cumsum(rate, axis=1, out=total[:, 1:])
    return Clocks(total)


def _working_day(day: np.ndarray) -> np.ndarray:
    """The same day, or the Monday after a weekend."""
    return day + np.array([0, 0, 0, 0, 0, 2, 1])[(day % 7).astype(int)]


def _stops(luck: Luck, duty: np.ndarray, km: Clocks, in_service: np.ndarray, depot: np.ndarray, until: int):
    """Planned stops as made: due by distance or days, some late, one in twelve missed."""
    units = np.arange(duty.size)
    every_km = np.array([d.pm_km for d in DUTIES])[duty]
    every_days = np.array([d.pm_days for d in DUTIES])[duty]
    slack = luck.lognormal(0.5, "depot-slack", np.arange(64))[depot]  # some depots are always late
    first = np.maximum(in_service, 0.0)
    last = first - every_days * luck.uniform("stop-phase", units) * (first <= 0)
    made = []
    k = 0
    while True:
        interval = np.where(luck.uniform("stop-missed", units, k) < 1 / 12, 2.0, 1.0)
        due = np.minimum(
            km.when(units, km.at(units, last) + every_km * interval), last + every_days * interval
        )
        late = 0.06 * slack * luck.exponential("stop-late", units, k) - 0.03
        day = _working_day(np.maximum(np.round(due + late * every_days), np.maximum(first, last + 7)))
        made.append(np.where(day < until, day, np.inf))
        last = np.where(day < until, day, last)
        k += 1
        if np.all(day >= until):
            return np.stack(made, axis=1)
        last = np.where(day < until, last, day)  # done with this unit: it stays beyond the end


def _clamps(luck: Luck, depots: int, vehicles: int) -> tuple[dict[str, np.ndarray], list[np.ndarray]]:
    """Clamps with their own gain, drift and zero. Depot 0 uses one clamp that is used nowhere else."""
    per_depot = max(1, round(vehicles / depots / 40))
    pools, names = [], []
    for depot in range(depots):
        own = list(range(len(names), len(names) + (1 if depot == 0 else per_depot)))
        names += [f"C{depot + 1}{'abcdefgh'[i % 8]}" for i in range(len(own))]
        pools.append(np.array(own))
    shared = [len(names), len(names) + 1]
    names += ["C-S1", "C-S2"]
    pools = [pool if i == 0 else np.append(np.repeat(pool, 3), shared) for i, pool in enumerate(pools)]
    which = np.arange(len(names))
    gain = 0.02 * luck.normal("clamp-gain", which)
    bad = int(luck.uniform("clamp-bad", 0) * len(names))
    gain[bad] += 0.05 * np.sign(luck.normal("clamp-bad-sign", 0))
    dropped = luck.uniform("clamp-dropped", which) < 0.2
    return {
        "name": np.array(names),
        "gain": gain,
        "drift": 0.008 * luck.normal("clamp-drift", which),  # a year
        "drop_day": np.where(dropped, luck.uniform("clamp-drop-day", which) * 2900, np.inf),
        "drop": 0.035 * luck.normal("clamp-drop", which),
        "zero": 0.05 * luck.normal("clamp-zero", which),  # A, when the zero isn't checked
    }, pools


def make_fleet(luck: Luck, vehicles: int, days: int) -> Fleet:
    """The fleet of a seed. days: planned stops are laid down until this day."""
    units = np.arange(vehicles)
    depot_names, depot_kinds, weights = _depots(luck, vehicles)
    depot = luck.choice(weights, "depot", units)
    duty = luck.choice(DUTY_WEIGHTS, "duty", units)
    # A depot has its own work: half of its vehicles are of one class.
    main = luck.choice(DUTY_WEIGHTS, "depot-duty", np.arange(len(depot_names)))
    duty = np.where(luck.uniform("duty-of-depot", units) < 0.4, main[depot], duty)
    by_duty = np.cumsum([np.array(d.designs) / sum(d.designs) for d in DUTIES], axis=1)[duty]
    design = (luck.uniform("design", units)[:, None] > by_duty).sum(axis=1).clip(0, len(DESIGNS) - 1)
    born = np.where(
        luck.uniform("joins", units) < 0.1,
        np.round(luck.uniform("joins-on", units) * days * 0.6),
        -np.round(luck.uniform("born", units) ** 0.8 * 8.5 * 365),
    )
    leaves = luck.uniform("retires", units) < 0.08
    retires = np.where(leaves, np.round(days * (0.55 + 0.6 * luck.uniform("retires-on", units))), np.inf)
    retires = np.maximum(retires, born + 400)
    use = _use(luck, duty, born, BURN + -(-days // PERIOD) + 1)
    km = _cumulate(use)
    factor = np.array([DEPOT_STRESS[kind] for kind in depot_kinds])[depot]
    stops = _stops(luck, duty, km, born, depot, days)
    clamps, pools = _clamps(luck, len(depot_names), vehicles)
    return Fleet(
        luck,
        np.array([f"{DUTIES[d].name[:2].upper()}{i + 101:04d}" for i, d in enumerate(duty)]),
        duty,
        design,
        depot,
        depot_names,
        depot_kinds,
        born,
        retires,
        np.round(luck.exponential("odometer", units) * 40),
        km,
        _stresses(luck, duty, factor, use),
        np.where(stops < retires[:, None], stops, np.inf),
        clamps,
        pools,
    )


def day_of(day: int) -> date:
    """Return a day of the world as a date."""
    return (EPOCH + np.timedelta64(day, "D")).astype("datetime64[D]").astype(object)
