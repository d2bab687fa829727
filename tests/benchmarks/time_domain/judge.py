"""Judge the measuring by captures that were made without it in view; prints counts, shares and exact bounds.

    python -m tests.benchmarks.time_domain.judge --seeds 1-4 --per-seed 24 --keep outcomes.jsonl
    python -m tests.benchmarks.time_domain.judge --kept outcomes.jsonl

With --keep each kind's outcomes are added to a file as they come; what is there is not run again.
Every share has its N and its exact (Clopper–Pearson) upper 95 % bound. An answer is gross when it is more
than 1 % off, or when it tells a speed of what has none. Refused shares are those of gated records; "clean"
ones are of healthy pumps on a plain feed with the engine off.
"""

import argparse
import json
import sys
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path

import numpy as np
from scipy.stats import beta

from tests.benchmarks.time_domain.generating import KINDS, generate
from tests.benchmarks.time_domain.judging import FOREIGN, NO_PUMP, PWM, Outcome, judged

APART = (*PWM, "four_poles", "bars_alike", *NO_PUMP)
WITH_SPARKS = ("worn_brushes", "isolated_bar", "open_coil")
WANDERING = ("engine_running", "dry")
NOISE_ALONE = ("healthy", "odd_bars", "coarse")
DOUBTED = {"another-load-suspected", "second-motor-suspected", "alternator-suspected", "pwm-found"}
Pick = Callable[[Outcome], bool]


def upper(count: int, total: int, level: float = 0.95) -> float:
    """Exact one-sided upper bound of a share (Clopper & Pearson 1934)."""
    return 1.0 if count >= total else float(beta.ppf(level, count + 1, total - count))


def share(count: int, total: int) -> str:
    """One share in percent with its counts and bound."""
    if not total:
        return f"{'–':>24}"
    return f"{100 * count / total:6.2f} % {count:5d}/{total:<5d} ≤{100 * upper(count, total):6.2f} %"


def speed_row(name: str, part: list[Outcome]) -> str:
    """Gross of all gated, gross of answers, refused, refused of clean ones, confidence less hit rate."""
    gross = sum(o.gross for o in part)
    told = [o for o in part if o.answered]
    clean = [o for o in part if o.states == {"healthy"}]
    over = NAN_TEXT
    if told:
        over = f"{100 * (np.mean([o.confidence for o in told]) - np.mean([not o.gross for o in told])):+6.2f}"
    return (
        f"{name:34} {share(gross, len(part))} {share(gross, len(told))} "
        f"{share(len(part) - len(told), len(part))} "
        f"{share(sum(not o.answered for o in clean), len(clean))} {over}"
    )


NAN_TEXT = f"{'–':>6}"
HEADINGS = ("gross, of gated", "gross, of answers", "refused", "refused, clean", "over")


def speed_table(outcomes: list[Outcome]) -> list[str]:
    """Rows of speeds: gated records, by what was told."""
    usual = [o for o in outcomes if o.kind not in APART and o.gated]
    titles = "".join(f" {h:>31}" for h in HEADINGS[:-1])
    lines = [f"{'speed (gated records)':34}{titles} {HEADINGS[-1]:>6}"]
    for way in ("told", "previous", "untold"):
        part = [o for o in usual if o.way == way]
        lines.append(speed_row(f"bars {way}" if way != "previous" else "bars and last visit", part))
        for name, pick in _SPLITS:
            if some := [o for o in part if pick(o)]:
                lines.append(speed_row(f"  {name}", some))
    for kind, way in (
        ("four_poles", "told"),
        ("fast_pwm", "supply told"),
        ("fast_pwm", "bars told"),
        ("fast_pwm", "untold"),
        ("slow_pwm", "supply told"),
        ("slow_pwm", "bars told"),
        ("slow_pwm", "untold"),
    ):
        part = [o for o in outcomes if o.kind == kind and o.way == way and o.gated]
        lines.append(speed_row(f"{kind}, {way}", part))
    beyond = [o for o in outcomes if o.kind not in APART and not o.gated]
    for way in ("told", "previous", "untold"):
        lines.append(speed_row(f"outside the gates, {way}", [o for o in beyond if o.way == way]))
    return lines


_SPLITS: tuple[tuple[str, Pick], ...] = (
    ("even bars", lambda o: o.bars % 2 == 0),
    ("odd bars", lambda o: o.bars % 2 == 1),
    ("engine off", lambda o: "engine" not in o.states),
    ("engine running", lambda o: "engine" in o.states),
    ("worn, arcing brushes", lambda o: o.kind == "worn_brushes"),
)


def foreign_table(outcomes: list[Outcome]) -> list[str]:
    """Share of records of something else for which a speed was told."""
    lines = ["", "speed told of what is no single pump, or has nothing that tells"]
    groups = [("bars alike", ("bars_alike",)), ("foreign, all", FOREIGN)]
    groups += [(f"  {kind}", (kind,)) for kind in FOREIGN]
    groups += [(kind, (kind,)) for kind in ("noise", "flat_high", "stalled")]
    for name, kinds in groups:
        for way in ("untold", "told"):
            part = [o for o in outcomes if o.kind in kinds and o.way == way]
            if part and not (name == "bars alike" and way == "told"):
                unsaid = sum(o.answered and not DOUBTED & set(o.notes) for o in part)
                told = share(sum(o.answered for o in part), len(part))
                lines.append(f"{name:20} {way:8} {told}, no note on it {share(unsaid, len(part))}")
    for kind in ("noise", "flat_high", "stalled", "alternator"):
        said: dict[str, int] = {}
        for o in outcomes:
            if o.kind == kind and o.way == "untold":
                for code in (o.refused, *o.notes):
                    said[code] = said.get(code, 0) + bool(code)
        lines.append(f"{kind} says: " + ", ".join(f"{c} {n}" for c, n in sorted(said.items()) if n))
    return lines


def level_table(outcomes: list[Outcome]) -> list[str]:
    """Bias and honest errors of mean and ripple, and of speed where it is right; bars told."""
    lines = [
        "",
        f"{'level (bars told)':24} {'N':>6} {'bias':>9} {'med |e|':>9} {'in 1 se':>8} {'in 2 se':>8}",
    ]
    own = [o for o in outcomes if o.way == "told" and o.kind not in NO_PUMP]
    groups: list[tuple[str, Pick]] = [
        ("all", lambda o: True),
        ("sparks", lambda o: o.kind in WITH_SPARKS),
        ("worn brushes", lambda o: o.kind == "worn_brushes"),
        ("wander", lambda o: o.kind in WANDERING),
        ("noise", lambda o: o.kind in NOISE_ALONE),
    ]
    for figure, error, se, size in (
        ("mean", "mean_error_a", "mean_se_a", "mean_a"),
        ("ripple", "ripple_error_a", "ripple_se_a", "ripple_a"),
        ("speed", "speed_error", "speed_se", ""),
    ):
        for name, pick in groups:
            part = [o for o in own if pick(o) and np.isfinite(getattr(o, error)) and getattr(o, se) > 0]
            part = [o for o in part if not o.gross and (figure == "mean" or o.answered)]
            if not part:
                continue
            e = np.array([getattr(o, error) for o in part])
            s = np.array([getattr(o, se) for o in part])
            relative = e / np.array([getattr(o, size) for o in part]) if size else e
            lines.append(
                f"{figure + ', ' + name:24} {len(part):6d} {100 * np.mean(relative):+8.3f}% "
                f"{100 * np.median(np.abs(relative)):8.3f}% {100 * np.mean(np.abs(e) < s):7.1f}% "
                f"{100 * np.mean(np.abs(e) < 2 * s):7.1f}%"
            )
    lost = [o for o in own if not o.answered and np.isfinite(o.ripple_error_a)]
    off = sum(abs(o.ripple_error_a) > 0.1 * o.ripple_a for o in lost)
    lines.append(f"ripple printed without a speed: more than 10 % off {share(off, len(lost))}")
    lines.append(f"CPU a measurement, median: {1000 * np.median([o.cpu_s for o in outcomes]):.0f} ms")
    return lines


def report(outcomes: Iterable[Outcome]) -> str:
    """All tables."""
    kept = list(outcomes)
    return "\n".join([*speed_table(kept), *foreign_table(kept), *level_table(kept)])


def keep(path: Path, outcomes: Iterable[Outcome]) -> None:
    """Add outcomes to a file, one JSON object a line."""
    with path.open("a") as file:
        for outcome in outcomes:
            file.write(json.dumps({**asdict(outcome), "states": sorted(outcome.states)}) + "\n")


def kept(path: Path) -> list[Outcome]:
    """Outcomes that `keep` wrote; none where there is no file."""
    rows = [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []
    return [
        Outcome(**{**row, "states": frozenset(row["states"]), "notes": tuple(row["notes"])}) for row in rows
    ]


def gone_through(rounds: Iterable[tuple[int, str, int, int]], path: Path | None) -> list[Outcome]:
    """Return the outcomes of all rounds (seed, kind, number of the first capture, how many); those that stand
    in the file at `path` are not run again, the others are added to it as they come."""
    outcomes = kept(path) if path else []
    done = {(o.seed, o.kind, o.number) for o in outcomes}
    for seed, kind, first, count in rounds:
        if (seed, kind, first) in done:
            continue
        found = list(judged(generate(seed, count, kind, first), seed, first))
        if path:
            keep(path, found)
        outcomes += found
        print(f"seed {seed}: {kind}, {first + count}", file=sys.stderr, flush=True)
    return outcomes


def main() -> None:
    """Run the judge from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seeds", default="1-1", help="first-last")
    parser.add_argument("--per-seed", type=int, default=24, help="captures of each kind a seed")
    parser.add_argument("--kinds", nargs="*", default=list(KINDS), choices=KINDS)
    parser.add_argument("--keep", type=Path, help="file to add outcomes to, and to go on from")
    parser.add_argument("--kept", type=Path, nargs="*", help="only report what these files hold")
    args = parser.parse_args()
    if args.kept:
        print(report(outcome for path in args.kept for outcome in kept(path)))
        return
    first, _, last = args.seeds.partition("-")
    seeds = range(int(first), int(last or first) + 1)
    rounds = ((seed, kind, 0, args.per_seed) for seed in seeds for kind in args.kinds)
    print(report(gone_through(rounds, args.keep)))


if __name__ == "__main__":
    main()
