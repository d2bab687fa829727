"""Speed of measuring: CPU time for records of 100,000 and 1,000,000 samples, beside one FFT of that length.

    python -m tests.benchmarks.measure_speed --seeds 2

On one core (the time of all threads counts); every stratum of the study, bars told and untold. Prints the
median and 90th percentile, the ratio to scipy.fft.rfft of a record of the same length in the same run, and
the medians by stratum.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np
from scipy import fft

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from tests.benchmarks.study_captures import STRATA, draw

SIZES = {100_000: 0.1, 1_000_000: 0.5}  # samples: CPU seconds aimed at
TOO_LONG = {"low sample rate": 100_000}  # more samples would be minutes of a slow record


def cpu_s(task: Callable[[], object], rounds: int) -> float:
    """Least CPU time of a few rounds, s."""
    best = float("inf")
    for _ in range(rounds):
        began = time.process_time()
        task()
        best = min(best, time.process_time() - began)
    return best


def timed(stratum: str, seed: int, samples: int) -> list[tuple[float, float]]:
    """Return (CPU seconds, its ratio to one FFT), bars told and then untold."""
    study = draw(stratum, seed, samples=samples)
    capture = Capture(study.samples, study.sample_rate_hz)
    supply = "pwm" if stratum == "PWM" else "direct"
    one_fft = cpu_s(lambda: fft.rfft(study.samples), 7)
    out = []
    for segments in (study.bars, None):
        spent = cpu_s(
            lambda segments=segments: measure(capture, KnownPump(segments=segments, supply=supply)), 2
        )  # type: ignore[misc]
        out.append((spent, spent / one_fft))
    return out


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seeds", type=int, default=2, help="captures a stratum")
    parser.add_argument("--first-seed", type=int, default=90_000)
    parser.add_argument("--sizes", type=int, nargs="*", default=list(SIZES))
    args = parser.parse_args()
    timed("healthy", args.first_seed - 1, 50_000)  # imports and tables
    for samples in args.sizes:
        rows, names = [], []
        for stratum in STRATA:
            if samples > TOO_LONG.get(stratum, samples):
                continue
            for seed in range(args.first_seed, args.first_seed + args.seeds):
                rows.append(timed(stratum, seed, samples))
                names.append(stratum)
        figures = np.array(rows)  # (captures, told and untold, seconds and ratio)
        print(f"{samples:,} samples, {len(rows)} captures, aim {1000 * SIZES.get(samples, np.nan):.0f} ms")
        for title, part in (("told", figures[:, :1]), ("untold", figures[:, 1:]), ("both", figures)):
            spent, ratio = part[..., 0].ravel(), part[..., 1].ravel()
            print(
                f"  bars {title:7} median {1000 * np.median(spent):6.0f} ms, "
                f"90 % within {1000 * np.quantile(spent, 0.9):6.0f} ms, {np.median(ratio):6.1f} FFTs"
            )
        for stratum in dict.fromkeys(names):
            own = figures[[name == stratum for name in names]]
            told, untold = np.median(1000 * own[:, :, 0], axis=0)
            print(f"    {stratum:20} told {told:6.0f} ms, untold {untold:6.0f} ms")


if __name__ == "__main__":
    main()
