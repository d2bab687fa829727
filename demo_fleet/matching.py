"""Motors for given readings: what k_e, load and wear make a pump draw this current at this speed.

The life simulator says what a pump reads; here a motor is found whose waveform reads the same. A pump keeps
its own k_e, winding and differences between bars for life; from visit to visit only what ages may change:
the brush drop, the friction and the contact of one bar.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from demo_fleet.armature import RATED_RAD_S, TURN, Faults, Motor, forced_speed


@dataclass(frozen=True)
class Target:
    """One reading to match: currents in A, ripple peak to peak in percent of the mean."""

    mean_a: float
    rpm: float
    ripple_pct: float
    supply_v: float
    pressure_kpa: float
    fuel_temp_c: float = 25.0


def type_motor(base: Motor, target: Target) -> Motor:
    """Scale a motor to a type's usual current and speed: winding, k_e and pump."""
    # The same share of the volts is lost in the winding whatever the current; 4.47 A is the base motor's.
    ohms = 4.47 / target.mean_a * (target.supply_v - 0.7) / 12.8
    motor = replace(
        base,
        winding_ohm=base.winding_ohm * ohms,
        winding_h=base.winding_h * ohms,
        contact_ohm=base.contact_ohm * ohms,
        choke_h=base.choke_h * ohms,
        rated_kpa=target.pressure_kpa,
    )
    motor = _with_k_e(motor, target)
    torque = float(_forced(motor, Faults(), target)[1].mean())
    omega = target.rpm * TURN / 60
    return new_pump(replace(motor, friction_nm=0.1 * torque, viscous_nm_s=0.3 * torque / omega), target)


def new_pump(motor: Motor, target: Target) -> Motor:
    """Set k_e and displacement so that the motor meets target.mean_a and target.rpm, and a choke so that its
    ripple comes close to target.ripple_pct; ValueError where friction leaves no torque."""
    omega = target.rpm * TURN / 60
    motor = _with_k_e(_choked(_with_k_e(motor, target), target), target)
    _, torque = _forced(motor, Faults(), target)
    pressure = torque.mean() - motor.friction_nm - motor.viscous_nm_s * omega
    if pressure < 0.2 * torque.mean():
        raise ValueError(f"friction leaves no torque for the pump at {target}")
    return replace(motor, displacement_m3=float(pressure * TURN / (target.pressure_kpa * 1e3)))


def aged(motor: Motor, bad_bar: int, target: Target, faults: Faults | None = None) -> tuple[Motor, Faults]:
    """Age a pump until it meets the target: brush drop for current at that speed, friction for the torque,
    the contact of `bad_bar` for the ripple. `faults` come on top, their loads included."""
    faults = faults or Faults()
    drop = motor.brush_drop_v
    if faults.burnt_bar is None and faults.open_coil is None:
        faults = _rougher(motor, bad_bar, target, faults)
    a, b = (_mean_a(replace(motor, brush_drop_v=d), target, faults) for d in (drop, drop + 0.1))
    slope = (b - a) / 0.1
    drop = _drop(drop + (target.mean_a - a) / slope)
    drop = _drop(drop + (target.mean_a - _mean_a(replace(motor, brush_drop_v=drop), target, faults)) / slope)
    motor = replace(motor, brush_drop_v=drop)
    _, torque = _forced(motor, faults, target)
    omega = target.rpm * TURN / 60
    pressure = target.pressure_kpa * 1e3 * motor.displacement_m3 / TURN
    wet = (1 - 0.7 * faults.dry) * (1 - 0.55 * faults.starved)
    restriction = faults.restriction * motor.rated_kpa * 1e3 * motor.displacement_m3 / TURN
    left = torque.mean() - motor.viscous_nm_s * omega - pressure * wet
    return replace(motor, friction_nm=float(left - restriction * (omega / RATED_RAD_S) ** 2)), faults


def _drop(volts: float) -> float:
    return float(np.clip(volts, 0.02, 2.5))


def _with_k_e(motor: Motor, target: Target) -> Motor:
    low, step = motor.k_e, 0.02 * motor.k_e  # current is nearly straight in k_e
    at_low, at_high = (_mean_a(replace(motor, k_e=k), target) for k in (low, low + step))
    slope = (at_high - at_low) / step
    k_e = low + (target.mean_a - at_low) / slope
    k_e += (target.mean_a - _mean_a(replace(motor, k_e=k_e), target)) / slope
    motor = replace(motor, k_e=k_e)
    return motor


def _forced(motor: Motor, faults: Faults, target: Target) -> tuple[np.ndarray, np.ndarray]:
    return forced_speed(
        motor,
        supply_v=target.supply_v,
        rpm=target.rpm,
        faults=faults,
        fuel_temp_c=target.fuel_temp_c,
        step_s=25e-6,
    )


def _mean_a(motor: Motor, target: Target, faults: Faults | None = None) -> float:
    return float(_forced(motor, faults or Faults(), target)[0].mean())


def _ripple_pct(motor: Motor, target: Target, faults: Faults | None = None) -> float:
    current, _ = _forced(motor, faults or Faults(), target)
    return float(100 * np.ptp(current) / target.mean_a)


def _choked(motor: Motor, target: Target) -> Motor:
    """Choose the series choke that brings the ripple closest to the target."""
    sizes = motor.choke_h * np.array([0.2, 1.0, 3.0, 7.0])
    ripples = np.array([_ripple_pct(replace(motor, choke_h=h), target) for h in sizes])
    ripples = np.minimum.accumulate(ripples)
    return replace(motor, choke_h=float(np.interp(-target.ripple_pct, -ripples, sizes)))


def _rougher(motor: Motor, bad_bar: int, target: Target, faults: Faults) -> Faults:
    """Choose the bad bar's contact resistance that brings the ripple closest to the target."""
    ohms = motor.contact_ohm * np.array([0.0, 0.4, 1.2, 3.0, 8.0])
    ripples = []
    for ohm in ohms:
        ripples.append(_ripple_pct(motor, target, replace(faults, burnt_bar=bad_bar, burnt_ohm=float(ohm))))
        if ripples[-1] > target.ripple_pct:
            break
    rising = np.maximum.accumulate(ripples)
    ohm = float(np.interp(target.ripple_pct, rising, ohms[: len(rising)]))
    return replace(faults, burnt_bar=bad_bar, burnt_ohm=ohm) if ohm > 0 else faults
