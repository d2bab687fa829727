"""Readings: what a capture, a gauge and a technician's form say of a pump in its state, that day.

Between visits of a healthy pump, amps scatter by 3.7 %, speed by 2.3 %, ripple by a tenth of itself:
fuel temperature, level, pressure and volts of the day, most of them written down only now and then, and the
clamp's gain, drift and zero. A clamp's momentary error (wrong range, zero forgotten, jaw open) is one of the
causes beside the pump. Luck hangs on (unit, day, occasion), so a stop reads the same under every policy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .designs import DESIGNS, column, log_volts, pump_effects, respond
from .designs import SUPPLY as FEED
from .fleet import Fleet
from .kinds import DUTIES, ETHANOL, HOT
from .lives import Lives

AT_STOP, AT_CHECK, AFTER_CHECK, AFTER_REPAIR, ROAD_CALL = range(5)
STATES = ("prime", "idle", "loaded")
# Scatter of a healthy pump between its visits, on volts as told; measured on 1,500 vehicles.
NOISE = {"amps": 0.037, "rpm": 0.023, "ripple": 0.10}
STANDS_OUT = 2.0  # in units of NOISE off the pump's own level
VALUES = (
    "mean_a", "ripple_pct", "rpm", "meter_a", "supply_v", "drop_supply_v", "drop_ground_v",
    "fuel_pressure_kpa", "delivery_l_min", "fuel_temp_c", "fuel_level_pct", "duty_pct", "hours",
)  # fmt: skip


@dataclass(frozen=True)
class Share:
    """How often a thing is written down at a planned stop."""

    capture: float = 0.86
    meter: float = 0.08  # only a meter's average
    supply_v: float = 0.85
    drops: float = 0.15
    pressure: float = 0.28
    delivery: float = 0.14
    temp: float = 0.4
    level: float = 0.75


USUAL = Share()
FULL = Share(1.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0)


def take(
    fleet: Fleet,
    lives: Lives,
    unit: np.ndarray,
    day: np.ndarray,
    occasion: int,
    damage: np.ndarray,
    beside: dict[str, np.ndarray],
    clamp_errors: float,
    share: Share = USUAL,
) -> dict[str, np.ndarray]:
    """One reading of each pump (rows of `lives`).

    damage: (n, SEEN); beside: from `causes.effects`; clamp_errors: chance of a momentary one. Columns as in
    visits.csv, codes where it has words; nan: not taken. Truth in `pump_part`, `beside_part` (n, 3): how far
    amps, speed and ripple stand off the pump's own level, in units of NOISE, without scatter.
    """
    luck, n, day_i = fleet.luck, unit.size, day.astype(int)

    now = luck.at(unit, day_i, occasion)
    u, z = now.uniform, now.normal
    of_day = luck.at(unit, day_i).normal  # the same for a repeat on that day

    design = lives.design
    checked = occasion in (AT_CHECK, AFTER_CHECK)
    state = np.where(u("state") < 0.20, 0, np.where(u("state") < 0.96, 1, 2))
    state = np.full(n, 1) if checked else state
    source = np.array([12.2, 13.9, 13.7])[state] + np.array([0.22, 0.25, 0.3])[state] * of_day("volts")
    two_speed, pwm = FEED[design] == 1, FEED[design] == 2
    low = two_speed & (u("command") < 0.2) & (not checked)
    duty = np.where(pwm & (u("command") > (1.0 if checked else 0.4)), 0.6 + 0.35 * u("duty"), 1.0)
    feed = np.where(low, 0.68, duty)
    harness = source - beside["supply_v"] - beside["ground_v"]
    terminal = (harness - beside["connector_v"]) * feed

    of_year = (day + 5) % 365.25
    hot = np.array([kind == HOT for kind in fleet.depot_kinds])[fleet.depot[unit]]
    temp = 19 + 11 * np.cos(2 * np.pi * (of_year - 200) / 365.25) + 9 * hot + 6 * of_day("temp")
    usual = np.array([duty.level for duty in DUTIES])[fleet.duty[unit]]
    level = np.clip(usual + 22 * of_day("level"), 3, 100)

    worn = pump_effects(design, damage, lives.is_short)
    bedding = 0.02 * np.exp(-(fleet.km.at(unit, day) - lives.start_km) / 1500)
    dry = np.where(level < 12, 0.06, 0.0)
    pressure = beside["pressure"] + 0.03 * of_day("pressure")
    load = worn["load"] + beside["load"] - dry + bedding + 0.024 * of_day("load")
    copper = worn["resistance"] + 0.0039 * (temp - 25)
    amps, speed = respond(
        design, log_volts(terminal, worn["brush_v"]), pressure, load, copper, worn["strength"]
    )
    amps, speed = amps + lives.amps_own, speed + lives.rpm_own + 0.006 * of_day("speed")
    true_a = column("amps", design) * np.exp(amps)
    points = worn["ripple"] + beside["ripple"] + np.where(dry > 0, 0.3, 0.0)
    ripple = column("ripple", design) * np.exp(lives.ripple_own + 0.09 * of_day("ripple")) + points
    ripple = ripple * np.exp(0.045 * z("ripple"))

    clamp, gain, offset, zeroed, wrong = _clamp(fleet, unit, day, occasion, clamp_errors, checked)
    mean_a = true_a * gain + offset
    mean_a = np.maximum(mean_a * np.exp(0.006 * z("amps")), 0.2)
    rpm = column("rpm", design) * np.exp(speed + 0.004 * z("rpm"))

    got = u("capture") < share.capture
    meter = ~got & (u("capture") < share.capture + share.meter)
    odd = np.array([d.bars % 2 == 1 for d in DESIGNS])[design]
    has_rpm = got & (u("no-rpm") > np.where(pwm, 0.45, np.where(odd, 0.2, 0.1)))
    delivered = np.maximum(1 + worn["delivery"] + beside["delivery"] + dry * -0.8, 0.05) * np.exp(
        speed - pressure / 4
    )
    falls = np.log(np.clip(delivered / 0.72, 0.3, 1.0))
    at = np.where(u("where") < 0.55, 0, np.where(u("where") < 0.85, 1, 2))
    at = np.zeros(n, int) if checked else at
    told_v = np.where(at == 0, harness, source + np.where(at == 2, 0.1, 0.0))
    told_v = told_v + np.array([0.05, 0.09, 0.15])[at] * z("volts-told")
    free = u("free") < (0.0 if checked else 0.3)

    def some(value: np.ndarray, name: str, chance: float, where: np.ndarray | bool = True) -> np.ndarray:
        return np.where((u("has-" + name) < chance) & where, value, np.nan)

    pump_i, pump_w = respond(
        design,
        log_volts(np.full(n, 13.5), worn["brush_v"]),
        0,
        worn["load"],
        worn["resistance"],
        worn["strength"],
    )
    away_i, away_w = respond(
        design,
        log_volts(13.5 - beside["supply_v"] - beside["ground_v"] - beside["connector_v"]),
        beside["pressure"],
        beside["load"] - dry,
    )
    away_i = away_i + np.where(wrong, np.log(mean_a / true_a), 0.0)
    size = NOISE["ripple"] * column("ripple", design)
    ethanol = np.array([kind == ETHANOL for kind in fleet.depot_kinds])[fleet.depot[unit]]
    hourly = np.array([duty.hours_per_km for duty in DUTIES])[fleet.duty[unit]]
    return {
        "state": state,
        "commanded": np.where(two_speed & (u("told-command") < 0.9), np.where(low, 1, 0), -1),
        "zero_checked": zeroed.astype(int),
        "clamp": clamp,
        "at": np.where(u("told-at") < 0.9, at, -1),
        "delivery_at": free.astype(int),
        "fuel": np.where(ethanol & (column("rated_kpa", design) > 200), 1, 0),
        "mean_a": np.where(got, mean_a, np.nan),
        "ripple_pct": np.where(got & ~(pwm & (duty < 1)), ripple * true_a / mean_a, np.nan),
        "rpm": np.where(has_rpm, rpm, np.nan),
        "meter_a": np.where(meter, mean_a * np.exp(0.02 * z("meter")), np.nan),
        "supply_v": some(told_v, "volts", share.supply_v),
        "drop_supply_v": some(
            np.maximum(0.16 + beside["supply_v"] + 0.05 * z("drop-s"), 0.02), "drops", share.drops
        ),
        "drop_ground_v": some(
            np.maximum(0.05 + beside["ground_v"] + 0.025 * z("drop-g"), 0.01), "drops", share.drops
        ),
        "fuel_pressure_kpa": some(
            column("rated_kpa", design) * np.exp(beside["line"] + falls + 0.022 * z("kpa-told")), "kpa",
            share.pressure
        ),
        "delivery_l_min": some(
            column("delivery", design)
            * np.where(free, 1.35 * delivered**0.8, delivered)
            * np.exp(0.05 * z("lpm")),
            "lpm",
            share.delivery,
        ),
        "fuel_temp_c": some(temp + 1.5 * z("temp"), "temp", share.temp),
        "fuel_level_pct": some(np.clip(level + 3 * z("level"), 0, 100), "level", share.level),
        "duty_pct": np.where(pwm & (u("told-duty") < 0.85), 100 * duty, np.nan),
        "hours": np.where(hourly > 0.043, fleet.km.at(unit, day) * hourly, np.nan),
        "got": got,
        "pump_part": np.stack(
            [pump_i / NOISE["amps"], pump_w / NOISE["rpm"], worn["ripple"] / size], axis=1
        ),
        "beside_part": np.stack(
            [away_i / NOISE["amps"], away_w / NOISE["rpm"], beside["ripple"] / size], axis=1
        ),
        "wrong_clamp": wrong,
        "feed": feed,
    }  # fmt: skip


def _clamp(fleet: Fleet, unit, day, occasion: int, errors: float, checked: bool):
    """Clamp used, its gain and offset, whether zeroed, whether it misread on that occasion."""
    luck, day_i, clamps = fleet.luck, day.astype(int), fleet.clamps
    pick = luck.uniform("clamp", unit, day_i)
    now = luck.at(unit, day_i, occasion)
    clamp = np.empty(unit.shape, int)
    for depot, pool in enumerate(fleet.clamp_pools):
        here = fleet.depot[unit] == depot
        clamp[here] = pool[(pick[here] * pool.size).astype(int)]
    gain = 1 + clamps["gain"][clamp] + clamps["drift"][clamp] * day / 365.25
    gain = gain + np.where(day >= clamps["drop_day"][clamp], clamps["drop"][clamp], 0.0)
    zeroed = now.uniform("zeroed") < (1.0 if checked else 0.8)
    zero = now.normal("zero")
    offset = np.where(zeroed, 0.012 * zero, clamps["zero"][clamp] + 0.05 * zero)
    wrong = now.uniform("clamp-wrong") < (0.1 * errors if checked else errors)
    size = now.normal("clamp-wrong-size")
    by_gain = now.uniform("clamp-wrong-kind") < 0.5
    error = np.sign(size) * (0.08 + 0.06 * np.abs(size))
    gain = np.where(wrong & by_gain, gain * (1 + error), gain)
    offset = np.where(wrong & ~by_gain, offset + 6 * error, offset)
    return clamp, gain, offset, zeroed, wrong


def normalised(design: np.ndarray, reading: dict[str, np.ndarray]) -> np.ndarray:
    """A reading on volts as told (13.9 if not), off the design's healthy point, in units of NOISE, (n, 3).

    What a shop with the maker's curves would make of it: amps, speed, ripple; nan where not taken.
    """
    volts = np.where(
        np.isnan(reading["supply_v"]), np.array([12.2, 13.9, 13.7])[reading["state"]], reading["supply_v"]
    )
    told = np.where(np.isnan(reading["duty_pct"]), reading["feed"], reading["duty_pct"] / 100)
    amps, speed = respond(design, log_volts(volts * told))
    mean = np.where(np.isnan(reading["mean_a"]), reading["meter_a"], reading["mean_a"])
    return np.stack(
        [
            (np.log(mean / column("amps", design)) - amps) / NOISE["amps"],
            (np.log(reading["rpm"] / column("rpm", design)) - speed) / NOISE["rpm"],
            (reading["ripple_pct"] / column("ripple", design) - 1) / NOISE["ripple"],
        ],
        axis=1,
    )
