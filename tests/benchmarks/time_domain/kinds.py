"""The kinds of capture: which pump, fault, supply, probe and record each one draws."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.benchmarks.time_domain.machine import Machine, draw_bars, draw_fan, draw_pump
from tests.benchmarks.time_domain.probe import Probe, draw_probe
from tests.benchmarks.time_domain.supply import Engine, Supply, draw_engine, draw_supply

WARM_S = 0.06
STEP_S = 1e-5


@dataclass(frozen=True)
class Scene:
    """All that is drawn for one motor capture before it is stepped; two pumps on one feed have a `second`."""

    states: frozenset[str]
    machine: Machine
    supply: Supply
    probe: Probe
    record_s: float
    step_s: float = STEP_S
    warm_s: float = WARM_S
    second: Machine | None = None


def _steady(rng: np.random.Generator, machine: Machine, supply: Supply, *states: str) -> Scene:
    """A running pump, recorded long enough and fast enough."""
    rate = float(np.exp(rng.uniform(np.log(2e4), np.log(3e5))))
    probe = draw_probe(rng, 8.0, rate)
    return Scene(frozenset(states), machine, supply, probe, float(rng.uniform(0.08, 0.3)))


def _pump(rng: np.random.Generator, odd: bool | None = None, poles: int = 2) -> Machine:
    return draw_pump(rng, draw_bars(rng, odd, poles), poles)


def _engine_or_not(rng: np.random.Generator, share: float = 0.4) -> Engine | None:
    return draw_engine(rng) if rng.random() < share else None


def _supply(rng: np.random.Generator) -> tuple[Supply, tuple[str, ...]]:
    engine = _engine_or_not(rng)
    return draw_supply(rng, engine), ("engine",) if engine else ()


def healthy(rng: np.random.Generator) -> Scene:
    """Two poles, any bars, engine off (a key-on prime's steady part)."""
    return _steady(rng, _pump(rng), draw_supply(rng), "healthy")


def odd_bars(rng: np.random.Generator) -> Scene:
    """As healthy, bars odd."""
    return _steady(rng, _pump(rng, odd=True), draw_supply(rng), "healthy")


def four_poles(rng: np.random.Generator) -> Scene:
    """As healthy, four poles and brushes."""
    return _steady(rng, _pump(rng, poles=4), draw_supply(rng), "healthy")


def engine_running(rng: np.random.Generator) -> Scene:
    """As healthy, with the engine's dips and alternator on the supply."""
    return _steady(rng, _pump(rng), draw_supply(rng, draw_engine(rng)), "healthy", "engine")


def _driven(rng: np.random.Generator, supply: Supply) -> Machine:
    """A pump whose driver is throttled because less pressure is asked of it."""
    machine = _pump(rng)
    return replace(machine, pressure_nm=machine.pressure_nm * supply.duty)


def fast_pwm(rng: np.random.Generator) -> Scene:
    """A driver at 5–25 kHz, clamp between driver and pump; engine mostly running."""
    engine = _engine_or_not(rng, 0.6)
    supply = replace(
        draw_supply(rng, engine),
        pwm_hz=rng.uniform(5e3, 25e3),
        duty=rng.uniform(0.45, 0.95),
        pwm_wander=rng.choice([0.0, 2e-5, 3e-4]),
    )
    scene = _steady(rng, _driven(rng, supply), supply, "healthy", "pwm", *(("engine",) if engine else ()))
    return replace(scene, step_s=min(STEP_S, 1 / (12 * supply.pwm_hz)), record_s=rng.uniform(0.06, 0.15))


def slow_pwm(rng: np.random.Generator) -> Scene:
    """A driver at 60–400 Hz, the current breathing with it."""
    engine = _engine_or_not(rng, 0.6)
    supply = replace(
        draw_supply(rng, engine),
        pwm_hz=float(np.exp(rng.uniform(np.log(60), np.log(400)))),
        duty=rng.uniform(0.5, 0.95),
        pwm_wander=rng.choice([0.0, 2e-5, 3e-4]),
    )
    return _steady(rng, _driven(rng, supply), supply, "healthy", "pwm", *(("engine",) if engine else ()))


def open_coil(rng: np.random.Generator) -> Scene:
    """One coil open; the bars beside it arc."""
    machine = _pump(rng)
    coil_ohm = machine.coil_ohm.copy()
    coil_ohm[int(rng.integers(machine.bars))] = 1e4
    supply, states = _supply(rng)
    return _steady(rng, replace(machine, coil_ohm=coil_ohm), supply, "open_coil", *states)


def shorted_coil(rng: np.random.Generator) -> Scene:
    """One coil shorted by a few to a few tens of milliohms."""
    machine = _pump(rng)
    short_s = machine.coil_short_s.copy()
    short_s[int(rng.integers(machine.bars))] = 1 / rng.uniform(0.02, 0.2)
    supply, states = _supply(rng)
    return _steady(rng, replace(machine, coil_short_s=short_s), supply, "shorted_coil", *states)


def _bad_bar(rng: np.random.Generator, times: float) -> Machine:
    machine = _pump(rng)
    film = machine.bar_film.copy()
    film[int(rng.integers(machine.bars))] *= times
    return replace(machine, bar_film=film)


def isolated_bar(rng: np.random.Generator) -> Scene:
    """A bar that hardly conducts."""
    supply, states = _supply(rng)
    return _steady(rng, _bad_bar(rng, rng.uniform(150, 1000)), supply, "isolated_bar", *states)


def burnt_bar(rng: np.random.Generator) -> Scene:
    """A bar with a burnt face."""
    supply, states = _supply(rng)
    return _steady(rng, _bad_bar(rng, rng.uniform(5, 30)), supply, "burnt_bar", *states)


def worn_brushes(rng: np.random.Generator) -> Scene:
    """Short brushes on weak springs: more drop, lifts and arcs."""
    machine = _pump(rng)
    machine = replace(
        machine,
        contact_ohm=machine.contact_ohm * rng.uniform(1.5, 5),
        contact_drop_v=machine.contact_drop_v + rng.uniform(0.1, 0.7),
        bounce_hz=float(np.exp(rng.uniform(np.log(20), np.log(400)))),
        bounce_s=rng.uniform(20, 100) * 1e-6,
        bounce_keeps=rng.uniform(0.0, 0.3),
        contact_noise=rng.uniform(0.1, 0.4),
    )
    supply, states = _supply(rng)
    return _steady(rng, machine, supply, "worn_brushes", *states)


def drag(rng: np.random.Generator) -> Scene:
    """A bearing or a jammed pump wheel: friction grown to 2–6 times."""
    machine = _pump(rng)
    supply, states = _supply(rng)
    torque = machine.emf_v_s * 4.0
    machine = replace(machine, friction_nm=machine.friction_nm + torque * rng.uniform(0.3, 1.0))
    return _steady(rng, machine, supply, "drag", *states)


def restriction(rng: np.random.Generator) -> Scene:
    """An outlet filter that clogs: pressure ahead of it up."""
    supply, states = _supply(rng)
    machine = replace(_pump(rng), back_pressure=rng.uniform(0.2, 1.2))
    return _steady(rng, machine, supply, "restriction", *states)


def dry(rng: np.random.Generator) -> Scene:
    """No fuel, or vapour that comes and goes."""
    supply, states = _supply(rng)
    machine = _pump(rng)
    machine = replace(machine, filling=rng.uniform(0.0, 0.3), load_wander=rng.uniform(0.005, 0.03))
    return _steady(rng, machine, supply, "dry", *states)


def low_volts(rng: np.random.Generator) -> Scene:
    """A bad ground, or a weak battery."""
    engine = _engine_or_not(rng)
    supply = draw_supply(rng, engine, low=True)
    return _steady(rng, _pump(rng), supply, "low_volts", *(("engine",) if engine else ()))


def stalled(rng: np.random.Generator) -> Scene:
    """A shaft that does not turn, on full volts."""
    supply, states = _supply(rng)
    supply = replace(supply, sag_per_s=rng.uniform(0.0, 0.1))
    scene = _steady(rng, replace(_pump(rng), locked=True), supply, "stalled", *states)
    return replace(scene, probe=draw_probe(rng, 25.0, scene.probe.sample_rate_hz))


def inrush(rng: np.random.Generator) -> Scene:
    """Switched on within the record, still running at its end."""
    scene = _steady(rng, _pump(rng), draw_supply(rng), "healthy")
    supply = replace(scene.supply, on_s=rng.uniform(0.005, 0.05))
    probe = draw_probe(rng, 20.0, min(scene.probe.sample_rate_hz, 1e5))
    return replace(scene, supply=supply, probe=probe, record_s=rng.uniform(0.3, 0.6), warm_s=0.0)


def prime(rng: np.random.Generator) -> Scene:
    """A key-on prime from off to off, shortened; recorded at a rate that holds it."""
    scene = _steady(rng, _pump(rng), draw_supply(rng), "healthy")
    on_s, run_s = rng.uniform(0.03, 0.15), rng.uniform(0.5, 1.2)
    supply = replace(scene.supply, on_s=on_s, off_s=on_s + run_s)
    probe = draw_probe(rng, 20.0, float(np.exp(rng.uniform(np.log(1e4), np.log(1e5)))))
    record_s = on_s + run_s + rng.uniform(0.05, 0.2)
    return replace(scene, supply=supply, probe=probe, record_s=record_s, warm_s=0.0, step_s=2e-5)


def short(rng: np.random.Generator) -> Scene:
    """One screen: one to six turns."""
    supply, states = _supply(rng)
    scene = _steady(rng, _pump(rng), supply, "healthy", *states)
    turn_s = 2 * np.pi / scene.machine.rated_rad_s
    rate = max(scene.probe.sample_rate_hz, 5e4)
    return replace(
        scene, record_s=turn_s * rng.uniform(1.0, 6.0), probe=replace(scene.probe, sample_rate_hz=rate)
    )


def slow_sampling(rng: np.random.Generator) -> Scene:
    """Three to nine samples a ripple."""
    supply, states = _supply(rng)
    scene = _steady(rng, _pump(rng), supply, "healthy", *states)
    machine = scene.machine
    ripple_hz = np.lcm(machine.bars, machine.poles) * machine.rated_rad_s / (2 * np.pi)
    probe = replace(scene.probe, sample_rate_hz=float(ripple_hz * rng.uniform(3.0, 9.0)))
    return replace(scene, probe=probe, record_s=rng.uniform(0.2, 0.5))


def coarse(rng: np.random.Generator) -> Scene:
    """Steps of the recorder about as high as half of the ripple."""
    supply, states = _supply(rng)
    scene = _steady(rng, _pump(rng), supply, "healthy", *states)
    step_a = rng.uniform(0.02, 0.08) * 6.0
    probe = replace(scene.probe, step_a=step_a, noise_a=step_a * rng.uniform(0.0, 0.4))
    return replace(scene, probe=probe)


def bars_alike(rng: np.random.Generator) -> Scene:
    """Nothing in the motor tells one coil, bar, pole or turn from the next."""
    machine = draw_pump(rng, draw_bars(rng), 2, alike=True)
    return _steady(rng, machine, draw_supply(rng), "healthy", "alike")


def fan(rng: np.random.Generator) -> Scene:
    """The clamp on a blower's wire."""
    engine = _engine_or_not(rng)
    scene = _steady(rng, draw_fan(rng), draw_supply(rng, engine), "foreign", *(("engine",) if engine else ()))
    return replace(scene, record_s=rng.uniform(0.1, 0.35), warm_s=0.12)


def two_pumps(rng: np.random.Generator) -> Scene:
    """The clamp on the feed of two pumps."""
    supply, states = _supply(rng)
    scene = _steady(rng, _pump(rng), supply, "foreign", *states)
    bars = scene.machine.bars if rng.random() < 0.5 else draw_bars(rng)
    return replace(
        scene, second=draw_pump(rng, bars, 2), probe=draw_probe(rng, 16.0, scene.probe.sample_rate_hz)
    )


MOTORS: dict[str, Callable[[np.random.Generator], Scene]] = {
    draw.__name__: draw
    for draw in (
        healthy,
        odd_bars,
        four_poles,
        engine_running,
        fast_pwm,
        slow_pwm,
        open_coil,
        shorted_coil,
        isolated_bar,
        burnt_bar,
        worn_brushes,
        drag,
        restriction,
        dry,
        low_volts,
        stalled,
        inrush,
        prime,
        short,
        slow_sampling,
        coarse,
        bars_alike,
        fan,
        two_pumps,
    )
}
