"""`generate(seed, count, kind, first)`: captures with their truth, the same ones for the same arguments.

Each capture has its own random stream; who else is in its batch matters by rounding alone.
"""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.benchmarks.time_domain import compiled, foreign, probe, truth
from tests.benchmarks.time_domain.integrate import Run, Trace, step_through
from tests.benchmarks.time_domain.kinds import MOTORS, Scene
from tests.benchmarks.time_domain.machine import Machine
from tests.benchmarks.time_domain.supply import Feed, lay_out
from tests.benchmarks.time_domain.truth import Truth

KINDS = (*MOTORS, *foreign.FOREIGN)
BATCH = 96
LIGHT_SHARE = 0.6  # of the warm-up with a light shaft


@dataclass(frozen=True)
class Capture:
    """Samples in A at an even rate, and what is true of them."""

    sample_rate_hz: float
    current_a: NDArray
    truth: Truth


@dataclass(frozen=True)
class _Job:
    number: int
    scene: Scene
    run: Run
    rng: np.random.Generator
    steps: int


def generate(seed: int, count: int, kind: str, first: int = 0) -> list[Capture]:
    """`count` captures of `kind`, one of KINDS, from the one numbered `first` on."""
    if kind not in KINDS:
        raise ValueError(f"kind {kind!r} is none of {', '.join(KINDS)}")
    numbers = range(first, first + count)
    streams = [np.random.default_rng([seed, zlib.crc32(kind.encode()), number]) for number in numbers]
    if kind in foreign.FOREIGN:
        return [Capture(*foreign.record(rng, kind)) for rng in streams]
    jobs: list[_Job] = []
    for number, rng in enumerate(streams):
        scene = MOTORS[kind](rng)
        for machine in filter(None, (scene.machine, scene.second)):
            run = make_run(rng, scene, machine)
            jobs.append(_Job(number, scene, run, rng, run.feed.volts.size))
    traces: dict[int, list[Trace]] = {}
    for batch in _batches(jobs):
        for job, trace in zip(batch, _stepped(batch), strict=True):
            traces.setdefault(job.number, []).append(trace)
    lead = {job.number: job for job in reversed(jobs)}
    return [
        _capture(kind, lead[number], core, traces[number])
        for start in range(0, count, BATCH)
        for number, core in _cores(lead, traces, range(start, min(start + BATCH, count)))
    ]


def make_run(rng: np.random.Generator, scene: Scene, machine: Machine) -> Run:
    """Lay out over the grid whatever does not depend on the motor's state."""
    step_s, warm_s = scene.step_s, scene.warm_s
    count = round((scene.record_s + warm_s) / step_s) + 3
    feed = lay_out(rng, scene.supply, count, step_s, -warm_s)
    contact = np.empty((count, machine.poles))
    for brush in range(machine.poles):
        keep = np.exp(-step_s / 0.3e-3)
        kicks = rng.standard_normal(count) * np.sqrt(1 - keep**2)
        rough = lfilter([1.0], [1.0, -keep], kicks)
        contact[:, brush] = np.exp(machine.contact_noise * rough)
        lifts = rng.poisson(machine.bounce_hz * count * step_s)
        for at, lasting in zip(
            rng.random(lifts) * count, rng.exponential(machine.bounce_s, lifts), strict=True
        ):
            contact[int(at) : int(at + lasting / step_s) + 1, brush] *= machine.bounce_keeps
    relax_s = rng.uniform(0.01, 0.1)
    keep = np.exp(-step_s / relax_s)
    load = (
        1
        + machine.load_wander
        * lfilter(
            [np.sqrt(1 - keep**2)],
            [1.0, -keep],
            rng.standard_normal(count),
            zi=[rng.standard_normal() * keep],
        )[0]
    )
    arc = np.exp(0.3 * rng.standard_normal(count))
    return Run(machine, scene.supply, feed, contact, load, arc, warm_s > 0, rng.uniform(0, 2 * np.pi))


def _batches(jobs: list[_Job]) -> list[list[_Job]]:
    """Jobs that can be stepped together, alike in poles and grid, near in length and bars."""
    groups: dict[tuple[int, float, float], list[_Job]] = {}
    for job in jobs:
        key = (job.run.machine.poles, job.scene.step_s, job.scene.warm_s)
        groups.setdefault(key, []).append(job)
    batches = []
    for group in groups.values():
        group.sort(key=lambda job: (job.run.machine.bars, job.steps))
        batches += [group[start : start + BATCH] for start in range(0, len(group), BATCH)]
    return batches


def _stepped(batch: list[_Job]) -> list[Trace]:
    longest = max(job.steps for job in batch)
    scene = batch[0].scene
    light = round(LIGHT_SHARE * scene.warm_s / scene.step_s)
    if compiled.library() is not None:
        return [compiled.step_one(job.run, scene.step_s, light) for job in batch]
    return step_through([_lengthened(job.run, longest) for job in batch], scene.step_s, light, longest)


def _lengthened(run: Run, steps: int) -> Run:
    """The same run with its last step held until `steps`."""

    def held(series: NDArray) -> NDArray:
        return np.concatenate([series, np.repeat(series[-1:], steps - len(series), axis=0)])

    feed = Feed(held(run.feed.volts), held(run.feed.on), held(run.feed.use), held(run.feed.open_wire))
    return Run(
        run.machine,
        run.supply,
        feed,
        held(run.contact),
        held(run.load),
        held(run.arc),
        run.at_speed,
        run.first_angle,
    )


def _cores(
    first: dict[int, _Job], traces: dict[int, list[Trace]], numbers: range
) -> Iterator[tuple[int, NDArray]]:
    """Currents of captures `numbers` after the clamps' hysteresis."""
    probes = [first[number].scene.probe for number in numbers]
    wires = [_wire(first[number], traces[number]) for number in numbers]
    if compiled.library() is not None:
        for number, p, wire in zip(numbers, probes, wires, strict=True):
            yield number, compiled.core_of(wire, p.core_share, p.core_a)
        return
    together = np.zeros((max(wire.size for wire in wires), len(wires)), np.float32)
    for column, wire in enumerate(wires):
        together[: wire.size, column] = wire
    cores = probe.through_core(
        together, np.array([p.core_share for p in probes]), np.array([p.core_a for p in probes])
    )
    for column, number in enumerate(numbers):
        yield number, cores[: wires[column].size, column]


def _wire(job: _Job, traces: list[Trace]) -> NDArray:
    return np.sum([trace.current_a[: job.steps] for trace in traces], axis=0)


def _capture(kind: str, job: _Job, core: NDArray, traces: list[Trace]) -> Capture:
    scene, machine = job.scene, job.run.machine
    warm = round(scene.warm_s / scene.step_s)
    current = _wire(job, traces)
    seen = probe.in_band(core, scene.probe, scene.step_s)[warm:]
    samples = probe.sampled(job.rng, seen, scene.probe, scene.step_s, 0.0)
    turns = traces[0].turns[warm : job.steps]
    turning = len(traces) == 1 and not machine.locked
    supply, engine = scene.supply, scene.supply.engine
    window = (0.0, seen.size * scene.step_s)
    if turning and (warm == 0 or np.isfinite(supply.off_s)):
        window = truth.settled(turns, scene.step_s, 0.0, supply.on_s, supply.off_s)
    return Capture(
        scene.probe.sample_rate_hz,
        samples,
        Truth(
            kind=kind,
            states=scene.states,
            step_s=scene.step_s,
            start_s=0.0,
            current_a=current[warm:].astype(np.float32),
            seen_a=seen.astype(np.float32),
            turns=(turns - turns[0]).astype(np.float32) if turning else None,
            bars=machine.bars if len(traces) == 1 else None,
            poles=machine.poles if len(traces) == 1 else None,
            settled_from_s=window[0],
            settled_to_s=window[1],
            offset_a=scene.probe.offset_a,
            supply_v=supply.battery_v,
            duty=supply.duty,
            pwm_hz=supply.pwm_hz,
            firing_hz=engine.firing_hz if engine else 0.0,
            alternator_hz=engine.firing_hz * engine.alternator_order if engine else 0.0,
            bandwidth_hz=scene.probe.bandwidth_hz,
            noise_a=scene.probe.noise_a,
            step_a=scene.probe.step_a,
        ),
    )
