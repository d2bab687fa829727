"""A value that is right in another unit: psi where kPa are kept, L/h for L/min, °F for °C, turns a second.

Held against what the pump itself showed before and what its type is rated for; a value is doubted only where
it lies far from both and another unit brings it near. Bounds are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ingest.errors import Question
from ingest.trade_numbers import SUPPLY_SHARE, USUAL_RPM
from ingest.units import UNITS, to_kept
from ingest.wording import questions, unit_questions

_NEAR_OWN, _NEAR_RATED = 0.10, 0.15  # of a pressure in the unit meant, to what is usual
_FAR = 4.0  # times what is usual, or a part of it: no fault of a pump makes its speed or delivery so
_MOST_L_MIN = 30.0  # more than fuel pumps of road vehicles deliver
_HOT_C, _HOTTEST_C = 45.0, 65.0  # fuel may be as hot; hotter, where nothing is known of the unit
_KPA_PER_MPA = 1000.0
_BAR_FOR_PSI = "bar, typed as psi"


@dataclass(frozen=True)
class Shown:
    """What one visit has, in the ledger's units; None: nothing. `rpm` only where no capture told it."""

    fuel_pressure_kpa: float | None = None
    delivery_l_min: float | None = None
    fuel_temp_c: float | None = None
    rpm: float | None = None
    mean_a: float | None = None
    supply_v: float | None = None
    supply_v_at: str | None = None
    drop_supply_v: float | None = None
    drop_ground_v: float | None = None


@dataclass(frozen=True)
class Usual:
    """What the pump's type is rated for, and the medians of what it showed itself (`own_…`)."""

    rated_kpa: float | None = None
    min_l_min: float | None = None
    rated_rpm: float | None = None
    system_v: float | None = None
    own_kpa: float | None = None
    own_l_min: float | None = None
    own_temp_c: float | None = None
    own_rpm: float | None = None
    own_a: float | None = None


def wrong_units(shown: Shown, usual: Usual) -> tuple[Question, ...]:
    """Return a question, with the right value on offer, for each value that another unit would explain."""
    ways = (_pressure, _delivery, _temperature, _speed, _drops)
    return tuple(question for way in ways for question in way(shown, usual))


def _pressure(shown: Shown, usual: Usual) -> Iterator[Question]:
    kpa = shown.fuel_pressure_kpa
    if not kpa or kpa < 0:
        return
    if _told_in_psi(kpa):  # nobody mistook it for kPa: its figure in kPa was never read anywhere
        ways = {_BAR_FOR_PSI: UNITS["bar"].factor / UNITS["psi"].factor}
    else:
        ways = {"psi": UNITS["psi"].factor, "bar": UNITS["bar"].factor, "MPa": _KPA_PER_MPA}
    for level, near in ((usual.rated_kpa, _NEAR_RATED), (usual.own_kpa, _NEAR_OWN)):
        if not level or kpa >= 0.4 * level:
            continue
        unit = min(ways, key=lambda name: abs(np.log(kpa * ways[name] / level)))
        if abs(kpa * ways[unit] / level - 1) > near:
            continue
        if unit == _BAR_FOR_PSI:
            yield unit_questions.pressure_bar_for_psi(kpa, kpa / UNITS["psi"].factor, kpa * ways[unit], level)
        elif unit == "psi" and level == usual.rated_kpa:
            yield questions.pressure_in_psi(kpa, level)
        else:
            yield unit_questions.pressure_unit(kpa, unit, kpa * ways[unit], level)
        return


def _told_in_psi(kpa: float) -> bool:
    """Whether a pressure is a short figure in psi and none in kPa: then it was given in psi."""
    psi = kpa / UNITS["psi"].factor
    return abs(psi - round(psi, 1)) < 1e-5 * psi and abs(kpa - round(kpa, 2)) > 1e-5 * kpa


def _delivery(shown: Shown, usual: Usual) -> Iterator[Question]:
    flow = shown.delivery_l_min
    if not flow:
        return
    level = usual.own_l_min or (1.5 * usual.min_l_min if usual.min_l_min else None)
    if level is None:
        if flow > _MOST_L_MIN:
            yield unit_questions.delivery_unit(flow, "L/h", to_kept(flow, "L/h"), None)
        return
    if flow < _FAR * level:
        return
    ways = {name: to_kept(flow, name) for name in ("L/h", "gal/h", "mL/min")}
    unit = min(ways, key=lambda name: abs(np.log(ways[name] / level)))
    if abs(np.log(ways[unit] / level)) < np.log(2.0):
        yield unit_questions.delivery_unit(flow, unit, ways[unit], level)


def _temperature(shown: Shown, usual: Usual) -> Iterator[Question]:
    warm = shown.fuel_temp_c
    if warm is None:
        return
    meant, own = to_kept(warm, "°F"), usual.own_temp_c
    if warm >= _HOTTEST_C if own is None else warm >= max(_HOT_C, own + 25) and abs(meant - own) <= 20:
        yield unit_questions.temperature_unit(warm, meant, own)


def _speed(shown: Shown, usual: Usual) -> Iterator[Question]:
    rpm = shown.rpm
    if not rpm or rpm < 0:
        return
    level = usual.own_rpm or usual.rated_rpm or USUAL_RPM
    if 1 / _FAR < rpm / level < _FAR:
        return
    ways = {"rev/s": 60 * rpm, "tenth": 10 * rpm, "tenfold": rpm / 10}
    meant = min(ways, key=lambda name: abs(np.log(ways[name] / level)))
    if abs(np.log(ways[meant] / level)) > np.log(1.4 if level != USUAL_RPM else 1.8):
        return
    if meant == "rev/s":
        yield unit_questions.speed_unit(rpm, ways[meant], level)
    else:
        yield unit_questions.speed_digit(rpm, ways[meant], level)


def _drops(shown: Shown, usual: Usual) -> Iterator[Question]:
    """A drop that the volts beside it leave no room for: the meter was across the pump, not along a wire."""
    drops = {"drop_supply_v": shown.drop_supply_v or 0.0, "drop_ground_v": shown.drop_ground_v or 0.0}
    column = max(drops, key=lambda name: drops[name])
    volts, drop = shown.supply_v, drops[column]
    if not volts or drop < 0.5 * volts:
        return
    if shown.supply_v_at == "pump":
        impossible = volts + drop > SUPPLY_SHARE[1] * (usual.system_v or 12.0)
    else:  # of the whole supply nothing is left for a pump that draws its usual current
        runs = shown.mean_a is not None and usual.own_a and shown.mean_a > 0.5 * usual.own_a
        impossible = bool(runs) and drop > 0.7 * volts
    if impossible:
        supply = column == "drop_supply_v"
        ask = unit_questions.drop_supply_across if supply else unit_questions.drop_ground_across
        yield ask(drop, volts)
