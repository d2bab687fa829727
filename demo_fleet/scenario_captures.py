"""The demo's waveforms: which visits get one, the motor behind each, and the files."""

from __future__ import annotations

import signal
from collections.abc import Callable, Hashable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd

from demo_fleet.acquisition import Probe, Scope, acquire
from demo_fleet.armature import Faults, Motor, Supply, simulate
from demo_fleet.capture_text import as_text
from demo_fleet.catalogue import BENCHES, PUMP_KINDS, Bench
from demo_fleet.matching import Target, aged, new_pump, type_motor
from demo_fleet.scenario_tables import METRICS, Story

PWM_DUTY = 0.75
# What goes wrong with a record: how many of them.
MISHAPS = {
    "clipped": 2,
    "coarse range": 2,
    "too short": 2,
    "alternator ripple": 3,
    "reversed clamp": 1,
    "probe factor": 1,
}
EVENT_FAULTS = {
    "starved strainer": Faults(starved=0.5),
    "pumping vapour": Faults(dry=0.9),
    "restricted filter": Faults(restriction=0.35),
    "open coil": Faults(open_coil=3),
}


@dataclass(frozen=True)
class CaptureJob:
    """One waveform to make."""

    name: str
    target: Target
    faults: Faults
    supply: Supply
    bench: Bench
    start: Literal["settled", "inrush"]
    wear: float  # ripple points, drives the sparks
    mishap: str
    seed: int


@dataclass(frozen=True)
class PumpJob:
    """All waveforms of one pump."""

    type_motor: Motor
    life: int
    bad_bar: int
    new: Target
    captures: tuple[CaptureJob, ...]


def plan_captures(story: Story, seed: int, limit: int | None) -> tuple[list[PumpJob], Story]:
    """Choose the visits with waveforms and name their files; their metrics are left to be measured.

    They are: the last visit of every pump in service and for every other one the visit before, the last one
    of pumps that left lately, and the first one of pumps fitted lately.
    """
    rng = np.random.default_rng((seed, 24))
    visits = story.visits.copy()
    rows = _chosen(story, visits)[:limit]
    mishap = dict.fromkeys(rows, "")
    ordinary = (visits["true_event"] == "") & ~visits["zero_check"]
    plain = [at for at in rows if ordinary[at] and not _pwm_hz(visits, at)]
    # A short demo has no room for bad records.
    spoiled = list(rng.permutation(plain)) if len(plain) > 5 * sum(MISHAPS.values()) else []
    for what, count in MISHAPS.items():
        for _ in range(count):
            if spoiled:
                mishap[spoiled.pop()] = what
    depot = story.vehicles.set_index("unit")["depot"]
    motors = [_type_motor(story, k) for k in range(len(PUMP_KINDS))]
    jobs = []
    for life, group in ((int(k), g) for k, g in visits.loc[rows].groupby("life")):  # type: ignore[arg-type]
        captures = []
        for at, row in zip(group.index.tolist(), group.to_dict("records"), strict=True):
            kind = row["kind"]
            name = f"{row['unit']}_{row['visited_on']:%Y-%m-%d}.csv"
            if row["reason"] == "after-repair":
                name = name.replace(".csv", "_new.csv")
            visits.at[at, "capture"] = name
            target, supply = _target(row, kind)
            if mishap[at] == "alternator ripple":
                supply = replace(supply, alternator_pp_v=0.5, alternator_hz=float(rng.uniform(600, 1400)))
            captures.append(
                CaptureJob(
                    name,
                    target,
                    EVENT_FAULTS.get(row["true_event"], Faults()),
                    supply,
                    BENCHES[depot[row["unit"]]],
                    "inrush" if row["zero_check"] else _start(rng, supply, mishap[at]),
                    float(row["true_wear"]),
                    mishap[at],
                    int(rng.integers(1 << 31)),
                )
            )
        history = visits[(visits["life"] == life) & (visits["true_event"] == "")]
        jobs.append(PumpJob(motors[kind], life, life % 8, _new_target(history, kind), tuple(captures)))
    visits.loc[rows, [*METRICS, "mean_a_se", "rpm_se"]] = np.nan
    return jobs, replace(story, visits=visits.drop(columns=["motor_rpm", "motor_ripple_pct", "motor_a"]))


def write_captures(
    jobs: list[PumpJob],
    folder: Path,
    *,
    processes: int = 2,
    progress: Callable[[int, int], None] | None = None,
) -> pd.DataFrame:
    """Make all waveforms and return the truth about each, one row a file."""
    total = sum(len(job.captures) for job in jobs)
    rows: list[dict[str, object]] = []

    def take(results: list[dict[str, object]]) -> None:
        rows.extend(results)
        if progress:
            progress(len(rows), total)

    work = [(job, folder) for job in jobs]
    if processes < 2:
        for item in work:
            take(_write_pump(item))
    else:
        # A command builds the demo before any server stands, and the workers parse nothing from outside: a
        # pool serves. Begun anew, not forked: a fork copies this process's threads half-way.
        # Ctrl+C goes to us alone; the workers finish their waveform and are sent home.
        pool = ProcessPoolExecutor(
            processes,
            get_context("spawn"),
            initializer=signal.signal,
            initargs=(signal.SIGINT, signal.SIG_IGN),
        )
        try:
            for results in pool.map(_write_pump, work, chunksize=2):
                take(results)
        finally:
            pool.shutdown(cancel_futures=True)
    return pd.DataFrame(rows)


def _write_pump(work: tuple[PumpJob, Path]) -> list[dict[str, object]]:
    job, folder = work
    pump = new_pump(replace(job.type_motor, spread_seed=job.life), job.new)
    return [_write_one(pump, job, capture, folder) for capture in job.captures]


def _write_one(pump: Motor, job: PumpJob, capture: CaptureJob, folder: Path) -> dict[str, object]:
    motor, faults = aged(pump, job.bad_bar, capture.target, capture.faults)
    bench, target = capture.bench, capture.target
    duration_s = 0.34 if capture.start == "inrush" else 0.2
    if capture.mishap == "too short":
        duration_s = 0.018
    volts = target.supply_v
    if capture.supply.pwm_hz:
        volts = (volts + 0.7 * (1 - PWM_DUTY)) / PWM_DUTY
    trace = simulate(
        motor,
        supply_v=volts,
        pressure_kpa=target.pressure_kpa,
        fuel_temp_c=target.fuel_temp_c,
        duration_s=duration_s,
        sample_rate_hz=100_000,
        seed=capture.seed,
        faults=faults,
        start=capture.start,
        supply=capture.supply,
    )
    probe = Probe(
        gain_error=bench.gain_error,
        zero_a=bench.zero_a,
        bandwidth_hz=bench.bandwidth_hz,
        reversed=capture.mishap == "reversed clamp",
    )
    scope = Scope(sample_rate_hz=bench.sample_rate_hz, bits=bench.bits, full_scale_a=bench.full_scale_a)
    if capture.mishap == "clipped":
        scope = replace(scope, full_scale_a=target.mean_a * 1.03)
    if capture.mishap == "coarse range":
        scope = replace(scope, bits=8, full_scale_a=60.0)
    off_s = 0.04 if capture.start == "inrush" else 0.0
    sparks = 4 + 3 * max(capture.wear, 0.0)
    samples, rate, truth = acquire(trace, probe, scope, off_s=off_s, sparks_per_s=sparks, seed=capture.seed)
    if capture.mishap == "probe factor":
        samples = samples / 10
    text = as_text(bench.shape, samples, rate)
    (folder / capture.name).write_text(text, encoding="utf-8", newline="")
    steady = 0.2 if capture.start == "inrush" else 0.0
    return {
        "capture": capture.name,
        "life": job.life,
        "start": capture.start,
        "mishap": capture.mishap,
        "bars": motor.bars,
        "steady_from_s": round(off_s + steady, 4),
        "mean_a": round(trace.mean_a(steady), 4),
        "rpm": round(trace.mean_rpm(steady), 2),
        "brush_drop_v": round(motor.brush_drop_v, 3),
        "friction_nm": round(motor.friction_nm, 5),
        "bad_bar_ohm": round(faults.burnt_ohm, 4) if faults.burnt_bar is not None else 0.0,
        "clipped_share": round(truth.clipped_share, 4),
        "sparks": truth.sparks,
    }


def _chosen(story: Story, visits: pd.DataFrame) -> list[int]:
    newest_first = visits.sort_values("visited_on", ascending=False)
    pumps = story.pumps.set_index("life")
    gone = pd.to_datetime(pumps["removed_on"])
    today = pd.Timestamp(story.today)
    here = pumps.index[gone.isna()]
    left = pumps.index[gone > today - pd.Timedelta(days=270)]
    with_reading = newest_first[newest_first["motor_a"].notna() & newest_first["meter_a"].isna()]
    last = with_reading[with_reading["life"].isin(here)].groupby("life").head(1)
    last_two = with_reading[with_reading["life"].isin(here[::2])].groupby("life").head(2)
    last_one = with_reading[with_reading["life"].isin(left)].groupby("life").head(1)
    recent = with_reading["visited_on"] > today - pd.Timedelta(days=365)
    first = with_reading[recent & (with_reading["reason"] == "after-repair")]
    return sorted(set(last.index) | set(last_two.index) | set(last_one.index) | set(first.index))


def _pwm_hz(visits: pd.DataFrame, at: int) -> float:
    return PUMP_KINDS[visits["kind"].to_numpy(int)[visits.index.get_loc(at)]].pwm_hz


def _start(rng: np.random.Generator, supply: Supply, mishap: str) -> Literal["settled", "inrush"]:
    """One record in five begins before the pump does, which lets the clamp's zero be checked."""
    early = rng.random() < 0.2 and not supply.pwm_hz and mishap != "too short"
    return "inrush" if early else "settled"


def _type_motor(story: Story, kind: int) -> Motor:
    p = story.parameters
    volts = 13.5 if not PUMP_KINDS[kind].pwm_hz else 13.5 * PWM_DUTY - 0.7 * (1 - PWM_DUTY)
    usual = Target(float(p.current_a[kind]), float(p.rpm[kind]), float(p.ripple_pct[kind]), volts, 400.0)
    return type_motor(Motor(bars=PUMP_KINDS[kind].bars), usual)


def _target(row: dict[Hashable, Any], kind: int) -> tuple[Target, Supply]:
    volts = float(row["motor_v"])
    supply = Supply(wander_pct=0.12, pressure_wander_pct=0.4)
    if PUMP_KINDS[kind].pwm_hz:
        supply = replace(supply, pwm_hz=PUMP_KINDS[kind].pwm_hz, pwm_duty=PWM_DUTY)
        volts = volts * PWM_DUTY - 0.7 * (1 - PWM_DUTY)
    pressure = row["fuel_pressure_kpa"] if pd.notna(row["fuel_pressure_kpa"]) else 400.0
    temp = row["fuel_temp_c"] if pd.notna(row["fuel_temp_c"]) else 22.0
    return (
        Target(
            float(row["motor_a"]), float(row["motor_rpm"]), float(row["motor_ripple_pct"]), volts,
            float(pressure), float(temp),
        ),
        supply,
    )  # fmt: skip


def _new_target(history: pd.DataFrame, kind: int) -> Target:
    """The pump as new, as far as its earliest visit tells."""
    target, _ = _target(history.sort_values("visited_on").head(1).to_dict("records")[0], kind)
    ripple = float((history["motor_ripple_pct"] - history["true_wear"]).median())
    return replace(target, ripple_pct=ripple)
