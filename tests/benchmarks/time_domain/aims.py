"""Hold the measuring against what is asked of it, line by line, on captures made without it in view.

    python -m tests.benchmarks.time_domain.aims --seed 411 --per-kind 96 --keep outcomes.jsonl
    python -m tests.benchmarks.time_domain.aims --kept outcomes.jsonl

Captures are made and measured a round of all kinds at a time; with --keep each kind's outcomes are added to a
file as they come, what is there is not run again, and a run that was stopped goes on. Of a share N, the exact
bounds (Clopper & Pearson 1934) and the aim are printed: `met` where the upper 95 % bound keeps the aim,
`as aimed` where only the share does, `not met` where it doesn't, `refuted` where the lower bound doesn't
either. Refused shares are those of gated records; `clean` ones of healthy pumps on a plain feed, engine off.
"""

import argparse
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import beta

from tests.benchmarks.time_domain.generating import KINDS
from tests.benchmarks.time_domain.judge import (
    APART,
    DOUBTED,
    WANDERING,
    WITH_SPARKS,
    gone_through,
    kept,
    upper,
)
from tests.benchmarks.time_domain.judging import FOREIGN, NO_PUMP, PWM, Outcome

A_ROUND = 24
NAMES_IT = DOUBTED | {"current-flat", "engine-suspected", "segments-contradicted", "no-current"}
Part = Iterable[Outcome]


@dataclass(frozen=True)
class Share:
    """A line of counts: at most `aim`, where one is set."""

    name: str
    count: int
    total: int
    aim: float | None = None

    def __str__(self) -> str:
        if not self.total:
            return f"{self.name:58} {'none':>6}"
        found, high = self.count / self.total, upper(self.count, self.total)
        shown = f"{self.count:5d} of {self.total:<5d} {100 * found:6.2f} % (≤ {100 * high:5.2f} %)"
        return f"{self.name:58} {shown} {self._against(found, high)}"

    def _against(self, found: float, high: float) -> str:
        if self.aim is None:
            return ""
        low = float(beta.ppf(0.05, self.count, self.total - self.count + 1)) if self.count else 0.0
        word = "met" if high <= self.aim else "as aimed" if found <= self.aim else "not met"
        return f"aim {100 * self.aim:.2f} %: {'refuted' if low > self.aim else word}"


@dataclass(frozen=True)
class Between:
    """A line of a figure that is to lie between two, with two standard errors of it."""

    name: str
    total: int
    found: float
    error: float
    low: float
    high: float

    def __str__(self) -> str:
        if not self.total:
            return f"{self.name:58} {'none':>6}"
        shown = f"{self.found:+7.2f} ± {self.error:4.2f} of {self.total}"
        inside = self.low <= self.found <= self.high
        near = self.low - self.error <= self.found <= self.high + self.error
        word = "as aimed" if inside else "not met" if near else "refuted"
        return f"{self.name:58} {shown:34} aim {self.low:g} to {self.high:g}: {word}"


Line = Share | Between


def speeds(outcomes: list[Outcome]) -> list[Line]:
    """Lines on speeds told and left untold."""
    usual = [o for o in outcomes if o.kind not in APART and o.gated]
    lines: list[Line] = []
    for way, gross, refused, points in (
        ("told", 0.003, 0.08, 0.3),
        ("previous", 1 / 3000, 0.025, 0.2),
        ("untold", 0.01, 0.60, 1.0),
    ):
        part = [o for o in usual if o.way == way]
        name = {"told": "bars told", "previous": "bars and last visit told", "untold": "bars untold"}[way]
        lines += _answers(name, part, gross, None)
        lines.append(_refused(f"{name}, clean: refused", [o for o in part if _clean(o)], refused))
        lines.append(_overstated(f"{name}: confidence less hit rate, points", part, points))
    told = [o for o in usual if o.way == "told"]
    lines.append(_refused("bars told, odd: refused", [o for o in told if o.bars % 2], 0.08))
    lines.append(_refused("bars told, even: refused", [o for o in told if o.bars % 2 == 0], 0.08))
    for kind in sorted({o.kind for o in told}):
        lines.append(_refused(f"bars told, {kind}: refused", [o for o in told if o.kind == kind], None))
    worn = [o for o in told if o.kind == "worn_brushes"]
    lines += _answers("worn, arcing brushes, bars told", worn, 0.003, 0.20)
    apart = [o for o in outcomes if o.gated]
    lines += _answers("four poles told", _of(apart, "four_poles", "told"), 0.01, 0.08)
    lines += _answers("four poles untold", _of(apart, "four_poles", "untold"), 0.01, None)
    lines += _answers("fast drive, supply told", _of(apart, "fast_pwm", "supply told"), 0.02, 0.30)
    for kind in PWM:
        for way in ("bars told", "untold"):
            name = f"{kind.replace('_', ' ')}, supply untold, {'bars told' if way != 'untold' else way}"
            lines += _answers(name, _of(apart, kind, way), 0.02, None)
    lines += _answers("slow pwm, supply told", _of(apart, "slow_pwm", "supply told"), 0.02, None)
    wrong = [o for o in usual if o.way == "wrong bars told"]
    lines.append(Share("a wrong number of bars told: gross of all", sum(o.gross for o in wrong), len(wrong)))
    beyond = [o for o in outcomes if o.kind not in APART and not o.gated]
    for way in ("told", "previous", "untold"):
        lines += _answers(f"outside the gates, {way}", [o for o in beyond if o.way == way], 0.02, None)
    return lines


def others(outcomes: list[Outcome]) -> list[Line]:
    """Lines on records of something else, or of nothing that tells a turn."""
    alike = [o for o in outcomes if o.kind == "bars_alike" and o.way == "untold"]
    lines: list[Line] = [Share("bars all alike, untold: told", _told(alike), len(alike), 0.0)]
    for way in ("untold", "told", "pump's bars told"):
        part = [o for o in outcomes if o.kind in FOREIGN and o.way == way]
        for kind in ("", *FOREIGN):
            some = [o for o in part if kind in ("", o.kind)]
            if some and (kind or way != "pump's bars told"):
                aim = None if kind else 0.05
                lines.append(Share(f"{kind or 'another load'}, {way}: told", _told(some), len(some), aim))
        if part:
            bare = [o for o in part if not NAMES_IT & {*o.notes, o.refused}]
            lines.append(
                Share(f"another load, {way}: untold and no note on it", len(bare) - _told(bare), len(part))
            )
            lines.append(Share(f"another load, {way}: told and no note on it", _told(bare), len(part)))
    for kind in ("noise", "flat_high", "stalled"):
        part = [o for o in outcomes if o.kind == kind]
        lines.append(Share(f"{kind.replace('_', ' ')}: told", _told(part), len(part), 0.05))
    return lines


def levels(outcomes: list[Outcome]) -> list[Line]:
    """Lines on biases, and on how often standard errors hold, bars told."""
    own = [o for o in outcomes if o.way == "told" and o.kind not in NO_PUMP and not o.gross]
    worn = [o for o in own if o.kind == "worn_brushes"]
    lines: list[Line] = [
        _bias("worn, arcing brushes: mean's bias, %", worn, "mean_error_a", "mean_a", 0.1),
        _bias("worn, arcing brushes: ripple's bias, %", worn, "ripple_error_a", "ripple_a", 3.0),
    ]
    groups: list[tuple[str, Callable[[Outcome], bool]]] = [
        ("all", lambda o: True),
        ("sparks", lambda o: o.kind in WITH_SPARKS),
        ("wander", lambda o: o.kind in WANDERING),
        ("noise", lambda o: o.kind not in WITH_SPARKS and o.kind not in WANDERING),
    ]
    for figure, error, se in (
        ("mean", "mean_error_a", "mean_se_a"),
        ("ripple", "ripple_error_a", "ripple_se_a"),
        ("speed", "speed_error", "speed_se"),
    ):
        for name, pick in groups:
            part = [o for o in own if pick(o) and (figure == "mean" or o.answered)]
            z = np.array([abs(getattr(o, error)) / getattr(o, se) for o in part if getattr(o, se) > 0])
            z = z[np.isfinite(z)]
            for times, low, high in ((1, 64, 72), (2, 93, 97)):
                inside = 100 * float(np.mean(z < times)) if len(z) else np.nan
                off = 2 * (inside * (100 - inside) / max(len(z), 1)) ** 0.5
                lines.append(
                    Between(f"{figure}, {name}: inside {times} se, %", len(z), inside, off, low, high)
                )
    return lines


def report(outcomes: list[Outcome]) -> str:
    """All lines."""
    lines = [*speeds(outcomes), *others(outcomes), *levels(outcomes)]
    spent = np.median([o.cpu_s for o in outcomes])
    return "\n".join([*map(str, lines), f"processor time a measurement, median: {1000 * spent:.0f} ms"])


def _clean(outcome: Outcome) -> bool:
    return outcome.states == {"healthy"}


def _told(part: list[Outcome]) -> int:
    return sum(o.answered for o in part)


def _of(outcomes: list[Outcome], kind: str, way: str) -> list[Outcome]:
    return [o for o in outcomes if o.kind == kind and o.way == way]


def _refused(name: str, part: list[Outcome], aim: float | None) -> Share:
    return Share(name, len(part) - _told(part), len(part), aim)


def _answers(name: str, part: list[Outcome], gross: float | None, refused: float | None) -> list[Line]:
    wrong = sum(o.gross for o in part)
    return [
        Share(f"{name}: gross of answers", wrong, _told(part), gross),
        _refused(f"{name}: refused", part, refused),
    ]


def _overstated(name: str, part: list[Outcome], points: float) -> Between:
    told = [o for o in part if o.answered]
    stated = np.array([o.confidence for o in told])
    right = np.array([not o.gross for o in told])
    if not told:
        return Between(name, 0, np.nan, np.nan, -np.inf, points)
    # What chance alone makes of it, were every stated confidence true; no less than one more wrong.
    chance = max(float(np.sum(stated * (1 - stated))), 1.0) ** 0.5 / len(told)
    over = 100 * float(stated.mean() - right.mean())
    return Between(name, len(told), over, 200 * chance, -np.inf, points)


def _bias(name: str, part: list[Outcome], error: str, size: str, aim: float) -> Between:
    off = np.array([100 * getattr(o, error) / getattr(o, size) for o in part])
    off = off[np.isfinite(off)]
    spread = 2 * float(np.std(off)) / max(len(off), 1) ** 0.5 if len(off) else np.nan
    return Between(name, len(off), float(np.mean(off)) if len(off) else np.nan, spread, -aim, aim)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--per-kind", type=int, default=A_ROUND, help="captures of each kind")
    parser.add_argument("--kinds", nargs="*", default=list(KINDS), choices=KINDS)
    parser.add_argument("--keep", type=Path, help="file to add outcomes to, and to go on from")
    parser.add_argument("--kept", type=Path, nargs="*", help="only report what these files hold")
    args = parser.parse_args()
    if args.kept:
        print(report([outcome for path in args.kept for outcome in kept(path)]))
        return
    firsts = range(0, args.per_kind, A_ROUND)
    rounds = (
        (args.seed, kind, first, min(A_ROUND, args.per_kind - first))
        for first in firsts
        for kind in args.kinds
    )
    print(report(gone_through(rounds, args.keep)))


if __name__ == "__main__":
    main()
