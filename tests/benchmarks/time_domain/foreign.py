"""Records without a brushed motor: an alternator's load, a brushless pump's feed, noise, a flat current."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.benchmarks.time_domain.probe import draw_probe, in_band, sampled
from tests.benchmarks.time_domain.supply import Supply, draw_engine, draw_supply, lay_out, wander
from tests.benchmarks.time_domain.truth import Truth

STEP_S = 1e-5


def _low_pass(series: NDArray, relax_s: float) -> NDArray:
    keep = np.exp(-STEP_S / relax_s)
    return series[0] + lfilter([1 - keep], [1, -keep], series - series[0])


def alternator(rng: np.random.Generator) -> tuple[NDArray, Supply, float]:
    """Lamps or a module on a running engine's supply: R and L, nothing that turns."""
    supply = draw_supply(rng, draw_engine(rng))
    feed = lay_out(rng, supply, int(rng.uniform(0.08, 0.3) / STEP_S), STEP_S, 0.0)
    return (
        _low_pass(feed.volts / (supply.battery_v / rng.uniform(2.5, 9.0)), rng.uniform(0.02, 0.5) * 1e-3),
        supply,
        9.0,
    )


def brushless(rng: np.random.Generator) -> tuple[NDArray, Supply, float]:
    """Feed of a six-step brushless driver: i = duty × phase current, which dips at each commutation.

    Between commutations L di/dt = d·V − R i − e(θ); at one the current drops by the
    outgoing phase's share.
    The driver chops at 8–25 kHz behind a filter of its own.
    """
    engine = draw_engine(rng) if rng.random() < 0.6 else None
    supply = draw_supply(rng, engine)
    count = int(rng.uniform(0.06, 0.2) / STEP_S)
    feed = lay_out(rng, supply, count, STEP_S, 0.0)
    amps, duty = rng.uniform(3.0, 8.0), rng.uniform(0.5, 1.0)
    pole_pairs = int(rng.choice([2, 3, 4]))
    speed_hz = rng.uniform(50, 160) * (1 + wander(rng, count, STEP_S, 0.002, 0.1))
    sixths = 6 * pole_pairs * np.cumsum(speed_hz) * STEP_S
    phase_a, ohm = amps / duty, 0.15 * supply.battery_v * duty / (amps / duty)
    relax_s = rng.uniform(0.1, 0.4) * 1e-3
    keep = np.exp(-STEP_S / relax_s)
    unlike = 1 + 0.03 * rng.standard_normal(6 * pole_pairs)
    sag = 0.05 * rng.uniform(0.3, 2.0)
    place = sixths % 1.0
    which = np.floor(sixths).astype(int) % unlike.size
    emf = 0.85 * supply.battery_v * duty * unlike[which] * (1 - sag * (2 * place - 1) ** 2)
    target = (feed.volts * duty - emf) / ohm
    current = np.empty(count)
    now, drop = phase_a, rng.uniform(0.03, 0.25)
    turned = np.diff(np.floor(sixths), prepend=np.floor(sixths[0])) > 0
    for step in range(count):
        if turned[step]:
            now *= 1 - drop
        now = target[step] + (now - target[step]) * keep
        current[step] = max(now, 0.0)
    chopped = 1 + rng.uniform(0.05, 0.4) * np.sign(
        np.sin(2 * np.pi * rng.uniform(8e3, 25e3) * np.arange(count) * STEP_S)
    )
    return _low_pass(current * duty * chopped, rng.uniform(0.03, 0.4) * 1e-3), supply, 12.0


def noise(rng: np.random.Generator) -> tuple[NDArray, Supply, float]:
    """A clamp on a dead wire."""
    return np.zeros(int(rng.uniform(0.05, 0.3) / STEP_S)), draw_supply(rng), 4.0


def flat_high(rng: np.random.Generator) -> tuple[NDArray, Supply, float]:
    """A high level current without ripple, as through a short behind a resistance."""
    engine = draw_engine(rng) if rng.random() < 0.3 else None
    supply = draw_supply(rng, engine)
    count = int(rng.uniform(0.08, 0.3) / STEP_S)
    feed = lay_out(rng, supply, count, STEP_S, 0.0)
    heating = np.exp(-np.arange(count) * STEP_S * rng.uniform(0.0, 0.3))
    return _low_pass(feed.volts / (supply.battery_v / rng.uniform(11, 28)) * heating, 0.5e-3), supply, 28.0


FOREIGN: dict[str, Callable[[np.random.Generator], tuple[NDArray, Supply, float]]] = {
    draw.__name__: draw for draw in (alternator, brushless, noise, flat_high)
}


def record(rng: np.random.Generator, kind: str) -> tuple[float, NDArray, Truth]:
    """Sample rate, samples and truth of one foreign record."""
    current, supply, high_a = FOREIGN[kind](rng)
    probe = draw_probe(rng, high_a, float(np.exp(rng.uniform(np.log(2e4), np.log(3e5)))))
    if kind == "noise":
        probe = replace(probe, noise_a=0.002, step_a=0.0005)
    seen = in_band(current, probe, STEP_S)
    samples = sampled(rng, seen, probe, STEP_S, 0.0)
    engine = supply.engine
    truth = Truth(
        kind=kind,
        states=frozenset({"foreign", *(("engine",) if engine else ())}),
        step_s=STEP_S,
        start_s=0.0,
        current_a=current.astype(np.float32),
        seen_a=seen.astype(np.float32),
        turns=None,
        bars=None,
        poles=None,
        settled_from_s=0.0,
        settled_to_s=current.size * STEP_S,
        offset_a=probe.offset_a,
        supply_v=supply.battery_v,
        duty=1.0,
        pwm_hz=0.0,
        firing_hz=engine.firing_hz if engine else 0.0,
        alternator_hz=engine.firing_hz * engine.alternator_order if engine else 0.0,
        bandwidth_hz=probe.bandwidth_hz,
        noise_a=probe.noise_a,
        step_a=probe.step_a,
    )
    return probe.sample_rate_hz, samples, truth
