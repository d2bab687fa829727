"""Are the quality notes raised when, and only when, they are due? Prints the table of the docs.

    python -m tests.benchmarks.note_study --per-stratum 6 --first-seed 95000

Due is decided from the truth of each simulated capture, bars told. Three captures in four are also spoilt on
purpose: turned over, with mains hum, or with a clamp factor ten times too low or too high.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter

import numpy as np

from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.known_pump import UNKNOWN_PUMP, KnownPump
from ingest.measuring.measurement import measure
from ingest.measuring.quality import (
    COARSE_STEPS,
    FEWEST_SAMPLES_A_RIPPLE_SEGMENTS_TOLD,
    FEWEST_TURNS,
    FEWEST_TURNS_SEGMENTS_TOLD,
    FOREIGN_SHARE,
)
from ingest.trade_numbers import PLAUSIBLE_A
from tests.benchmarks.study_captures import STRATA, StudyCapture, draw

SPOILT = ("as drawn", "turned over", "mains hum", "factor 0.1", "factor 10")
LEAST_CLIPPED = 0.002  # of the samples: fewer are not worth a note
MARGIN = 0.1  # of a threshold: nearer to it either answer is right
HIGHEST_ALTERNATOR_HZ = 2000.0
HUM_SHARE = 0.5  # of the ripple's amplitude


def spoilt(study: StudyCapture, way: str, seed: int) -> np.ndarray:
    """Samples, (n,), as drawn or spoilt on purpose."""
    rng = np.random.default_rng((seed, 11))
    if way == "turned over":
        return -study.samples
    if way == "mains hum":
        t = np.arange(len(study.samples)) / study.sample_rate_hz
        hz = float(rng.choice([50.0, 60.0]))
        return study.samples + HUM_SHARE * study.ripple_a / 2 * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6))
    return study.samples * {"factor 0.1": 0.1, "factor 10": 10.0}.get(way, 1.0)


def foreign_due(study: StudyCapture) -> bool | None:
    """Whether the alternator's or drive's line stands out of the shaft's; None where it may pass or not."""
    if study.foreign_hz == 0:
        return False
    if study.foreign_hz > 0.4 * study.sample_rate_hz:
        return None
    n = len(study.samples)
    running = study.samples - study.samples.mean()
    power = np.abs(np.fft.rfft(running * np.hanning(n))) ** 2
    k = round(study.foreign_hz * n / study.sample_rate_hz)
    line = power[max(k - 3, 0) : k + 4].max()
    power[max(k - 3, 0) : k + 4] = 0
    share = line / power[max(round(20 * n / study.sample_rate_hz), 4) :].max()
    return None if 0.4 * FOREIGN_SHARE < share < 2.5 * FOREIGN_SHARE else bool(share > FOREIGN_SHARE)


def due(study: StudyCapture, way: str) -> dict[str, bool | None]:
    """Whether each note is due; None where it may be given or not."""
    trace = study.truth.trace  # type: ignore[attr-defined]
    factor = {"factor 0.1": 0.1, "factor 10": 10.0}.get(way, 1.0)
    off = study.truth.starts_s > 0 or study.stratum == "prime"  # type: ignore[attr-defined]
    mean = factor * float(np.median(trace.current_a))
    turns = study.rpm / 60 * trace.duration_s

    def below(value: float, threshold: float) -> bool | None:
        return None if abs(value / threshold - 1) < MARGIN else value < threshold

    hump_hz = study.rpm / 60 * trace.motor.ripples_per_turn
    low, high = PLAUSIBLE_A
    unlikely = [below(mean, low), below(high, mean)]
    zero = abs(study.zero_a) * factor
    foreign = foreign_due(study)
    drive = study.stratum == "PWM"
    alternator = foreign if study.foreign_hz <= HIGHEST_ALTERNATOR_HZ else False
    if drive and alternator:
        alternator = None  # the note says that it may be a drive
    usual = UNKNOWN_PUMP.band_rpm[0] <= study.rpm <= UNKNOWN_PUMP.band_rpm[1]
    fewest_turns = FEWEST_TURNS_SEGMENTS_TOLD if usual else FEWEST_TURNS
    return {
        "zero-unverified": not off,
        "zero-corrected": below(0.02, zero) if off else False,
        "clipped": study.truth.clipped_share > LEAST_CLIPPED,  # type: ignore[attr-defined]
        "range-too-coarse": below(study.ripple_a / study.truth.code_a, COARSE_STEPS),  # type: ignore[attr-defined]
        "too-few-turns": below(turns, fewest_turns),
        "sampled-too-slowly": below(study.sample_rate_hz / hump_hz, FEWEST_SAMPLES_A_RIPPLE_SEGMENTS_TOLD),
        "alternator-suspected": alternator,
        "pwm-found": foreign if drive else False,
        "mains-hum": way == "mains hum",
        "probe-factor-doubtful": None if None in unlikely else any(unlikely),
        "reversed": way == "turned over",
    }


def main() -> None:
    """Run the study from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--per-stratum", type=int, default=6)
    parser.add_argument("--first-seed", type=int, default=95_000)
    args = parser.parse_args()
    tally: Counter[tuple[str, bool, bool]] = Counter()
    where: dict[tuple[str, bool], Counter[str]] = {}
    refused: Counter[str] = Counter()
    for stratum in STRATA:
        for seed in range(args.first_seed, args.first_seed + args.per_stratum):
            study = draw(stratum, seed)
            for way in ("as drawn", SPOILT[1 + seed % (len(SPOILT) - 1)]):
                capture = Capture(spoilt(study, way, seed), study.sample_rate_hz)
                try:
                    notes = {n.code for n in measure(capture, KnownPump(segments=study.bars)).notes}
                except CaptureRefused as refusal:
                    refused[f"{refusal.code} ({way})"] += 1
                    continue
                for code, is_due in due(study, way).items():
                    if is_due is not None:
                        tally[code, is_due, code in notes] += 1
                        if is_due != (code in notes):
                            where.setdefault((code, is_due), Counter())[f"{stratum} {seed} {way}"] += 1
        print(stratum, file=sys.stderr, flush=True)
    print(f"{'note':24} {'due':>5} {'raised':>7} {'not due':>8} {'false':>6}")
    for code in due(study, "as drawn"):
        hits, missed = tally[code, True, True], tally[code, True, False]
        false, silent = tally[code, False, True], tally[code, False, False]
        print(f"{code:24} {hits + missed:5d} {hits:7d} {false + silent:8d} {false:6d}")
        for title, is_due in (("missed", True), ("false", False)):
            if named := list(where.get((code, is_due), ())):
                print(f"    {title}: " + "; ".join(named[:8]) + (" ..." if len(named) > 8 else ""))
    print("refused:", dict(refused))


if __name__ == "__main__":
    main()
