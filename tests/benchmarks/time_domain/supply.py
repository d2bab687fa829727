"""What feeds the motor: battery, wiring, a running engine's dips, alternator ripple, and a switching driver.

Everything here depends on time alone, so it is laid out on the integration grid before the motor is stepped.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

DIODE_V = 0.7


@dataclass(frozen=True)
class Engine:
    """A running engine as the pump's supply feels it."""

    firing_hz: float
    wander: float  # relative sd of the firing rate, slow
    jitter: float  # relative sd from firing to firing
    cylinders: int
    ignition_v: float  # drop at the end of a coil's dwell
    dwell_s: float
    injector_v: float
    injection_s: float
    cylinder_spread: float
    injection_flow: float  # flow of one injector while open, of the pump's rated flow
    alternator_v: float  # peak to peak
    alternator_order: float  # ripples per firing
    alternator_unequal: float  # one phase weaker: a line at a third of the ripple's rate, of its size


@dataclass(frozen=True)
class Supply:
    """Source and wires; `pwm_hz` 0 is a plain feed."""

    battery_v: float
    wiring_ohm: float
    wiring_h: float
    suppressor_f: float
    wander: float  # relative sd of the volts, slow
    engine: Engine | None = None
    pwm_hz: float = 0.0
    duty: float = 1.0
    pwm_wander: float = 0.0
    on_s: float = -np.inf  # switched on at this time of the record
    off_s: float = np.inf
    sag_per_s: float = 0.0  # heating of a stalled winding seen as falling volts


@dataclass(frozen=True)
class Feed:
    """Source over the grid, shape (steps,): volts, share of each step switched on, fuel taken."""

    volts: NDArray
    on: NDArray
    use: NDArray
    open_wire: NDArray  # True where a relay has opened the wire


def draw_engine(rng: np.random.Generator) -> Engine:
    """An engine at idle or a little above: 22–120 firings a second."""
    cylinders = int(rng.choice([4, 6, 8], p=[0.5, 0.3, 0.2]))
    crank_hz = float(np.exp(rng.uniform(np.log(650), np.log(1800)))) / 60
    firing_hz = float(np.clip(crank_hz * cylinders / 2, 22, 120))
    crank_hz = 2 * firing_hz / cylinders
    alternator_hz = crank_hz * rng.uniform(2.0, 3.0) * rng.choice([6, 8]) * 6
    return Engine(
        firing_hz=firing_hz,
        wander=0.004 * float(np.exp(0.3 * rng.standard_normal())),
        jitter=rng.uniform(0.0005, 0.003),
        cylinders=cylinders,
        ignition_v=rng.uniform(0.03, 0.35),
        dwell_s=rng.uniform(1.2, 3.5) * 1e-3,
        injector_v=rng.uniform(0.01, 0.15),
        injection_s=rng.uniform(1.5, 5.0) * 1e-3,
        cylinder_spread=rng.uniform(0.02, 0.15),
        injection_flow=rng.uniform(0.0, 0.3),
        alternator_v=float(np.exp(rng.uniform(np.log(0.03), np.log(0.6)))),
        alternator_order=alternator_hz / firing_hz,
        alternator_unequal=rng.uniform(0.0, 0.3),
    )


def draw_supply(rng: np.random.Generator, engine: Engine | None = None, low: bool = False) -> Supply:
    """Battery alone or charged by a running engine; `low`: a bad ground or a weak battery."""
    battery_v = rng.uniform(13.4, 14.4) if engine else rng.uniform(11.8, 12.7)
    wiring_ohm = rng.uniform(0.04, 0.14)
    if low:
        if rng.random() < 0.5:
            wiring_ohm += rng.uniform(0.3, 0.8)
        else:
            battery_v -= rng.uniform(2.0, 4.0)
    return Supply(
        battery_v=battery_v,
        wiring_ohm=wiring_ohm,
        wiring_h=rng.uniform(2, 12) * 1e-6,
        suppressor_f=rng.choice([0.1, 1.0, 2.2]) * 1e-6,
        wander=rng.uniform(0.0003, 0.003),
        engine=engine,
    )


def wander(rng: np.random.Generator, count: int, step_s: float, sd: float, relax_s: float) -> NDArray:
    """Ornstein–Uhlenbeck path of `count` steps: knots a fifth of its relaxation apart, joined by lines."""
    knot_s = relax_s / 5
    knots = int(np.ceil(count * step_s / knot_s)) + 2
    keep = np.exp(-knot_s / relax_s)
    path = np.empty(knots)
    path[0] = rng.standard_normal()
    kicks = rng.standard_normal(knots) * np.sqrt(1 - keep**2)
    for knot in range(1, knots):
        path[knot] = keep * path[knot - 1] + kicks[knot]
    return sd * np.interp(np.arange(count) * step_s, np.arange(knots) * knot_s, path)


def lay_out(rng: np.random.Generator, supply: Supply, count: int, step_s: float, start_s: float) -> Feed:
    """The feed over `count` steps, the first one at `start_s` of the record (before 0: warm-up)."""
    time = start_s + (np.arange(count) + 0.5) * step_s
    volts = supply.battery_v * (1 + wander(rng, count, step_s, supply.wander, rng.uniform(0.05, 0.3)))
    volts *= 1 - supply.sag_per_s * np.maximum(time, 0)
    use = np.zeros(count)
    if supply.engine:
        drop, use = _engine_pull(rng, supply.engine, count, step_s)
        volts -= drop
    on = np.ones(count)
    if supply.pwm_hz:
        rate = supply.pwm_hz * (1 + wander(rng, count, step_s, supply.pwm_wander, 0.2))
        edges = rng.random() + np.concatenate([[0.0], np.cumsum(rate) * step_s])
        swept = np.floor(edges) * supply.duty + np.minimum(edges % 1.0, supply.duty)
        on = np.diff(swept) / np.diff(edges)
    dead = (time < supply.on_s) | (time >= supply.off_s)
    on[dead] = 0.0
    return Feed(volts, on, use, dead)


def _engine_pull(
    rng: np.random.Generator, engine: Engine, count: int, step_s: float
) -> tuple[NDArray, NDArray]:
    """Volts that ignition, injectors and alternator take, and the flow injectors take, over the grid."""
    rate = engine.firing_hz * (1 + wander(rng, count, step_s, engine.wander, rng.uniform(0.08, 0.4)))
    phase = rng.random() * engine.cylinders + np.cumsum(rate) * step_s
    drop, use = np.zeros(count), np.zeros(count)
    sizes = 1 + engine.cylinder_spread * rng.standard_normal((2, engine.cylinders))
    firing = np.arange(int(phase[0]), int(phase[-1]) + 2)
    at = np.interp(firing + engine.jitter * rng.standard_normal(firing.size), phase, np.arange(count))
    dwell = max(2, round(min(engine.dwell_s, 0.7 / engine.firing_hz) / step_s))
    ramp = engine.ignition_v * np.arange(1, dwell + 1) / dwell
    spray = max(2, round(min(engine.injection_s, 0.8 / engine.firing_hz) / step_s))
    pull = engine.injector_v * (1 - np.exp(-np.arange(spray) * step_s / 1.2e-3))
    lag = round(rng.uniform(0.2, 0.8) / engine.firing_hz / step_s)
    for number, end in zip(firing, np.round(at).astype(int), strict=True):
        cylinder = number % engine.cylinders
        _add(drop, end - dwell, ramp * sizes[0, cylinder])
        _add(drop, end + lag, pull * sizes[1, cylinder])
        _add(use, end + lag, np.full(spray, engine.injection_flow * sizes[1, cylinder]))
    electric = phase * engine.alternator_order  # whole numbers are ripples
    arch = np.cos((electric % 1.0 - 0.5) * np.pi / 3)
    bottom = np.cos(np.pi / 6)
    drop += engine.alternator_v * (1 - (arch - bottom) / (1 - bottom))
    drop += 0.5 * engine.alternator_v * engine.alternator_unequal * np.cos(2 * np.pi * electric / 3)
    return drop, use


def _add(into: NDArray, start: int, piece: NDArray) -> None:
    first, last = max(start, 0), min(start + piece.size, into.size)
    if first < last:
        into[first:last] += piece[first - start : last - start]
