"""Simulated captures in named strata, with their truth, for the measuring study.

Every capture is drawn from its own seed: motor (bars, winding, brushes, spread, inertia, load pulsation),
fault, supply, clamp and digitiser all vary. The physics is demo_fleet's; nothing here is read by ingest.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from demo_fleet.acquisition import Probe, Scope, acquire
from demo_fleet.armature import FAULTS, TURN, Faults, Motor, Start, Supply, Trace, simulate

STRATA = (
    "healthy",
    "worn brushes",
    "open coil",
    "shorted coil",
    "isolated bar",
    "burnt bar",
    "alike",
    "slow 1,800-3,200",
    "fast 10,600-13,500",
    "low sample rate",
    "20 to 60 ms",
    "2 s",
    "coarse codes",
    "alternator",
    "wander",
    "inrush",
    "prime",
    "starved",
    "PWM",
)
BARS = np.array([5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 24])
BAR_SHARES = np.array([4, 10, 9, 38, 5, 11, 3, 9, 2, 2, 2, 3, 1, 1]) / 100


@dataclass(frozen=True)
class StudyCapture:
    """One capture and what is true of it. gated: it meets the gates under which answers are promised."""

    stratum: str
    samples: np.ndarray
    sample_rate_hz: float
    bars: int
    truth: object
    ripple_a: float
    zero_a: float  # the clamp's, uncorrected
    gated_told: bool
    gated_untold: bool
    previous_rpm: float
    rpm: float
    foreign_hz: float = 0.0  # of alternator or drive, 0 without


def draw(stratum: str, seed: int, *, samples: int | None = None) -> StudyCapture:
    """Draw one capture of a stratum; with `samples`, sampled so fast that its duration holds so many.

    Of the slowly sampled ones the duration changes instead.
    """
    rng = np.random.default_rng((STRATA.index(stratum), seed))
    bars = int(rng.choice(BARS, p=BAR_SHARES))
    rpm = float(np.exp(rng.uniform(np.log(3700), np.log(9500))))
    if stratum.startswith("slow"):
        rpm = float(rng.uniform(1800, 3200))
    if stratum.startswith("fast"):
        rpm = float(rng.uniform(10_600, 13_500))
    volts = float(rng.uniform(11.5, 14.4))
    faults = FAULTS.get(stratum, Faults())
    if stratum == "burnt bar":
        faults = replace(faults, burnt_ohm=float(np.exp(rng.uniform(np.log(0.05), np.log(1.5)))))
    if stratum == "worn brushes":
        faults = Faults(brush_wear=float(rng.uniform(0.3, 1)))
    if stratum in ("slow 1,800-3,200", "fast 10,600-13,500") and rng.random() < 0.4:
        faults = Faults(
            brush_wear=float(rng.uniform(0, 1)), burnt_bar=1, burnt_ohm=float(rng.uniform(0, 0.4))
        )
    motor = _motor(rng, bars, rpm, volts, alike=stratum == "alike")
    supply = Supply(wander_pct=float(rng.choice([0.0, 0.0, 0.05])), wander_s=0.1)
    if stratum == "wander":
        supply = Supply(
            wander_pct=float(rng.uniform(0.3, 2)),
            pressure_wander_pct=float(rng.uniform(0, 4)),
            wander_s=float(np.exp(rng.uniform(np.log(0.02), np.log(0.5)))),
        )
    if stratum == "alternator":
        supply = Supply(
            alternator_pp_v=float(rng.uniform(0.05, 0.6)), alternator_hz=float(rng.uniform(300, 2000))
        )
    if stratum == "PWM":
        supply = Supply(
            pwm_hz=float(rng.choice([300, 1000, 5000, 9800, 20000])), pwm_duty=float(rng.uniform(0.5, 0.9))
        )
    duration = float(np.exp(rng.uniform(np.log(0.1), np.log(0.7))))
    rate = float(rng.choice([20e3, 25e3, 50e3, 100e3, 100e3, 200e3, 500e3]))
    if stratum == "low sample rate":
        rate = float(rng.choice([5e3, 8e3, 10e3]))
    if stratum == "20 to 60 ms":
        duration = float(rng.uniform(0.02, 0.06))
    if stratum == "2 s":
        duration, rate = 2.0, float(rng.choice([20e3, 50e3, 100e3]))
    start: Start = "settled"
    if stratum in ("inrush", "prime"):
        start = "inrush" if stratum == "inrush" else "prime"
        duration = float(rng.uniform(0.5, 0.9))
    if samples and stratum == "low sample rate":
        duration = samples / rate
    elif samples:
        rate = samples / duration
    trace = simulate(
        motor,
        supply_v=volts,
        duration_s=duration,
        sample_rate_hz=max(rate, 50e3) if rate != 8e3 else 80e3,
        seed=seed,
        faults=faults,
        start=start,
        supply=supply,
        prime_s=duration - 0.05,
    )
    foreign_hz = supply.pwm_hz or (supply.alternator_hz if supply.alternator_pp_v else 0.0)
    return replace(_acquired(stratum, seed, trace, rate, bars, rng), foreign_hz=foreign_hz)


def _motor(rng: np.random.Generator, bars: int, rpm: float, volts: float, *, alike: bool) -> Motor:
    ohm = float(np.exp(rng.uniform(np.log(0.4), np.log(1.1))))
    amps = float(rng.uniform(3.5, 7.5))
    k_e = max(volts - 0.6 - amps * (ohm + 0.09), 2.0) / (rpm * TURN / 60)
    torque = k_e * amps
    rated_nm, omega = 0.062, rpm * TURN / 60
    return Motor(
        bars=bars,
        winding_ohm=ohm,
        winding_h=float(np.exp(rng.uniform(np.log(0.3e-3), np.log(1.5e-3)))),
        leakage_share=float(rng.uniform(0.15, 0.5)),
        k_e=k_e,
        neutral_deg=float(rng.uniform(5, 18)),
        ramp_deg=float(rng.choice([0.0, 30.0, 45.0, 60.0])),
        brush_bars=float(rng.uniform(1.05, 1.7)),
        contact_ohm=float(rng.uniform(0.02, 0.08)),
        inertia_kg_m2=float(np.exp(rng.uniform(np.log(4e-6), np.log(3e-5)))),
        friction_nm=0.1 * torque,
        viscous_nm_s=0.3 * torque / omega,
        displacement_m3=6.0e-7 * torque * 0.6 / (rated_nm * 0.615),
        once_per_turn=float(rng.choice([0.0, 0.01, 0.03, 0.08])),
        vanes=int(rng.integers(5, 12)),
        vane_pulsation=float(rng.choice([0.0, 0.02, 0.06])),
        alike=alike,
        spread=float(np.exp(rng.uniform(np.log(0.4), np.log(2.5)))),
        spread_seed=int(rng.integers(1 << 30)),
    )


def _acquired(
    stratum: str, seed: int, trace: Trace, rate: float, bars: int, rng: np.random.Generator
) -> StudyCapture:
    settled = slice(int(0.6 * len(trace.current_a)), int(0.9 * len(trace.current_a)))
    level = float(np.mean(trace.current_a[settled]))
    ripple = true_ripple_a(trace, settled)
    peak = float(trace.current_a.max())
    bits = int(rng.choice([8, 8, 12]))
    reach = peak * 1.15
    if stratum == "coarse codes":
        bits = 8
        reach = max(ripple / rng.uniform(2.0, 6.0) * 128, peak * 1.05)
    full_scale = float(next((f for f in (5, 10, 20, 30, 40, 60, 100, 200) if f > reach), reach))
    if stratum == "coarse codes":
        full_scale = reach
    noise = float(np.exp(rng.uniform(np.log(0.003), np.log(0.03))))
    zero_a = float(rng.normal(0, 0.05))
    off = float(rng.choice([0.0, 0.0, 0.03])) if trace.current_a[0] > 0.2 * level else 0.03
    samples, rate, truth = acquire(
        trace,
        Probe(zero_a=zero_a, bandwidth_hz=float(rng.choice([10e3, 20e3, 50e3])), noise_a=noise),
        Scope(sample_rate_hz=rate, bits=bits, full_scale_a=full_scale),
        off_s=off,
        sparks_per_s=None if stratum == "worn brushes" else float(rng.choice([0, 4, 20, 60])),
        seed=seed,
    )
    rpm = trace.mean_rpm(trace.duration_s * 0.6, trace.duration_s * 0.9)
    turns = (trace.duration_s if trace.current_a[0] > 0.2 * level else 0.4 * trace.duration_s) * rpm / 60
    hump_hz = rpm / 60 * trace.motor.ripples_per_turn
    code_noise = np.hypot(noise, truth.code_a * 0.5)
    fine = rate / hump_hz >= 6 and ripple >= 3 * truth.code_a and ripple >= 4 * code_noise
    fine = fine and truth.clipped_share == 0
    return StudyCapture(
        stratum,
        samples,
        rate,
        bars,
        truth,
        ripple,
        zero_a,
        bool(fine and turns >= 2),
        bool(fine and turns >= 5),
        rpm * float(np.exp(rng.normal(0, 0.05))),
        rpm,
    )


def true_ripple_a(trace: Trace, part: slice) -> float:
    """Peak to peak of the true current averaged by shaft angle over `part` of the trace."""
    current, angle = trace.current_a[part], trace.angle_rad[part]
    bins = 256
    index = np.minimum((angle % TURN / TURN * bins).astype(int), bins - 1)
    count = np.bincount(index, minlength=bins)
    mean = np.bincount(index, weights=current, minlength=bins) / np.maximum(count, 1)
    return float(np.ptp(mean[count > 0]))
