"""Shaft speed from commutation: lines, order tracking, posterior over turns, refinement."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.order_tracking import AngleTrace, WorkTrace, angle_trace
from ingest.reading import SpeedCandidate
from ingest.speed_lines import Lines, band_limited, find_lines
from ingest.speed_posterior import Hypothesis, weigh
from ingest.speed_refine import TurnPhase, refine

ANSWER_ABOVE = 0.95
SAME_SPEED = 0.006  # hypotheses closer than this are one speed
LONGEST_SEARCH_S = 1.5
FOLLOWED = 4


@dataclass(frozen=True)
class Speed:
    """candidates: most probable first, summing to 1. phase is the refined phase of the first, over the run.

    segments: the bar count, told or most probable given the first speed; segments_probability likewise.
    """

    candidates: tuple[SpeedCandidate, ...]
    segments: int | None
    segments_probability: float
    phase: TurnPhase
    lines: Lines
    pattern_repeat_ms: float | None

    @property
    def probability(self) -> float:
        """Posterior of the first candidate."""
        return self.candidates[0].probability

    @property
    def turns(self) -> float:
        """Turns in the run."""
        return float(self.phase.turns[-1] - self.phase.turns[0])

    @property
    def whole_turns_s(self) -> float:
        """Time from the run's start after which a whole number of turns is complete."""
        fine = np.linspace(self.phase.time_s[0], self.phase.time_s[-1], 8 * len(self.phase.time_s))
        return float(np.interp(self.phase.turns[0] + int(self.turns), self.phase.at(fine), fine))


def find_speed(
    work: WorkTrace,
    *,
    segments: int | None = None,
    previous_rpm: float | None = None,
    rpm_low: float = 3400.0,
    rpm_high: float = 10_000.0,
) -> Speed | None:
    """Weigh all shaft speeds the trace allows; None when it holds no line that can be followed."""
    longest = int(LONGEST_SEARCH_S * work.rate_hz)
    part = work.y[-longest:] if len(work.y) > longest else work.y
    search = WorkTrace(part, work.rate_hz, work.usable_hz, work.spark_mask, work.spark_rate_hz)
    lines = find_lines(search)
    if not len(lines.hz):
        return None
    search = band_limited(search, lines.highest_hz)
    found: list[tuple[Hypothesis, AngleTrace]] = []
    for hz in lines.hz[_to_follow(lines)]:
        trace = angle_trace(search, float(hz), lines.highest_hz)
        if trace.cycles < 4:
            continue
        for hypothesis in weigh(
            trace,
            lines.highest_hz,
            segments=segments,
            previous_rpm=previous_rpm,
            rpm_low=rpm_low,
            rpm_high=rpm_high,
        ):
            found.append((hypothesis, trace))
    if not found:
        return None
    return _answer(work, lines, found)


def _to_follow(lines: Lines) -> np.ndarray:
    """Lines worth following: the strongest, and the strongest once weighted with frequency."""
    best = np.argsort(lines.power)[::-1][:3]
    steep = np.argsort(lines.power * lines.hz**2)[::-1][:2]
    return np.unique(np.concatenate([best, steep]))[:FOLLOWED]


def _answer(work: WorkTrace, lines: Lines, found: list[tuple[Hypothesis, AngleTrace]]) -> Speed:
    weights = np.array([h.log_weight for h, _ in found])
    hz = np.array([h.turn_hz for h, _ in found])
    bars = np.array([h.bars for h, _ in found])
    order = np.argsort(weights)[::-1]
    groups: list[tuple[float, float, int, float]] = []  # turn_hz, log weight, index of best, bars share
    free = np.ones(len(found), dtype=bool)
    for i in order:
        if not free[i]:
            continue
        same = free & (np.abs(np.log(hz / hz[i])) < SAME_SPEED)
        free &= ~same
        # Several followed lines may lead to one speed: per bar count, the best of them counts.
        best = [float(weights[same & (bars == b)].max()) for b in np.unique(bars[same])]
        total = float(np.logaddexp.reduce(best))
        groups.append((float(hz[i]), total, int(i), float(np.exp(weights[i] - total))))
    groups.sort(key=lambda g: -g[1])
    logs = np.array([g[1] for g in groups])
    p = np.exp(logs - logs[0])
    p /= p.sum()
    candidates = tuple(
        SpeedCandidate(60 * g[0], float(share)) for g, share in zip(groups, p, strict=True) if share >= 0.001
    )[:8]
    hypothesis, trace = found[groups[0][2]]
    offset_s = (len(work.y) / work.rate_hz) - trace.phase_time_s[-1]
    time, turns = trace.phase_time_s + offset_s, trace.phase_cycles / hypothesis.line_order
    highest_order = max(int(lines.highest_hz / hypothesis.turn_hz), 4)
    phase = refine(
        work.y, work.rate_hz, time, turns, highest_order, max(work.rate_hz * 0.42 / work.usable_hz, 1)
    )
    candidates = (SpeedCandidate(60 * phase.turn_hz, candidates[0].probability), *candidates[1:])
    return Speed(
        candidates, hypothesis.bars, groups[0][3], phase, lines, _pattern_repeat_ms(phase, candidates)
    )


def _pattern_repeat_ms(phase: TurnPhase, candidates: tuple[SpeedCandidate, ...]) -> float | None:
    """Return the shortest time after which the averaged wave repeats, as far as noise lets it be told."""
    power = np.abs(np.fft.rfft(phase.wave)) ** 2
    if len(power) < 3 or power[1:].max() <= 0:
        return None
    present = np.flatnonzero(power[1:] > 1e-4 * power[1:].max()) + 1
    return float(1000 / phase.turn_hz / np.gcd.reduce(present))
