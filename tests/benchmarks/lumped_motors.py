"""A third kind of motor, lumped where the time-domain one is a network: one winding, dips by commutation.

    python -m tests.benchmarks.lumped_motors --seed 1 --per-kind 16

One current and one speed: L di/dt = u - R(θ) i - k ω g(θ) - drop, J dω/dt = k i g(θ) - load. Each bar that
passes a brush takes a notch out of g and R, as high and wide as that bar and that brush make it. Supply,
engine, clamp and recorder are drawn by other rules than the time-domain study's, so that what was tuned on
that one meets captures unlike it. Written to attack the measuring, and never tuned to.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest import measure
from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.known_pump import KnownPump
from tests.benchmarks.time_domain.judge import share

STEP_S = 2e-5
WARM_S = 0.08
KINDS = (
    "clean", "odd", "four poles", "gear", "engine", "rough brushes", "dead bar", "slow", "hot wire",
    "narrow clamp", "coarse", "switched", "two", "fan", "lamp",
)  # fmt: skip
NO_PUMP = ("two", "fan", "lamp")


@dataclass(frozen=True)
class Record:
    """One capture and its truth: rpm over the record (None: nothing to tell), bars, poles."""

    kind: str
    rate_hz: float
    current_a: NDArray
    rpm: float | None
    bars: int
    poles: int
    ripple_steps: float
    turns: float


@dataclass
class _Motor:
    bars: int
    poles: int
    ohm: float
    henry: float
    k: float
    inertia: float
    load_nm: float  # at rated speed
    drag_share: float
    fan_share: float
    notch: NDArray  # (poles, bars), share of the EMF that one bar under one brush takes
    brush_rad: NDArray
    width_rad: float
    teeth: int
    teeth_share: float
    once_share: float
    rated: float
    drop_v: float


def _motor(rng: np.random.Generator, kind: str) -> _Motor:
    poles = 4 if kind == "four poles" or (kind == "fan" and rng.random() < 0.5) else 2
    bars = int(rng.choice([7, 9, 11, 13] if kind == "odd" else [6, 8, 8, 8, 10, 10, 12, 14]))
    if poles == 4:
        bars = int(rng.choice([10, 12, 14, 9, 11]))
    rpm = rng.uniform(3600, 8800)
    amps = rng.uniform(2.8, 9.5)
    if kind == "fan":
        bars, rpm, amps = int(rng.choice([12, 16, 20])), rng.uniform(1400, 3600), rng.uniform(3, 15)
    if kind == "slow":
        rpm = rng.uniform(1800, 3300)
    lost = rng.uniform(0.12, 0.4)
    rated = rpm * 2 * np.pi / 60
    drop_v = rng.uniform(0.3, 1.4)
    k = (1 - lost) * (13 - drop_v) / rated
    ohm = lost * (13 - drop_v) / amps
    pairs = lambda n: np.exp(rng.normal(0, rng.uniform(0.02, 0.2), n))  # noqa: E731
    notch = rng.uniform(0.02, 0.1) * pairs(bars)[None, :] * np.exp(rng.normal(0, 0.05, poles))[:, None]
    notch *= 8 / bars / (poles / 2)
    if kind == "dead bar":
        notch[:, int(rng.integers(bars))] *= rng.uniform(3, 9)
    gear = kind == "gear"
    return _Motor(
        bars,
        poles,
        ohm,
        ohm * rng.uniform(0.15e-3, 1.2e-3),
        k,
        rng.uniform(5e-3, 30e-3) * k**2 / ohm * (5 if kind == "fan" else 1),
        k * amps,
        rng.uniform(0.05, 0.4),
        0.9 if kind == "fan" else rng.uniform(0.0, 0.3),
        notch,
        2 * np.pi * np.arange(poles) / poles + rng.normal(0, np.deg2rad(1.0), poles),
        2 * np.pi / bars * rng.uniform(0.35, 0.9),
        int(rng.choice([5, 6, 7, 8, 9, 10])) if gear else int(rng.choice([23, 29, 33, 37, 41, 47])),
        rng.uniform(0.05, 0.25) if gear else rng.uniform(0.0, 0.03),
        rng.uniform(0.0, 0.06),
        rated,
        drop_v,
    )


def _volts(rng: np.random.Generator, kind: str, count: int) -> tuple[NDArray, float]:
    """Source volts over the steps, and wiring ohms."""
    time = np.arange(count) * STEP_S
    engine = kind in ("engine", "lamp") or (kind in NO_PUMP and rng.random() < 0.5)
    volts = np.full(count, rng.uniform(13.2, 14.8) if engine else rng.uniform(11.4, 12.9))
    slow = rng.normal(0, 1, count // 400 + 3)
    volts *= 1 + rng.uniform(0, 0.004) * np.interp(np.arange(count) / 400, np.arange(slow.size), slow)
    if engine:
        cylinders = int(rng.choice([3, 4, 6, 8]))
        crank = rng.uniform(10, 50)
        uneven = np.interp(
            time,
            np.arange(0, time[-1] + 0.2, 0.05),
            rng.normal(0, 1, int(time[-1] / 0.05) + 5)[: len(np.arange(0, time[-1] + 0.2, 0.05))],
        )
        angle = rng.random() + np.cumsum(crank * (1 + rng.uniform(0.001, 0.01) * uneven)) * STEP_S
        firing = angle * cylinders / 2
        for harmonic in range(1, 9):
            each = rng.uniform(0.2, 1) / harmonic ** rng.uniform(0.5, 1.5)
            volts += (
                rng.uniform(0.01, 0.12) * each * np.cos(2 * np.pi * harmonic * firing + rng.uniform(0, 6.3))
            )
        for half in (0.5, 1.0, 1.5):  # cylinders differ: half orders of the crank
            volts += rng.uniform(0.0, 0.03) * np.cos(2 * np.pi * half * angle + rng.uniform(0, 6.3))
        pulley, pairs = rng.uniform(1.8, 3.2), int(rng.choice([5, 6, 7, 8]))
        electric = angle * pulley * pairs
        size = np.exp(rng.uniform(np.log(0.02), np.log(0.5)))
        arch = np.abs(np.cos(6 * np.pi * electric))  # twelve pulses or six, by the winding
        volts += size * (arch - arch.mean()) * 0.5
        volts += size * rng.uniform(0, 0.15) * np.cos(2 * np.pi * electric)
    if kind == "switched":
        clock = float(rng.choice([9.8e3, 12e3, 16e3, 19.5e3])) * rng.uniform(0.97, 1.03)
        duty = rng.uniform(0.5, 0.9)
        edge = np.arange(count + 1) * STEP_S * clock
        on = np.floor(edge) * duty + np.minimum(edge % 1.0, duty)
        volts = volts * np.diff(on) / (STEP_S * clock)
    return volts, rng.uniform(0.03, 0.35) if kind != "hot wire" else rng.uniform(0.4, 1.0)


def _run(
    rng: np.random.Generator, motor: _Motor, volts: NDArray, wire_ohm: float, kind: str
) -> tuple[NDArray, NDArray]:
    """Current (steps,) and shaft angle in turns (steps,) by forward steps with the current exact in each."""
    count = len(volts)
    current, angle = np.empty(count), np.empty(count)
    amps, speed, theta = motor.load_nm / motor.k, motor.rated * 0.9, rng.uniform(0, 6.3)
    fine = 4096
    around = 2 * np.pi * np.arange(fine) / fine
    loss = np.zeros(fine)
    for brush in range(motor.poles):
        for bar in range(motor.bars):
            off = (around + 2 * np.pi * bar / motor.bars - motor.brush_rad[brush] + np.pi) % (
                2 * np.pi
            ) - np.pi
            inside = np.abs(off) < motor.width_rad / 2
            loss += motor.notch[brush, bar] * inside * (1 + np.cos(2 * np.pi * off / motor.width_rad)) / 2
    emf = (1 - loss).tolist()
    ohms = (motor.ohm * (1 - 0.7 * loss) + wire_ohm).tolist()
    load_wander = rng.uniform(0.0005, 0.01)
    rough = np.zeros(count)
    if kind == "rough brushes":
        lifts = rng.poisson(np.exp(rng.uniform(np.log(30), np.log(500))) * count * STEP_S)
        for at, lasting in zip(rng.integers(0, count, lifts), rng.exponential(60e-6, lifts), strict=True):
            rough[at : at + int(lasting / STEP_S) + 1] += rng.uniform(0.3, 3.0)
    drift, kept = 0.0, np.exp(-STEP_S / rng.uniform(0.01, 0.1))
    kicks = rng.normal(0, np.sqrt(1 - kept**2), count)
    torque = motor.load_nm
    straight = max(1 - motor.drag_share - motor.fan_share, 0.0)
    noise = (rng.uniform(0.0, 0.08) * rng.normal(0, 1, count)).tolist()
    teeth = motor.teeth
    ramp = np.cos(teeth * around) + 0.4 * np.cos(2 * teeth * around + 1.0)
    pulled = (1 + motor.teeth_share * ramp + motor.once_share * np.cos(around + 2.0)).tolist()
    feed, kick, lifted = volts.tolist(), kicks.tolist(), rough.tolist()
    for step in range(count):
        place = int(theta / (2 * np.pi) * fine) % fine
        ohm = ohms[place] + lifted[step] + 0.02 * noise[step]
        back = motor.k * speed * emf[place] + motor.drop_v
        final = (feed[step] - back) / ohm
        amps = final + (amps - final) * np.exp(-STEP_S * ohm / motor.henry)
        amps = max(amps, 0.0)
        drift = kept * drift + kick[step]
        ratio = speed / motor.rated
        load = torque * (
            straight * pulled[place] + motor.drag_share * ratio + motor.fan_share * ratio * ratio
        )
        speed += STEP_S / motor.inertia * (motor.k * amps * emf[place] - load * (1 + load_wander * drift))
        speed = max(speed, 0.0)
        theta += speed * STEP_S
        current[step], angle[step] = amps, theta / (2 * np.pi)
    return current, angle


def _record(rng: np.random.Generator, kind: str) -> Record:
    seconds = float(np.exp(rng.uniform(np.log(0.08), np.log(0.5))))
    count = round((WARM_S + seconds) / STEP_S)
    volts, wire_ohm = _volts(rng, kind, count)
    warm = round(WARM_S / STEP_S)
    motor = _motor(rng, kind)
    if kind == "lamp":
        current, angle = volts / (13 / rng.uniform(2, 9)), np.zeros(count)
    else:
        current, angle = _run(rng, motor, volts, wire_ohm, kind)
    if kind == "two":
        current = current + _run(rng, _motor(rng, kind), volts, wire_ohm, kind)[0]
    corner_hz = float(
        np.exp(
            rng.uniform(
                np.log(2e3 if kind == "narrow clamp" else 8e3), np.log(4e3 if kind == "narrow clamp" else 8e4)
            )
        )
    )
    kept = np.exp(-2 * np.pi * corner_hz * STEP_S)
    seen, level = np.empty(count), float(current[0])
    for step, now in enumerate(current.tolist()):
        level = now + (level - now) * kept
        seen[step] = level
    seen, current, angle = seen[warm:], current[warm:], angle[warm:]
    ripple = float(np.quantile(seen, 0.99) - np.quantile(seen, 0.01))
    rate = float(rng.choice([20e3, 25e3, 40e3, 50e3, 100e3, 125e3, 250e3]))
    time = np.arange(int(seconds * rate)) / rate
    samples = np.interp(time, np.arange(seen.size) * STEP_S, seen)
    pink = np.cumsum(rng.normal(0, 1, samples.size)) / np.sqrt(samples.size)
    noise = float(np.exp(rng.uniform(np.log(0.002), np.log(0.03))))
    samples = samples + rng.normal(0, noise, samples.size) + rng.uniform(0, 0.004) * pink
    if rng.random() < 0.3:
        samples = samples + rng.uniform(0.001, 0.02) * np.cos(2 * np.pi * 50 * time + 1)
    step_a = float(rng.choice([20.0, 40.0, 60.0]) / 2 ** int(rng.choice([8, 12, 12, 12, 14, 16])))
    step_a = ripple / rng.uniform(1.5, 5) if kind == "coarse" else step_a
    samples = np.round(samples / step_a) * step_a
    turns = float(angle[-1] - angle[0])
    rpm = None if kind in NO_PUMP else 60 * turns / ((seen.size - 1) * STEP_S)
    return Record(kind, rate, samples, rpm, motor.bars, motor.poles, ripple / step_a, turns)


def records(seed: int, count: int, kind: str) -> Iterator[Record]:
    """`count` captures of one kind, the same ones for the same arguments."""
    for number in range(count):
        yield _record(np.random.default_rng([seed, KINDS.index(kind), number]), kind)


def _tell(record: Record, way: str, slip: float) -> tuple[float | None, tuple[str, ...]]:
    told = way != "untold"
    known = KnownPump(
        segments=record.bars if told and record.kind not in NO_PUMP else 8 if told else None,
        poles=record.poles if told and record.kind not in NO_PUMP else None,
        previous_rpm=record.rpm * slip if way == "previous" and record.rpm else None,
        supply="pwm" if record.kind == "switched" and told else None,
    )
    try:
        reading = measure(Capture(record.current_a, record.rate_hz), known)
    except CaptureRefused as refusal:
        return None, (refusal.code,)
    return reading.rpm, tuple(note.code for note in reading.notes)


def gated(record: Record, way: str) -> bool:
    """Whether the record holds the turns, samples and steps for which an answer is promised."""
    ripple_hz = (record.rpm or 0) / 60 * np.lcm(record.bars, record.poles)
    fewest, enough = (5, 8) if way == "untold" else (2, 6)
    return record.turns >= fewest and record.rate_hz >= enough * ripple_hz and record.ripple_steps >= 3


def main() -> None:
    """Print gross answers and refusals of each kind and way; with --each, every gross answer."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--per-kind", type=int, default=16)
    parser.add_argument("--kinds", nargs="*", default=list(KINDS), choices=KINDS)
    parser.add_argument("--each", action="store_true", help="list gross answers")
    args = parser.parse_args()
    print(f"{'':24} {'gross, of answers':>31} {'refused':>31}")
    for kind in args.kinds:
        kept = list(records(args.seed, args.per_kind, kind))
        for way in ("told", "untold") if kind in NO_PUMP else ("told", "previous", "untold"):
            answers = gross = total = 0
            for number, record in enumerate(kept):
                slip = float(np.exp(0.05 * np.random.default_rng([args.seed, number, 5]).normal()))
                if record.rpm is not None and not gated(record, way):
                    continue
                total += 1
                rpm, notes = _tell(record, way, slip)
                answers += rpm is not None
                wrong = rpm is not None and (record.rpm is None or abs(rpm / record.rpm - 1) > 0.01)
                gross += wrong
                if wrong and args.each:
                    off = "" if record.rpm is None else f"{rpm / record.rpm:.4f}"  # type: ignore[operator]
                    print(f"  {kind} {number} {way}: {rpm:.0f} rpm {off} bars {record.bars} {notes}")
            print(
                f"{kind + ', ' + way:24} {share(gross, answers)} {share(total - answers, total)}", flush=True
            )


if __name__ == "__main__":
    main()
