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
from functools import lru_cache
from math import lcm
from typing import Literal

import numpy as np
from scipy.interpolate import CubicSpline

TURN = 2 * np.pi
COPPER_PER_K = 0.00393  # temperature coefficient of copper's resistance near 25 deg C, 1/K
Start = Literal["settled", "inrush", "prime"]


@dataclass(frozen=True)
class Motor:
    """A pump motor and the pump on its shaft. Torques in N*m, temperatures in deg C.

    winding_ohm (copper at 25 deg C) and winding_h are seen between the brushes with all coils in circuit, so
    one coil has winding_ohm * poles**2 / bars. k_e is the whole motor's, V*s/rad. `alike` switches every
    difference between bars, coils and brushes off, exactly; otherwise `spread_seed` draws them, `spread`
    times the usual size.
    """

    bars: int = 8
    poles: int = 2
    winding_ohm: float = 0.80
    winding_h: float = 0.45e-3
    leakage_share: float = 0.05  # of winding_h; the rest is flux the coils share through the iron
    k_e: float = 0.0142
    neutral_deg: float = 17.0  # electrical; no EMF this far either side of the gap between the magnets
    ramp_deg: float = 45.0  # then rising to the flat top under the magnet over this; 0: a plain sine instead
    brush_bars: float = 1.1  # brush width in bar pitches
    contact_ohm: float = 0.10  # one brush over its full width
    brush_drop_v: float = 0.35  # constant part of the drop, per brush
    choke_h: float = 60e-6  # interference choke and leads
    inertia_kg_m2: float = 1.0e-5
    friction_nm: float = 0.0062
    viscous_nm_s: float = 3.05e-5
    displacement_m3: float = 6.0e-7  # a turn, leakage and pressure-borne friction included
    once_per_turn: float = 0.02  # part of the pressure torque that pulsates with the shaft
    vanes: int = 7
    vane_pulsation: float = 0.03
    rated_kpa: float = 400.0
    alike: bool = False
    spread: float = 1.0
    spread_seed: int = 0

    @property
    def ripples_per_turn(self) -> int:
        """lcm(poles, bars): C for even, 2C for odd bars with two poles."""
        return lcm(self.poles, self.bars)


@dataclass(frozen=True)
class Faults:
    """What is wrong. Bars and coils count from 0; severities: 0 none, 1 severe unless a unit is named."""

    open_coil: int | None = None
    shorted_coil: int | None = None  # its turns are bridged: out of the circuit
    isolated_bar: int | None = None  # never touched by a brush
    burnt_bar: int | None = None
    burnt_ohm: float = 0.5  # added to the burnt bar's contact
    brush_wear: float = 0.0  # raises contact resistance, drop and sparking
    drag: float = 0.0  # friction added, in parts of the rated torque
    restriction: float = 0.0  # pressure added behind the pump, in parts of the rated one at rated flow
    dry: float = 0.0  # 1: nothing but vapour to pump
    starved: float = 0.0  # 1: bubbles through the strainer, load falls and fluctuates
    line_ohm: float = 0.0  # bad ground or feed, in series


FAULTS: dict[str, Faults] = {
    "healthy": Faults(),
    "open coil": Faults(open_coil=2),
    "shorted coil": Faults(shorted_coil=2),
    "isolated bar": Faults(isolated_bar=2),
    "burnt bar": Faults(burnt_bar=2),
    "worn brushes": Faults(brush_wear=1.0),
    "drag": Faults(drag=0.35),
    "restriction": Faults(restriction=0.5),
    "dry": Faults(dry=1.0),
    "starved": Faults(starved=0.6),
    "bad ground": Faults(line_ohm=0.45),
}


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
    warm = replace(
        motor,
        winding_ohm=motor.winding_ohm * (1 + COPPER_PER_K * (fuel_temp_c - 25.0)),
    )
    step_s = _step_for(sample_rate_hz, supply)
    steps = int(np.ceil(duration_s / step_s)) + 2
    volts = _supply_steps(supply_v, supply, steps, step_s, rng)
    noise = _noise_steps(faults, supply, steps, step_s, rng)
    off_from = round(prime_s / step_s) if start == "prime" else steps
    run = _Run(warm, faults, pressure_kpa, step_s)
    theta = float(rng.uniform(0, TURN))
    omega = 0.0
    if start == "settled":
        theta, omega = run.settle(theta, float(np.mean(volts)), float(np.mean(noise[: steps // 2])))
    current, angle, speed = run.integrate(theta, omega, volts, noise, off_from)
    return _sampled(
        current, angle, speed, volts, step_s, sample_rate_hz, duration_s, motor, faults, supply_v, off_from
    )


def brush_emf(motor: Motor, angle_rad: np.ndarray) -> np.ndarray:
    """Open-circuit EMF between the brushes per rad/s, V*s/rad, at each rotor angle; shape of angle_rad."""
    table = _network(motor, Faults(), 1.0).open_emf
    position = np.asarray(angle_rad) / TURN * len(table)
    return table[np.round(position).astype(int) % len(table)]


# --- the network ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Network:
    """Step tables over rotor angle.

    step: (angles, bars + 2, bars + 3) maps [coil currents, line current, volts, omega] to
    [new coil currents, new line current, torque]. open_emf: (angles,).
    """

    step: np.ndarray
    open_emf: np.ndarray


@lru_cache(maxsize=8)
def _network(motor: Motor, faults: Faults, step_s: float, angles: int = 4096) -> _Network:
    bars = motor.bars
    coil_ohm, coil_h, coil_k, bar_at, bar_ohm, brush_at, brush_ohm = _parts(motor, faults)
    theta = np.arange(angles) * TURN / angles
    emf = coil_k * _coil_shape(motor, theta[:, None] + bar_at + np.pi / bars)  # (angles, bars)

    touch = np.empty((angles, len(brush_at), bars))
    width = motor.brush_bars * TURN / bars
    for b, at in enumerate(brush_at):
        away = np.abs((theta[:, None] + bar_at - at + np.pi) % TURN - np.pi)
        overlap = np.clip((width + TURN / bars * 0.97) / 2 - away, 0, min(width, TURN / bars * 0.97)) / width
        touch[:, b] = overlap / (brush_ohm[b] + bar_ohm * overlap)
    plus, minus = touch[:, 0::2].sum(axis=1), touch[:, 1::2].sum(axis=1)  # (angles, bars), siemens

    keep = coil_h / step_s  # backward Euler: v = R i + L (i - i_old) / step + omega e
    coil_g = np.linalg.inv(np.diag(coil_ohm) + keep)
    line_keep = motor.choke_h / step_s
    line_g = 1 / (faults.line_ohm + line_keep + 1e-6)
    ring = np.eye(bars) - np.roll(np.eye(bars), 1, axis=0)  # (bar, coil): +1 leaves bar k, -1 enters k + 1
    y = np.zeros((angles, bars + 1, bars + 1))
    y[:, :bars, :bars] = ring @ coil_g @ ring.T
    k = np.arange(bars)
    y[:, k, k] += plus + minus + 1e-9
    y[:, k, bars] = y[:, bars, k] = -plus
    y[:, bars, bars] = plus.sum(axis=1) + line_g
    # Right-hand side of y v = source @ [i_old, line_old, volts, omega].
    source = np.zeros((angles, bars + 1, bars + 3))
    source[:, :bars, :bars] = -ring @ coil_g @ keep
    source[:, :bars, bars + 2] = emf @ (ring @ coil_g).T
    source[:, bars, bars] = line_g * line_keep
    source[:, bars, bars + 1] = line_g
    v = np.linalg.solve(y, source)

    step = np.zeros((angles, bars + 2, bars + 3))
    step[:, :bars] = coil_g @ (v[:, :bars] - np.roll(v[:, :bars], -1, axis=1))
    step[:, :bars, :bars] += coil_g @ keep
    step[:, :bars, bars + 2] -= emf @ coil_g.T
    step[:, bars] = -line_g * v[:, bars]
    step[:, bars, bars] += line_g * line_keep
    step[:, bars, bars + 1] += line_g
    step[:, bars + 1] = np.einsum("ak,akj->aj", emf, step[:, :bars])
    return _Network(step, _open_emf(emf, plus, minus, coil_ohm, ring))


def _open_emf(
    emf: np.ndarray, plus: np.ndarray, minus: np.ndarray, coil_ohm: np.ndarray, ring: np.ndarray
) -> np.ndarray:
    """Voltage a meter of infinite resistance would read between the brushes, per rad/s; shape (angles,)."""
    angles, bars = emf.shape
    k = np.arange(bars)
    y = np.zeros((angles, bars + 1, bars + 1))
    y[:, :bars, :bars] = ring @ np.diag(1 / coil_ohm) @ ring.T
    y[:, k, k] += plus + minus
    y[:, k, bars] = y[:, bars, k] = -plus
    y[:, bars, bars] = plus.sum(axis=1)
    source = np.zeros((angles, bars + 1, 1))
    source[:, :bars, 0] = (emf / coil_ohm) @ ring.T
    return np.linalg.solve(y, source)[:, bars, 0]


def _coil_shape(motor: Motor, at: np.ndarray) -> np.ndarray:
    """Coil EMF against its mechanical angle from the first brush: odd, half-wave symmetric, peak 1."""
    wave = np.sin(at * motor.poles / 2)
    if motor.ramp_deg == 0:
        return wave
    from_gap_deg = np.degrees(np.arcsin(np.abs(wave)))
    rise = np.clip((from_gap_deg - motor.neutral_deg) / motor.ramp_deg, 0, 1)
    return np.sign(wave) * np.sin(np.pi / 2 * rise) ** 2


def _parts(motor: Motor, faults: Faults) -> tuple[np.ndarray, ...]:
    """Each coil, bar and brush with its own small differences and its fault."""
    bars, poles = motor.bars, motor.poles
    size = 0.0 if motor.alike else motor.spread
    rng = np.random.default_rng((motor.spread_seed, bars, poles))

    def around(middle: float, relative: float, n: int) -> np.ndarray:
        return middle * (1 + size * relative * rng.standard_normal(n).clip(-2.5, 2.5))

    at = np.linspace(0, TURN, 4096, endpoint=False)
    mean_shape = np.mean(np.abs(_coil_shape(motor, at)))
    coil_ohm = around(motor.winding_ohm * poles**2 / bars, 0.012, bars)
    coil_h = _inductances(motor)
    coil_k = around(motor.k_e * poles / bars / mean_shape, 0.004, bars)
    bar_at = np.arange(bars) * TURN / bars + size * np.radians(0.25) * rng.standard_normal(bars).clip(-2, 2)
    bar_ohm = np.abs(around(0.004, 0.4, bars))
    bar_ohm *= 1 + 30 * faults.brush_wear  # a worn brush leaves a rough, unevenly filmed commutator
    brush_ohm = around(motor.contact_ohm * poles / 2, 0.08, poles) * (1 + 0.3 * faults.brush_wear)
    brush_at = np.arange(poles) * TURN / poles + size * np.radians(0.5) * rng.standard_normal(poles)
    if faults.open_coil is not None:
        coil_ohm[faults.open_coil] = 1e6
    if faults.shorted_coil is not None:
        coil_ohm[faults.shorted_coil] *= 0.05
        coil_h[faults.shorted_coil] *= 0.05
        coil_h[:, faults.shorted_coil] *= 0.05
        coil_k[faults.shorted_coil] = 0.0
    if faults.isolated_bar is not None:
        bar_ohm[faults.isolated_bar] = 1e6
    if faults.burnt_bar is not None:
        bar_ohm[faults.burnt_bar] += faults.burnt_ohm
    return coil_ohm, coil_h, coil_k, bar_at, bar_ohm, brush_at, brush_ohm


def _inductances(motor: Motor) -> np.ndarray:
    """Self and mutual inductances of the coils, (bars, bars), H, that make winding_h between the brushes."""
    at = (np.arange(motor.bars) + 0.5) * TURN / motor.bars * motor.poles / 2
    share = np.sign(np.sin(at + 1e-6)) / motor.poles  # of the terminal current, in each coil
    leakage, main = np.eye(motor.bars), np.cos(at[:, None] - at)
    return motor.winding_h * (
        motor.leakage_share * leakage / (share @ leakage @ share)
        + (1 - motor.leakage_share) * main / (share @ main @ share)
    )


# --- integration ---------------------------------------------------------------------------------------


class _Run:
    """One motor on one supply: finds the settled speed, then steps network and shaft together."""

    def __init__(self, motor: Motor, faults: Faults, pressure_kpa: float, step_s: float):
        self.motor, self.step_s = motor, step_s
        self.table = _network(motor, faults, step_s).step
        rated_nm = motor.friction_nm + motor.viscous_nm_s * 628.0
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
            + self.restriction * (omega / 628.0) ** 2  # flow follows speed, the drop its square
        )

    def settle(self, theta: float, volts: float, noise: float) -> tuple[float, float]:
        """Find the speed at which mean torque meets the load; leaves the coil currents running there."""
        low, high = 300.0, 900.0
        torque_low, torque_high = self._torque_at(theta, low, volts), self._torque_at(theta, high, volts)
        omega = 600.0
        for _ in range(3):  # torque is nearly straight in speed, the load gently curved
            slope = (torque_high - torque_low) / (high - low)
            for _ in range(20):
                error = torque_low + slope * (omega - low) - self.load_nm(omega) - self.pressure * noise
                omega += error / (self.viscous + 2 * self.restriction * omega / 628.0**2 - slope)
                omega = max(omega, 20.0)
            low, torque_low = omega, self._torque_at(theta, omega, volts)
            high, torque_high = omega * 1.05, self._torque_at(theta, omega * 1.05, volts)
        turns = max(int(4 * TURN / omega / self.step_s), 1)
        _, angle, speed = self.integrate(theta, omega, np.full(turns, volts), np.full(turns, noise), turns)
        return float(angle[-1]), float(speed[-1])

    def _torque_at(self, theta: float, omega: float, volts: float) -> float:
        """Mean torque over two turns at a forced speed, after one turn to settle the currents."""
        turn = max(int(TURN / omega / self.step_s), 8)
        at = theta + omega * self.step_s * np.arange(3 * turn)
        index = np.round(at / TURN * len(self.table)).astype(int) % len(self.table)
        x = self.coils
        bars = self.motor.bars
        x[bars + 2] = omega
        torque = 0.0
        for n, j in enumerate(index.tolist()):
            line = float(x[bars])
            x[bars + 1] = volts - self.drop_v * line / (abs(line) + 0.15)
            y = self.table[j].dot(x)
            x[: bars + 1] = y[: bars + 1]
            if n >= turn:
                torque += float(y[bars + 1])
        return torque / (2 * turn)

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
        pressure, restriction = self.pressure, self.restriction / 628.0**2
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
    supply_v: float,
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
