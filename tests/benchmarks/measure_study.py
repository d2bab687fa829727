"""Study of the measuring method over simulated captures in named strata; prints the table of the docs.

    python -m tests.benchmarks.measure_study --per-stratum 110 --first-seed 50000 --processes 2

An answer is gross when it is more than 1 % off. Truth is taken over the steady window each reading reports.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from tests.benchmarks.study_captures import STRATA, StudyCapture, draw

MODES = ("told", "previous", "untold")


@dataclass(frozen=True)
class Outcome:
    """What one way of measuring one capture gave; errors are relative, NaN where not answered."""

    stratum: str
    mode: str
    seed: int
    gated: bool
    duration_s: float
    speed_error: float
    speed_se: float
    confidence: float
    first_right: bool
    mean_error: float
    mean_se: float
    ripple_error: float
    ripple_steps: float
    cpu_s: float
    refused: str


def outcome(study: StudyCapture, mode: str, seed: int) -> Outcome:
    """Measure one capture one way and hold it against its truth."""
    gated = study.gated_untold if mode == "untold" else study.gated_told
    capture = Capture(study.samples, study.sample_rate_hz)
    began = time.process_time()
    nan = float("nan")
    try:
        r = measure(
            capture,
            KnownPump(
                segments=None if mode == "untold" else study.bars,
                previous_rpm=study.previous_rpm if mode == "previous" else None,
            ),
        )
    except CaptureRefused as refusal:
        spent = time.process_time() - began
        untold = (nan, nan, nan, False, nan, nan, nan, nan)
        return Outcome(study.stratum, mode, seed, gated, capture.duration_s, *untold, spent, refusal.code)
    spent = time.process_time() - began
    from_s, to_s = r.steady_from_s or 0.0, r.steady_to_s or 0.0
    rpm, mean_a = study.truth.mean_rpm(from_s, to_s), study.truth.mean_a(from_s, to_s)  # type: ignore[attr-defined]
    zero = 0.0 if r.zero_a is not None else study.zero_a
    first = r.speed_candidates[0].rpm if r.speed_candidates else nan
    return Outcome(
        study.stratum,
        mode,
        seed,
        gated,
        capture.duration_s,
        nan if r.rpm is None else r.rpm / rpm - 1,
        nan if r.rpm_se is None else r.rpm_se / rpm,
        nan if r.speed_confidence is None else r.speed_confidence,
        bool(abs(first / rpm - 1) < 0.01),
        nan if r.mean_a is None else (r.mean_a - zero) / mean_a - 1,
        nan if r.mean_a_se is None else r.mean_a_se / mean_a,
        nan if r.ripple_a is None else r.ripple_a / study.ripple_a - 1,
        study.ripple_a / study.truth.code_a,  # type: ignore[attr-defined]
        spent,
        "" if r.rpm is not None else ",".join(n.code for n in r.notes if n.level == "warning"),
    )


def table(outcomes: list[Outcome]) -> list[str]:
    """Rows of the study table, one per stratum and mode, gated captures first."""
    lines = [
        f"{'stratum':20} {'mode':9} {'n':>4} {'refused':>8} {'gross':>6} {'median':>8} {'p99':>8} "
        f"{'1se':>4} {'2se':>4}"
    ]
    strata = [s for s in STRATA if any(o.stratum == s for o in outcomes)]
    for stratum in strata:
        for mode in MODES:
            own = [o for o in outcomes if o.stratum == stratum and o.mode == mode]
            for gated in (True, False):
                part = [o for o in own if o.gated == gated]
                if part:
                    lines.append(
                        f"{stratum:20} {mode:9} " + _figures(part) + ("" if gated else "  outside the gates")
                    )
    return lines


def _figures(part: list[Outcome]) -> str:
    error = np.array([o.speed_error for o in part])
    se = np.array([o.speed_se for o in part])
    answered = np.isfinite(error)
    gross = answered & (np.abs(error) > 0.01)
    fine = answered & ~gross
    size, z = np.abs(error[fine]), np.abs(error[fine]) / se[fine]
    if not fine.any():
        return f"{len(part):4d} {100 * np.mean(~answered):7.1f}% {gross.sum():6d}"
    return (
        f"{len(part):4d} {100 * np.mean(~answered):7.1f}% {gross.sum():6d} {100 * np.median(size):7.4f}% "
        f"{100 * np.quantile(size, 0.99):7.3f}% {100 * np.mean(z < 1):4.0f} {100 * np.mean(z < 2):4.0f}"
    )


def summary(outcomes: list[Outcome]) -> list[str]:
    """Totals against the bars."""
    usual = [o for o in outcomes if not o.stratum.startswith(("slow", "fast", "PWM"))]
    lines = []
    for mode in MODES:
        for name, pick in (
            ("usual band, gated", lambda o: o.gated and not (o.mode == "untold" and o.stratum == "alike")),
            ("usual band, outside gates", lambda o: not o.gated),
            ("alike", lambda o: o.stratum == "alike"),
        ):
            part = [o for o in usual if o.mode == mode and pick(o)]
            if part:
                lines.append(f"{name:26} {mode:9} " + _figures(part))
        part = [o for o in outcomes if o.mode == mode and o.stratum.startswith(("slow", "fast"))]
        lines.append(f"{'slow and fast':26} {mode:9} " + _figures(part))
        told = [o for o in outcomes if o.mode == mode and np.isfinite(o.speed_error)]
        hit = np.mean([o.first_right for o in told])
        lines.append(
            f"confidence {mode}: mean {np.mean([o.confidence for o in told]):.4f}, hit rate {hit:.4f}"
        )
    own = [o for o in outcomes if o.mode == "told"]
    ripple = np.abs(
        [
            o.ripple_error
            for o in own
            if o.ripple_steps >= 12 and np.isfinite(o.ripple_error) and np.isfinite(o.speed_error)
        ]
    )
    mean = np.abs([o.mean_error for o in own if np.isfinite(o.mean_error)])
    lines.append(
        f"ripple at 12 steps or more: median {100 * np.median(ripple):.2f} %, "
        f"90 % within {100 * np.quantile(ripple, 0.9):.2f} %"
    )
    lines.append(
        f"mean: median {100 * np.median(mean):.4f} %, 90 % within {100 * np.quantile(mean, 0.9):.3f} %"
    )
    lines.append(f"CPU median {1000 * np.median([o.cpu_s for o in outcomes]):.0f} ms")
    return lines


def trade_off(outcomes: list[Outcome]) -> list[str]:
    """What answering above other probabilities would refuse and get wrong: gated, in the usual band."""
    lines = ["answering above   " + "".join(f"{mode + ' refused, wrong':>28}" for mode in MODES)]
    for above in (0.5, 0.8, 0.9, 0.95, 0.98, 0.99):
        cells = ""
        for mode in MODES:
            part = [
                o
                for o in outcomes
                if o.mode == mode
                and o.gated
                and o.stratum != "alike"
                and not o.stratum.startswith(("slow", "fast", "PWM"))
            ]
            answered = [o for o in part if o.confidence >= above]
            wrong = sum(not o.first_right for o in answered)
            cells += f"{100 - 100 * len(answered) / len(part):20.1f} %, {100 * wrong / len(answered):.1f} %"
        lines.append(f"{above:<18}{cells}")
    return lines


def run(captures: Iterable[tuple[int, StudyCapture]]) -> list[Outcome]:
    """Measure every capture in every mode."""
    return [outcome(study, mode, seed) for seed, study in captures for mode in MODES]


def run_seed(seed: int, strata: tuple[str, ...]) -> list[Outcome]:
    """Draw and measure one capture of each stratum."""
    return run((seed, draw(stratum, seed)) for stratum in strata)


def main() -> None:
    """Run the study from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--per-stratum", type=int, default=5)
    parser.add_argument("--first-seed", type=int, default=50_000)
    parser.add_argument("--strata", nargs="*", default=list(STRATA))
    parser.add_argument("--processes", type=int, default=1)
    args = parser.parse_args()
    seeds = range(args.first_seed, args.first_seed + args.per_stratum)
    outcomes = []
    with ProcessPoolExecutor(args.processes) as pool:
        for i, of_seed in enumerate(pool.map(partial(run_seed, strata=tuple(args.strata)), seeds)):
            outcomes += of_seed
            print(f"{i + 1} of {args.per_stratum} a stratum", file=sys.stderr, flush=True)
    print("\n".join([*table(outcomes), "", *summary(outcomes), "", *trade_off(outcomes)]))


if __name__ == "__main__":
    main()
