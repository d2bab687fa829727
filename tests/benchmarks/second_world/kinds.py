"""Kinds of fleet and their prices: how long pumps live, how often something beside the pump goes wrong.

Lives are in Mm (1,000 km of plain service). A mechanism begins at a Weibull distance, grows as a power of the
distance since, and ends the pump where it reaches the pump's own level. Shapes follow what is said of such
parts: brushes and clearances wear out (shape over 2), commutators, bearings and windings fall to dirt and
heat (shape near 1), the rest is chance. All numbers are ours, chosen so that a short-lived fleet loses about
one pump in five vehicle-years and a long-lived one under one in ten (README of this package).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Kind:
    """One kind of fleet.

    onset: Weibull scale by mechanism (brush … winding), Mm; shape: its Weibull shape; growth: median distance
    from onset to damage 1, Mm; growth_spread: its lognormal spread; power: of the growth; jump: highest
    damage at onset (uniform below); level_spread: lognormal, of the level of failure; sudden: mean distance
    to a sudden end, Mm; bad_days: how long a bad lot of the commonest type is sold (0: none), bad_share: its
    share of that type's fittings meanwhile, bad_life: factor on its onsets by one mechanism; beside: scale of
    the arrivals a vehicle-year of causes beside the pump, set so that they bring the share asked of `build`.
    """

    onset: tuple[float, ...] = (195.0, 560.0, 500.0, 265.0, 1300.0)
    shape: tuple[float, ...] = (2.6, 1.3, 1.3, 2.3, 1.4)
    growth: tuple[float, ...] = (42.0, 20.0, 24.0, 46.0, 8.0)
    growth_spread: tuple[float, ...] = (0.5, 0.7, 0.65, 0.5, 0.6)
    power: tuple[float, ...] = (1.6, 1.2, 1.7, 1.5, 1.3)
    jump: tuple[float, ...] = (0.0, 0.55, 0.25, 0.0, 0.3)
    level_spread: float = 0.3
    sudden: float = 950.0
    bad_days: float = 300.0
    bad_share: float = 0.6
    bad_life: float = 0.45
    beside: float = 0.155


KINDS = {
    "standard": Kind(),
    "long-lived": Kind(
        onset=(560.0, 2000.0, 1700.0, 720.0, 4500.0),
        growth=(70.0, 30.0, 36.0, 80.0, 12.0),
        sudden=3000.0,
        bad_days=0.0,
        beside=0.042,
    ),
    "bad-lot": Kind(
        onset=(230.0, 800.0, 700.0, 320.0, 2200.0),
        sudden=1250.0,
        bad_days=800.0,
        bad_share=0.75,
        bad_life=0.2,
        beside=0.112,
    ),
}
KINDS["short-lived"] = KINDS["standard"]


@dataclass(frozen=True)
class Prices:
    """What things cost, in the fleet's currency; the same for every policy.

    A planned change is part and labour, with the tank opened once. A failure is everything that it brings:
    tow, driver, substitute, part, labour. other_breakdown: on the road, but not for the pump.
    """

    part: float = 320.0
    change_labour: float = 330.0
    failure: float = 2400.0
    other_breakdown: float = 900.0
    comeback: float = 1500.0
    check_closed: float = 40.0
    check_open: float = 80.0
    extra_stop: float = 60.0
    part_returned: float = 25.0

    @property
    def planned(self) -> float:
        """One planned change."""
        return self.part + self.change_labour


@dataclass(frozen=True)
class CheckSkill:
    """How well a check finds what is there: by cause, with the tank closed (stage A) and open (stage B).

    The chance to find a cause of full severity; in proportion below a third of it. A clamp's error shows when
    the reading is taken again after a zero check. false_closed, false_open: chance that a stage names a cause
    that isn't there when it finds none. No source: practice differs by shop.
    """

    closed: tuple[float, ...] = (0.45, 0.93, 0.93, 0.10, 0.55, 0.85, 0.35, 0.40)
    opened: tuple[float, ...] = (0.85, 0.50, 0.50, 0.93, 0.85, 0.50, 0.88, 0.60)
    false_closed: float = 0.04
    false_open: float = 0.06


# Depots: name, factor on electrical, dirt and heat stress.
ORDINARY, DIRTY, HOT, ETHANOL, SILENT = "ordinary", "dirty", "hot", "ethanol", "silent"
DEPOT_STRESS = {
    ORDINARY: (1.0, 1.0, 1.0),
    DIRTY: (1.05, 1.9, 1.05),
    HOT: (1.15, 1.0, 1.9),
    ETHANOL: (1.8, 1.1, 1.0),
    SILENT: (1.0, 1.0, 1.0),
}


@dataclass(frozen=True)
class Duty:
    """A class of vehicles: its use, its interval and what its pumps bear."""

    name: str
    km_year: float
    season: float  # relative swing over the year
    peak: float  # day of the year of the highest use
    summer_break: bool
    hours_per_km: float
    pm_km: float
    pm_days: int
    stress: tuple[float, float, float]  # electrical, dirt, heat
    level: float  # usual fuel level when it comes in, %
    designs: tuple[float, ...]


DUTIES = (
    Duty("pickup", 19_000, 0.15, 200, False, 0.022, 12_000, 180, (0.95, 1.0, 0.9), 55, (4, 3, 0, 2, 0, 0)),
    Duty("van", 27_000, 0.08, 150, False, 0.028, 12_000, 180, (1.0, 1.0, 1.0), 50, (2, 5, 1, 1, 1, 0)),
    Duty("patrol", 42_000, 0.05, 180, False, 0.045, 6_500, 120, (1.2, 0.9, 1.25), 45, (1, 0, 3, 1, 4, 0)),
    Duty("delivery", 33_000, 0.28, 345, False, 0.04, 10_000, 150, (1.05, 1.1, 1.1), 38, (3, 3, 0, 3, 1, 0)),
    Duty("shuttle", 52_000, 0.10, 40, False, 0.04, 9_600, 90, (1.0, 0.95, 1.1), 48, (0, 0, 4, 0, 2, 3)),
    Duty("school bus", 20_000, 0.05, 30, True, 0.04, 9_600, 150, (0.9, 1.1, 0.85), 60, (0, 0, 1, 0, 0, 5)),
    Duty("refuse", 38_000, 0.05, 240, False, 0.06, 9_600, 90, (1.1, 1.35, 1.2), 52, (0, 0, 2, 0, 0, 5)),
)
DUTY_WEIGHTS = np.array([0.2, 0.22, 0.16, 0.18, 0.1, 0.08, 0.06])
