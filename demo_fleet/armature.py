"""A brushed permanent-magnet DC pump motor, solved as the electrical network it is.

C coils form a closed ring between C commutator bars; the brushes touch the bars with a conductance
proportional to the area of overlap; each coil has resistance, inductance and a back-EMF k*omega*f(angle).
For the whole motor this gives the textbook V = I*R + k_e*omega and torque = k_e*I, and everything else
(ripple, its size under each fault, the half-turn symmetry) follows from the network.

Integration: backward Euler at a fixed step. At a fixed step the network's answer depends on the rotor angle
alone, so one table over angle, made by a batch of small matrix inversions, turns each step into one product.
Frames: bar k lies at angle theta + 2*pi*k/C; the brushes stand still.

    trace = simulate(Motor(), supply_v=13.5, duration_s=0.2, seed=1)
    trace.mean_rpm(0.05, 0.15)
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from scipy.interpolate import CubicSpline

from demo_fleet.motor import FAULTS, Faults, Motor
from demo_fleet.winding import TURN, brush_emf, network

__all__ = ["FAULTS", "TURN", "Faults", "Motor", "Supply", "Trace", "brush_emf", "forced_speed", "simulate"]

COPPER_PER_K = 0.00393  # temperature coefficient of copper's resistance near 25 deg C, 1/K
RATED_RAD_S = 628.0  # 6,000 rpm, where rated flow and rated torque are taken
Start = Literal["settled", "inrush", "prime"]


@dataclass(frozen=True)
class Supply:
    """How the supply departs from steady. Nothing by default.

    Alternator ripple is a rectified wave of alternator_pp_v peak to peak; PWM switches the motor wire between
    the supply and a freewheel diode; wander is slow noise (rms, percent) with correlation time wander_s.
    """

    alternator_pp_v: float = 0.0
    alternator_hz: float = 900.0
    pwm_hz: float = 0.0
    pwm_duty: float = 0.7
    wander_pct: float = 0.0  # of volts
    pressure_wander_pct: float = 0.0
    wander_s: float = 0.05


@dataclass(frozen=True)
class Trace:
    """What happened, exactly, at i / sample_rate_hz: arrays of shape (n,).

    angle_rad grows without wrapping; supply_v is the voltage at the pump's terminals.
    """

    current_a: np.ndarray
    angle_rad: np.ndarray
    omega_rad_s: np.ndarray
    supply_v: np.ndarray
    sample_rate_hz: float
    motor: Motor = field(default_factory=Motor)
    faults: Faults = field(default_factory=Faults)

    @property
    def duration_s(self) -> float:
        """From the first to the last sample, in seconds."""
        return (len(self.current_a) - 1) / self.sample_rate_hz

    def mean_rpm(self, from_s: float = 0.0, to_s: float | None = None) -> float:
        """True mean speed over a window: angle turned over time taken, in rev/min."""
        to_s = self.duration_s if to_s is None else to_s
        ends = np.array([from_s, to_s]) * self.sample_rate_hz
        turned = np.diff(np.interp(ends, np.arange(len(self.angle_rad)), self.angle_rad))[0]
        return float(turned / TURN / (to_s - from_s) * 60)

    def mean_a(self, from_s: float = 0.0, to_s: float | None = None) -> float:
        """True mean current over a window, A."""
        first = round(from_s * self.sample_rate_hz)
        last = None if to_s is None else round(to_s * self.sample_rate_hz)
        return float(np.mean(self.current_a[first:last]))


def simulate(
    motor: Motor,
    *,
    supply_v: float = 13.5,
    pressure_kpa: float | None = None,
    fuel_temp_c: float = 25.0,
    duration_s: float = 0.2,
    sample_rate_hz: float = 100_000.0,
    seed: int = 0,
    faults: Faults | str = "healthy",
    start: Start = "settled",
    supply: Supply | None = None,
    prime_s: float = 2.0,
) -> Trace:
    """Run the motor and return current, angle and speed at `sample_rate_hz`.

    start: "settled" runs from the first sample, "inrush" switches on at standstill at time 0, "prime" does
    the same and switches off again after prime_s (the current stops at once, the shaft coasts).
    pressure_kpa: at the outlet, default the motor's rated pressure. faults: Faults or a name in FAULTS.
    seed: the angle at the start and all slow noise.
    """
    if isinstance(faults, str):
        faults = FAULTS[faults]
    supply = supply or Supply()
    pressure_kpa = motor.rated_kpa if pressure_kpa is None else pressure_kpa
    rng = np.random.default_rng(seed)
    step_s = _step_for(sample_rate_hz, supply)
    steps = int(np.ceil(duration_s / step_s)) + 2
    volts = _supply_steps(supply_v, supply, steps, step_s, rng)
    noise = _noise_steps(faults, supply, steps, step_s, rng)
    off_from = round(prime_s / step_s) if start == "prime" else steps
    run = _Run(_warm(motor, fuel_temp_c), faults, pressure_kpa, step_s)
    theta = float(rng.uniform(0, TURN))
    omega = 0.0
    if start == "settled":
        theta, omega = run.settle(theta, float(np.mean(volts)), float(np.mean(noise[: steps // 2])))
    current, angle, speed = run.integrate(theta, omega, volts, noise, off_from)
    return _sampled(current, angle, speed, volts, step_s, sample_rate_hz, duration_s, motor, faults, off_from)


def forced_speed(
    motor: Motor,
    *,
    supply_v: float,
    rpm: float,
    faults: Faults | None = None,
    fuel_temp_c: float = 25.0,
    step_s: float = 12.5e-6,
) -> tuple[np.ndarray, np.ndarray]:
    """Hold the shaft at a speed: line current (A) and torque (N*m) over two turns, each (n,). Fast."""
    warm = _warm(motor, fuel_temp_c)
    run = _Run(warm, faults or Faults(), motor.rated_kpa, step_s, angles=round(0.0128 / step_s))
    return run.forced(0.0, rpm * TURN / 60, supply_v, 2)


def _warm(motor: Motor, fuel_temp_c: float) -> Motor:
    return replace(motor, winding_ohm=motor.winding_ohm * (1 + COPPER_PER_K * (fuel_temp_c - 25.0)))


# --- integration ---------------------------------------------------------------------------------------


class _Run:
    """One motor on one supply: finds the settled speed, then steps network and shaft together."""

    def __init__(self, motor: Motor, faults: Faults, pressure_kpa: float, step_s: float, angles: int = 4096):
        self.motor, self.step_s = motor, step_s
        self.table = network(motor.electrical, faults, step_s, angles).step
        rated_nm = motor.friction_nm + motor.viscous_nm_s * RATED_RAD_S
        rated_nm += motor.rated_kpa * 1e3 * motor.displacement_m3 / TURN
        wet = 1 - 0.7 * faults.dry  # vapour still has to be churned
        self.friction = motor.friction_nm + faults.drag * rated_nm
        self.viscous = motor.viscous_nm_s * (0.5 + 0.5 * wet)
        self.pressure = pressure_kpa * 1e3 * motor.displacement_m3 / TURN * wet * (1 - 0.55 * faults.starved)
        self.restriction = faults.restriction * motor.rated_kpa * 1e3 * motor.displacement_m3 / TURN * wet
        self.drop_v = 2 * motor.brush_drop_v * (1 + 1.25 * faults.brush_wear)
        self.coils = np.zeros(motor.bars + 3)

    def load_nm(self, omega: float) -> float:
        """Mean load torque at a speed, N*m."""
        return (
            self.friction
            + self.viscous * omega
            + self.pressure
            + self.restriction * (omega / RATED_RAD_S) ** 2  # flow follows speed, the drop its square
        )

    def settle(self, theta: float, volts: float, noise: float) -> tuple[float, float]:
        """Find the speed at which mean torque meets the load; leaves the coil currents running there."""
        amps = self.load_nm(600.0) / self.motor.k_e
        omega = max((volts - self.drop_v - amps * self.motor.winding_ohm) / self.motor.k_e, 40.0)
        low, torque_low = omega, self.torque_at(theta, omega, volts)
        high, torque_high = omega * 1.05, self.torque_at(theta, omega * 1.05, volts)
        for _ in range(2):  # torque is nearly straight in speed, the load gently curved
            slope = (torque_high - torque_low) / (high - low)
            for _ in range(20):
                error = torque_low + slope * (omega - low) - self.load_nm(omega) - self.pressure * noise
                omega += error / (self.viscous + 2 * self.restriction * omega / RATED_RAD_S**2 - slope)
                omega = max(omega, 20.0)
            if abs(omega - low) < 1e-4 * omega:
                break
            high, torque_high = low, torque_low
            low, torque_low = omega, self.torque_at(theta, omega, volts)
        turns = max(int(4 * TURN / omega / self.step_s), 1)
        _, angle, speed = self.integrate(theta, omega, np.full(turns, volts), np.full(turns, noise), turns)
        return float(angle[-1]), float(speed[-1])

    def torque_at(self, theta: float, omega: float, volts: float) -> float:
        """Mean torque at a forced speed, N*m."""
        return float(self.forced(theta, omega, volts, 2)[1].mean())

    def forced(self, theta: float, omega: float, volts: float, turns: int) -> tuple[np.ndarray, np.ndarray]:
        """Line current and torque over whole turns at a forced speed, after one turn to settle."""
        turn = max(int(TURN / omega / self.step_s), 8)
        at = theta + TURN / turn * np.arange((1 + turns) * turn)
        index = np.round(at / TURN * len(self.table)).astype(int) % len(self.table)
        x, bars, table, drop_v = self.coils, self.motor.bars, self.table, self.drop_v
        x[bars + 2] = omega
        ends = np.empty((len(index), 2))
        for n, j in enumerate(index.tolist()):
            line = float(x[bars])
            x[bars + 1] = volts - drop_v * line / (abs(line) + 0.15)
            y = table[j].dot(x)
            x[: bars + 1] = y[: bars + 1]
            ends[n] = y[bars:]
        return ends[turn:, 0], ends[turn:, 1]

    def integrate(
        self,
        theta: float,
        omega: float,
        volts: np.ndarray,
        noise: np.ndarray,
        off_from: int,
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Step through volts (n,) and pressure noise (n,); returns current, angle, speed, each (n,).

        From step `off_from` on the feed is open: no current, the shaft coasts.
        """
        motor, table, x = self.motor, self.table, self.coils
        bars, size, dt = motor.bars, len(self.table), self.step_s
        to_index = size / TURN
        gain = dt / motor.inertia_kg_m2
        shaft = 1 + motor.once_per_turn * np.cos(np.arange(size) / to_index)
        shaft = (shaft + motor.vane_pulsation * np.cos(motor.vanes * np.arange(size) / to_index)).tolist()
        friction, viscous, drop_v = self.friction, self.viscous, self.drop_v
        pressure, restriction = self.pressure, self.restriction / RATED_RAD_S**2
        n = len(volts)
        current, angle, speed = [0.0] * n, [0.0] * n, [0.0] * n
        line = float(x[bars])
        for step, (v, wobble) in enumerate(zip(volts.tolist(), noise.tolist(), strict=True)):
            theta += omega * dt
            j = int(theta * to_index + 0.5) % size
            if step < off_from:
                x[bars + 1] = v - drop_v * line / (abs(line) + 0.15)
                x[bars + 2] = omega
                y = table[j].dot(x)
                x[: bars + 1] = y[: bars + 1]
                line = float(y[bars])
                torque = float(y[bars + 1])
            else:
                line = torque = 0.0
            load = friction + viscous * omega + pressure * (shaft[j] + wobble) + restriction * omega * omega
            omega += gain * (torque - load)
            if omega < 0.0:
                omega = 0.0
            current[step], angle[step], speed[step] = line, theta, omega
        return np.array(current), np.array(angle), np.array(speed)


def _step_for(sample_rate_hz: float, supply: Supply) -> float:
    """A step of about 12 us (less under fast PWM) that divides the sampling interval where it can."""
    wanted_hz = max(80_000.0, 20 * supply.pwm_hz)
    return (
        1 / (sample_rate_hz * max(np.ceil(wanted_hz / sample_rate_hz), 1)) if sample_rate_hz < 1.3e5 else 1e-5
    )


def _supply_steps(
    supply_v: float, supply: Supply, steps: int, step_s: float, rng: np.random.Generator
) -> np.ndarray:
    t = np.arange(steps) * step_s
    volts = np.full(steps, float(supply_v))
    if supply.wander_pct:
        volts *= 1 + supply.wander_pct / 100 * _slow_noise(steps, step_s, supply.wander_s, rng)
    if supply.alternator_pp_v:
        hump = np.abs(np.cos(np.pi * supply.alternator_hz * t + rng.uniform(0, np.pi)))
        cap = np.maximum(hump, np.cos(np.pi / 6))  # a rectified three-phase wave keeps only the crowns
        volts += supply.alternator_pp_v * (cap - cap.mean()) / (1 - np.cos(np.pi / 6))
    if supply.pwm_hz:
        # Share of each step that lies in the on time, so that edges between steps count in full.
        edge = supply.pwm_hz * t
        on = np.floor(edge) * supply.pwm_duty + np.minimum(edge % 1.0, supply.pwm_duty)
        share = np.diff(on, append=on[-1] + supply.pwm_hz * step_s * supply.pwm_duty)
        share /= supply.pwm_hz * step_s
        volts = volts * share - 0.7 * (1 - share)
    return volts


def _noise_steps(
    faults: Faults, supply: Supply, steps: int, step_s: float, rng: np.random.Generator
) -> np.ndarray:
    noise = np.zeros(steps)
    if supply.pressure_wander_pct:
        noise += supply.pressure_wander_pct / 100 * _slow_noise(steps, step_s, supply.wander_s, rng)
    if faults.starved:
        noise += 0.35 * faults.starved * _slow_noise(steps, step_s, 0.012, rng)
    if faults.dry:
        noise += 0.05 * faults.dry * _slow_noise(steps, step_s, 0.01, rng)
    return noise


def _slow_noise(steps: int, step_s: float, correlation_s: float, rng: np.random.Generator) -> np.ndarray:
    """Gaussian noise of unit variance, drawn on a coarse grid and joined smoothly."""
    coarse_s = correlation_s / 4
    points = int(steps * step_s / coarse_s) + 8
    keep = np.exp(-1 / 4)
    values = np.empty(points)
    values[0] = rng.standard_normal()
    for n in range(1, points):
        values[n] = keep * values[n - 1] + np.sqrt(1 - keep**2) * rng.standard_normal()
    return CubicSpline(np.arange(points) * coarse_s, values)(np.arange(steps) * step_s + coarse_s)


def _sampled(
    current: np.ndarray,
    angle: np.ndarray,
    speed: np.ndarray,
    volts: np.ndarray,
    step_s: float,
    sample_rate_hz: float,
    duration_s: float,
    motor: Motor,
    faults: Faults,
    off_from: int,
) -> Trace:
    n = int(duration_s * sample_rate_hz + 1e-9)
    at_pump = np.where(np.arange(len(volts)) < off_from, volts - faults.line_ohm * current, 0.0)
    every = 1 / (step_s * sample_rate_hz)
    if abs(every - round(every)) < 1e-9 and every > 0.5:
        pick = slice(0, None, round(every))
        series = [a[pick][:n] for a in (current, angle, speed, at_pump)]
    else:
        t_step, t = np.arange(len(current)) * step_s, np.arange(n) / sample_rate_hz
        series = [CubicSpline(t_step, a)(t) for a in (current, angle, speed, at_pump)]
    return Trace(series[0], series[1], series[2], series[3], sample_rate_hz, motor, faults)
