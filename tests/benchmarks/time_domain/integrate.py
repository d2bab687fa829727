"""Step many motors through time: coils and brushes, shaft and load, line and regulator."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.time_domain.circuit import (
    ARC_LEAST_A,
    ARC_RELAX_S,
    LEAK_S,
    Stack,
    covered,
    field,
    stack,
)
from tests.benchmarks.time_domain.machine import Machine
from tests.benchmarks.time_domain.supply import DIODE_V, Feed, Supply

OPEN_OHM = 1e5
OPENING_OHM = 50.0  # a relay's arc carries the wire's last current for a millisecond
OPENING_S = 1e-3
ENERGIES = ("source", "copper", "contact", "iron", "shaft", "stored", "lost")
LIGHT = 0.2  # inertia while warming up, of the true one, so that speed settles soon


@dataclass(frozen=True)
class Run:
    """What is stepped for one motor; series are laid out beforehand, `contact` as (steps, b)."""

    machine: Machine
    supply: Supply
    feed: Feed
    contact: NDArray  # share of the contact that each brush has
    load: NDArray  # torque wander, about 1
    arc: NDArray  # arc volts, of the machine's
    at_speed: bool  # starts running, with a warm-up before the record
    first_angle: float


@dataclass(frozen=True)
class Trace:
    """One motor over the grid, shape (steps,), and its energies in J over the audited part."""

    current_a: NDArray
    turns: NDArray
    energy: dict[str, float]


@dataclass(frozen=True)
class _Electric:
    """Currents and volts of all motors: coil and bar_v (n, c), wire and brush_v (n,), the rest (n, c, b)."""

    coil: NDArray
    bar_v: NDArray
    wire: NDArray
    brush_v: NDArray
    through: NDArray
    gap_v: NDArray
    arc_s: NDArray


@dataclass
class _Shaft:
    angle: NDArray
    speed: NDArray
    pressure: NDArray
    lift: NDArray


def step_through(runs: Sequence[Run], step_s: float, light_steps: int, audit_from: int) -> list[Trace]:
    """Integrate `runs` (one number of poles and of steps); energies are summed from step `audit_from` on."""
    machines = [run.machine for run in runs]
    motors = stack(machines, [run.supply for run in runs], step_s)
    count, width = motors.used.shape
    steps = runs[0].feed.volts.size
    on, use, load, arc = (
        np.stack(series, axis=1)
        for series in (
            [run.feed.on for run in runs],
            [run.feed.use for run in runs],
            [run.load for run in runs],
            [run.arc for run in runs],
        )
    )
    source = np.stack([source_v(run.feed) for run in runs], axis=1)
    contact = np.stack([run.contact for run in runs], axis=1).astype(np.float32)
    wire_ohm = wire_ohms(motors, np.stack([run.feed.open_wire for run in runs], axis=1), step_s)
    constant = {name: np.array([getattr(machine, name) for machine in machines]) for name in _LOAD}
    shaft = _Shaft(*np.stack([start_of(run) for run in runs], axis=1))
    touching = (count, width, motors.plus.size)
    now = _Electric(
        *(np.zeros((count, width)), np.zeros((count, width)), np.zeros(count), np.zeros(count)),
        *(np.zeros(touching), np.zeros(touching), np.zeros(touching)),
    )
    current, turns = np.empty((steps, count), np.float32), np.empty((steps, count))
    energy = {name: np.zeros(count) for name in ENERGIES}
    for step in range(steps):
        blocked = (on[step] < 1e-9) & (now.wire <= 1e-3)
        ohms = np.where(blocked, OPEN_OHM, wire_ohm[step])
        arc_v = motors.arc_v * arc[step][:, None, None]
        emf = motors.emf_v_s * field(motors, shaft.angle[:, None])
        was = now
        now = _electric_step(motors, was, shaft, emf, source[step], ohms, contact[step], arc_v)
        drive = np.einsum("nc,nc->n", emf, now.coil)
        if step >= audit_from:
            _audit(energy, motors, was, now, source[step], ohms)
            energy["shaft"] += step_s * drive * shaft.speed
        light = LIGHT if step < light_steps else 1.0
        _turn(shaft, constant, drive, load[step], use[step], step_s, light)
        current[step] = now.wire
        turns[step] = shaft.angle
    turns /= 2 * np.pi
    return [
        Trace(current[:, n], turns[:, n], {name: float(value[n]) for name, value in energy.items()})
        for n in range(count)
    ]


def _electric_step(
    motors: Stack,
    was: _Electric,
    shaft: _Shaft,
    emf: NDArray,
    source: NDArray,
    ohms: NDArray,
    contact: NDArray,
    arc_v: NDArray,
) -> _Electric:
    """One step of coils, brushes and wire.

    A contact conducts as far as it covers the bar, against its film and a drop that hardly grows with
    current. Where it breaks, an arc goes on conducting what it carried until that falls off (Cassie: a
    constant arc voltage, with a lag).
    """
    step_s, width = motors.step_s, motors.used.shape[1]
    cover = covered(motors, shaft.angle[:, None])
    strength = np.abs(was.through)
    density = strength / np.maximum(cover, 0.05)
    hot = np.where(strength > ARC_LEAST_A, strength / arc_v, 0.0)
    arc_s = was.arc_s + (hot - was.arc_s) * min(1.0, step_s / ARC_RELAX_S)
    solid = cover * contact[:, None, :] / (motors.film + motors.drop_v / (density + 0.5))
    touch = (solid + arc_s) * motors.used[:, :, None]
    back = emf * shaft.speed[:, None]
    carried = (motors.keep @ was.coil[:, :, None] - motors.give @ back[:, :, None])[:, :, 0]
    series, held = ohms + motors.wire_h / step_s, motors.suppressor_f / step_s
    fed = (touch * motors.plus).sum(2)
    bar = np.arange(width)
    matrix = motors.network.copy()
    matrix[:, bar, bar] += touch.sum(2)
    matrix[:, :width, width] = -fed
    matrix[:, width, :width] = -fed
    matrix[:, width, width] = fed.sum(1) + 1 / series + held
    right = np.empty((was.wire.size, width + 1))
    right[:, :width] = np.take_along_axis(carried, motors.before, 1) - carried
    driven = source + motors.wire_h / step_s * was.wire
    right[:, width] = driven / series + held * was.brush_v
    solved = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
    bar_v, brush_v = solved[:, :width], solved[:, width]
    gap_v = brush_v[:, None, None] * motors.plus - bar_v[:, :, None]
    return _Electric(
        coil=carried + (motors.push @ bar_v[:, :, None])[:, :, 0],
        bar_v=bar_v,
        wire=(driven - brush_v) / series,
        brush_v=brush_v,
        through=touch * gap_v,
        gap_v=gap_v,
        arc_s=arc_s,
    )


_LOAD = (
    *("inertia_kg_m2", "friction_nm", "viscous_nm_s", "pressure_nm", "fan_nm_s2", "uneven_turn", "vanes"),
    *("uneven_vane", "cogging_nm", "rated_rad_s", "filling", "back_pressure", "regulator_droop"),
    *("regulator_s", "line_s", "leak", "locked", "bars", "poles"),
)


def _turn(
    shaft: _Shaft,
    constant: dict[str, NDArray],
    drive: NDArray,
    load: NDArray,
    use: NDArray,
    step_s: float,
    light: float,
) -> None:
    """Move shaft and line by one step, in place."""
    c, speed = constant, shaft.speed
    share = np.maximum(speed, 0.0) / c["rated_rad_s"]
    flow = c["filling"] * (1 + c["leak"]) * share - c["leak"] * shaft.pressure
    target = np.maximum(0.0, (shaft.pressure - 1 + c["regulator_droop"]) / c["regulator_droop"])
    shaft.lift += (target - shaft.lift) * np.minimum(1.0, step_s / c["regulator_s"])
    relieved = shaft.lift * np.sqrt(np.maximum(shaft.pressure, 0.0))
    shaft.pressure = np.maximum(0.0, shaft.pressure + step_s / c["line_s"] * (flow - relieved - use))
    ahead = shaft.pressure + c["back_pressure"] * np.maximum(flow, 0.0) ** 2
    uneven = 1 + c["uneven_turn"] * np.cos(shaft.angle) + c["uneven_vane"] * np.cos(c["vanes"] * shaft.angle)
    torque = c["friction_nm"] * np.minimum(1.0, np.abs(speed) / 5.0) + c["viscous_nm_s"] * speed
    torque += c["pressure_nm"] * ahead * uneven * (0.3 + 0.7 * c["filling"]) + c[
        "fan_nm_s2"
    ] * speed * np.abs(speed)
    teeth = np.lcm(c["bars"], c["poles"])
    torque = torque * load + c["cogging_nm"] * np.sin(teeth * shaft.angle)
    moved = speed + step_s * (drive - torque) / (c["inertia_kg_m2"] * light)
    shaft.speed = np.where(c["locked"], 0.0, np.maximum(moved, 0.0))
    shaft.angle = shaft.angle + step_s * shaft.speed


def source_v(feed: Feed) -> NDArray:
    """Volts of the source over the grid (steps,); switched off, the current runs on through a diode."""
    return feed.volts * feed.on - DIODE_V * (1 - feed.on)


def start_of(run: Run) -> NDArray:
    """Angle, speed, pressure and the regulator's lift at the first step, (4,)."""
    running = float(run.at_speed and not run.machine.locked)
    speed = running and run.machine.rated_rad_s * _expected_speed(run)
    return np.array([run.first_angle, speed, running, running])


def _expected_speed(run: Run) -> float:
    """Speed at which V = R I + k ω meets the load at rated pressure, of the rated speed."""
    machine = run.machine
    on = run.supply.duty if run.supply.pwm_hz else 1.0
    volts = run.supply.battery_v * on - 2 * machine.contact_drop_v - DIODE_V * (1 - on)
    ohms = machine.armature_ohm + run.supply.wiring_ohm + 2 * machine.contact_ohm
    finite = machine.coil_ohm < 1e3
    ohms = ohms if finite.all() else ohms * 1.6
    speed = machine.rated_rad_s
    for _ in range(20):
        pressure = machine.pressure_nm * (1 + machine.back_pressure) * (0.3 + 0.7 * machine.filling)
        pressure *= min(1.0, machine.filling * 1.2)
        torque = machine.friction_nm + machine.viscous_nm_s * speed + pressure + machine.fan_nm_s2 * speed**2
        speed = 0.5 * speed + 0.5 * max(0.0, (volts - ohms * torque / machine.emf_v_s) / machine.emf_v_s)
    return speed / machine.rated_rad_s


def wire_ohms(motors: Stack, open_wire: NDArray, step_s: float) -> NDArray:
    """Wire resistance over the grid (steps, n); a relay opens over a millisecond."""
    steps = open_wire.shape[0]
    ohms = np.where(open_wire, OPEN_OHM, motors.wire_ohm)
    opened = np.zeros_like(open_wire)
    opened[1:] = open_wire[1:] & ~open_wire[:-1]
    lasting = round(OPENING_S / step_s)
    for step, motor in np.argwhere(opened):
        ohms[step : min(step + lasting, steps), motor] = OPENING_OHM
    return ohms


def _after(motors: Stack) -> NDArray:
    number = np.arange(motors.used.shape[1])[None, :]
    return np.where(number + 1 < motors.bars, number + 1, np.where(number < motors.bars, 0, number))


def _audit(
    energy: dict[str, NDArray],
    motors: Stack,
    was: _Electric,
    now: _Electric,
    source: NDArray,
    ohms: NDArray,
) -> None:
    """Add one step's energies; `lost` is what backward Euler takes beyond the circuit's own losses."""
    step_s = motors.step_s
    moved, jumped = now.coil - was.coil, now.wire - was.wire
    across = now.bar_v - np.take_along_axis(now.bar_v, _after(motors), 1)
    iron = (motors.across_s * across**2).sum(1) + LEAK_S * (now.bar_v**2).sum(1)
    energy["source"] += step_s * source * now.wire
    energy["copper"] += step_s * (ohms * now.wire**2 + (motors.coil_ohm * now.coil**2).sum(1))
    energy["contact"] += step_s * (now.through * now.gap_v).sum((1, 2))
    energy["iron"] += step_s * iron
    energy["stored"] += 0.5 * (
        np.einsum("ni,nij,nj->n", now.coil, motors.inductance, now.coil)
        - np.einsum("ni,nij,nj->n", was.coil, motors.inductance, was.coil)
        + motors.wire_h * (now.wire**2 - was.wire**2)
        + motors.suppressor_f * (now.brush_v**2 - was.brush_v**2)
    )
    energy["lost"] += 0.5 * (
        np.einsum("ni,nij,nj->n", moved, motors.inductance, moved)
        + motors.wire_h * jumped**2
        + motors.suppressor_f * (now.brush_v - was.brush_v) ** 2
    )
