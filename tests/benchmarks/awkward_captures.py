"""A hundred awkward captures by a small network of coils, to which nothing of the measuring was tuned.

    python -m tests.benchmarks.awkward_captures --seed 1 --per-kind 10

A commutator motor of two parallel paths between two brushes, solved at every instant: coils of unlike
resistance and field, an eccentric rotor, a dead bar that arcs. Then what a bay adds: too slow a recorder,
eight bits that clip, a load that drifts, a running engine, a chopped feed whose clock folds onto the ripple,
a few turns. Prints answers, gross ones (over 1 % off) with exact upper 95 % bounds, and each gross one.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter

from ingest import measure
from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.known_pump import KnownPump
from tests.benchmarks.time_domain.judge import share

FINE_HZ = 200_000.0
BAR_SHARE = {6: 1, 7: 2, 8: 4, 9: 2, 10: 2, 11: 1, 12: 2}


@dataclass(frozen=True)
class Motor:
    """Two poles; spreads and eccentricity are shares of the mean, times in s, speeds in rpm."""

    bars: int
    rpm: float
    mean_a: float
    coil_spread: float
    field_spread: float
    eccentric: float
    brush_bars: float  # brush width in bars
    winding_s: float
    open_coil: bool
    drift: float  # of speed from the record's start to its end
    wander: float
    record_s: float


@dataclass(frozen=True)
class Bay:
    """Recorder and surroundings; amplitudes are shares of the ripple, peak to peak."""

    samples_a_ripple: float
    bits: int
    clip: float  # share of the ripple's height beyond the recorder's range
    noise: float
    sparks_a_turn: float
    firing_hz: float
    firing: float
    chop: float  # a clock that folds to within 3 % of the ripple's line or its double


def draw(rng: np.random.Generator) -> tuple[Motor, Bay]:
    """A usual pump in a quiet bay."""
    bars = int(rng.choice(list(BAR_SHARE), p=np.array(list(BAR_SHARE.values())) / sum(BAR_SHARE.values())))
    motor = Motor(
        bars,
        float(rng.uniform(3800, 8500)),
        float(rng.uniform(3, 9)),
        float(rng.uniform(0.005, 0.03)),
        float(rng.uniform(0.002, 0.015)),
        float(rng.uniform(0, 0.02)),
        float(rng.uniform(0.6, 1.4)),
        float(rng.uniform(0.03, 0.2)) * 1e-3,
        False,
        0.0,
        0.001,
        float(rng.uniform(0.12, 0.4)),
    )
    return motor, Bay(float(rng.uniform(15, 60)), 12, 0.0, 0.02, 0.0, 0.0, 0.0, 0.0)


def unlike_bars(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """Coils that differ by a tenth or three."""
    return replace(motor, coil_spread=rng.uniform(0.08, 0.3), field_spread=rng.uniform(0.02, 0.08)), bay


def eccentric(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """A rotor out of centre."""
    return replace(motor, eccentric=rng.uniform(0.05, 0.25)), bay


def dead_bar(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """An open coil that arcs."""
    return replace(motor, open_coil=True), replace(bay, sparks_a_turn=rng.uniform(0.3, 4))


def slow(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """Three to nine samples a ripple."""
    return motor, replace(bay, samples_a_ripple=rng.uniform(3, 9))


def clipped(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """Six to eight bits over a range that cuts the tops, or is far too wide."""
    return motor, replace(bay, bits=int(rng.integers(6, 9)), clip=rng.choice([0.0, 0.15, 0.4]))


def drifting(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """A load that changes within the record."""
    return replace(motor, drift=rng.uniform(-0.15, 0.15), wander=rng.uniform(0.002, 0.01)), bay


def engine(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """Firing, its harmonics and an alternator on the feed."""
    return motor, replace(bay, firing_hz=rng.uniform(22, 120), firing=rng.uniform(0.1, 1.2))


def chopped(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """A clock that sampling folds to beside the ripple."""
    return motor, replace(bay, chop=rng.uniform(0.1, 1.5))


def few_turns(rng: np.random.Generator, motor: Motor, bay: Bay) -> tuple[Motor, Bay]:
    """One and a half turns to eight."""
    return replace(motor, record_s=rng.uniform(1.5, 8) * 60 / motor.rpm), bay


ALONE: dict[str, Callable[[np.random.Generator, Motor, Bay], tuple[Motor, Bay]]] = {
    make.__name__: make
    for make in (unlike_bars, eccentric, dead_bar, slow, clipped, drifting, engine, chopped, few_turns)
}
KINDS = (*ALONE, "two_at_once")


def make(seed: int, kind: str, number: int) -> tuple[Capture, Motor, np.ndarray]:
    """One capture, its motor and its turns at the samples (n,)."""
    rng = np.random.default_rng([seed, KINDS.index(kind), number])
    motor, bay = draw(rng)
    kinds = rng.choice(list(ALONE), 2, replace=False) if kind == "two_at_once" else (kind,)
    for one in kinds:
        motor, bay = ALONE[one](rng, motor, bay)
    turns, current = running(rng, motor)
    return recorded(rng, motor, bay, turns, current)


def running(rng: np.random.Generator, motor: Motor) -> tuple[np.ndarray, np.ndarray]:
    """Turns and current (n,) on the fine grid."""
    n, bars = int(motor.record_s * FINE_HZ), motor.bars
    place = np.linspace(-0.5, 0.5, n)
    keep = np.exp(-1 / (0.03 * FINE_HZ))
    slow = lfilter([np.sqrt(1 - keep**2)], [1, -keep], rng.standard_normal(n))
    speed = motor.rpm / 60 * (1 + motor.drift * place + motor.wander * slow)
    turns = rng.random() + np.cumsum(speed) / FINE_HZ
    ohm = 1 + motor.coil_spread * rng.standard_normal(bars)
    field = 1 + motor.field_spread * rng.standard_normal(bars)
    dead = int(rng.integers(bars)) if motor.open_coil else -1
    half_width = 0.5 * motor.brush_bars / bars
    paths = {side: [np.zeros(n), np.full(n, 1e-3)] for side in (1, -1)}  # emf, ohm
    for coil in range(bars):
        angle = (turns + coil / bars) % 1.0
        field_seen = np.tanh(3 * np.sin(2 * np.pi * angle)) * (
            1 + motor.eccentric * np.cos(2 * np.pi * turns)
        )
        for side, (emf, resistance) in paths.items():
            on_side = (angle < 0.5) == (side == 1)
            from_brush = np.minimum(angle % 0.5, 0.5 - angle % 0.5)  # 0 under a brush
            own = np.where(on_side, from_brush, -from_brush)
            inside = np.clip((own + half_width) / (2 * half_width), 0, 1)
            emf += inside * np.abs(field_seen) * field[coil] * 2 / bars
            resistance += inside * ohm[coil] * (25.0 if coil == dead else 1.0) * 2 / bars
    drive = 1 + rng.uniform(0.15, 0.35)
    current = sum((drive - emf) / resistance for emf, resistance in paths.values())
    keep = np.exp(-1 / (motor.winding_s * FINE_HZ))
    current = lfilter([1 - keep], [1, -keep], current, zi=[keep * current[0]])[0]
    return turns, current / current.mean() * motor.mean_a


def recorded(
    rng: np.random.Generator, motor: Motor, bay: Bay, turns: np.ndarray, current: np.ndarray
) -> tuple[Capture, Motor, np.ndarray]:
    """What the recorder makes of it."""
    ripples = int(np.lcm(2, motor.bars))
    ripple_hz = motor.rpm / 60 * ripples
    every = max(round(FINE_HZ / (bay.samples_a_ripple * ripple_hz)), 1)
    rate, height = FINE_HZ / every, float(np.ptp(current))
    time = np.arange(len(current)) / FINE_HZ
    for _ in range(rng.poisson(bay.sparks_a_turn * motor.record_s * motor.rpm / 60)):
        at = int(rng.integers(len(current)))
        current[at : at + int(rng.integers(2, 20))] += rng.uniform(-2, 2) * height
    if bay.firing:
        slow = np.interp(time, np.linspace(0, time[-1], 9), rng.standard_normal(9))
        phase = np.cumsum(bay.firing_hz * (1 + 0.004 * slow)) / FINE_HZ
        for k, part in zip((0.5, 1, 2, 3, 4), (0.2, 1, 0.5, 0.3, 0.2), strict=True):
            current = (
                current - bay.firing * height * part * np.cos(2 * np.pi * k * phase + rng.uniform(0, 6.3)) / 4
            )
        current = current + 0.15 * bay.firing * height * np.cos(2 * np.pi * rng.uniform(12, 36) * phase)
    taps = np.ones(every) / every
    seen = np.convolve(current, taps, mode="same")[every // 2 :: every]
    if bay.chop:
        clock_hz = rate - rng.choice([1, 2]) * ripple_hz * rng.uniform(0.97, 1.03)
        at = np.arange(len(seen)) / rate
        seen = seen + bay.chop * height / 2 * np.cos(2 * np.pi * clock_hz * (1 + 2e-5) * at)
    low = 0.0 if rng.random() < 0.5 else current.min() - 0.3 * height
    top = np.quantile(current, 0.999) - bay.clip * height + (0.1 * height if not bay.clip else 0.0)
    code = max(top - low, height) / 2**bay.bits
    noisy = seen + bay.noise * height * rng.standard_normal(len(seen))
    samples = np.clip(np.round(noisy / code) * code, None, top)
    return Capture(samples, rate), motor, turns[every // 2 :: every]


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--per-kind", type=int, default=10)
    args = parser.parse_args()
    counts: Counter[tuple[str, str, str]] = Counter()
    for kind in KINDS:
        for number in range(args.per_kind):
            capture, motor, turns = make(args.seed, kind, number)
            rng = np.random.default_rng([args.seed, KINDS.index(kind), number, 5])
            last = motor.rpm * float(np.exp(0.05 * rng.standard_normal()))
            for way, known in (
                ("told", KnownPump(segments=motor.bars)),
                ("previous", KnownPump(segments=motor.bars, previous_rpm=last)),
                ("untold", KnownPump()),
            ):
                counts[kind, way, judged(capture, turns, known, f"{kind} {number} {way} {motor}")] += 1
    for way in ("told", "previous", "untold"):
        for kind in (*KINDS, "all"):
            own = [counts[k, way, "gross"] for k in KINDS if kind in (k, "all")]
            right = [counts[k, way, "right"] for k in KINDS if kind in (k, "all")]
            told = share(sum(own), sum(own) + sum(right))
            print(f"{way:9} {kind:12} gross of answers {told}, of {args.per_kind * len(own)} captures")


def judged(capture: Capture, turns: np.ndarray, known: KnownPump, what: str) -> str:
    """`right`, `gross` or `none`; gross ones are printed."""
    try:
        reading = measure(capture, known)
    except CaptureRefused:
        return "none"
    if reading.rpm is None:
        return "none"
    first, last = (
        min(round((at or 0.0) * capture.sample_rate_hz), len(turns) - 1)
        for at in (reading.steady_from_s, reading.steady_to_s)
    )
    rpm = 60 * (turns[last] - turns[first]) / (last - first) * capture.sample_rate_hz
    if abs(reading.rpm / rpm - 1) <= 0.01:
        return "right"
    print(
        f"{reading.rpm / rpm:.4f} at {reading.speed_confidence:.4f}: {what} {[n.code for n in reading.notes]}"
    )
    return "gross"


if __name__ == "__main__":
    main()
