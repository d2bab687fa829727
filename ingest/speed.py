"""Shaft speed from commutation: lines, order tracking, posterior over turns, refinement."""

from __future__ import annotations

from dataclasses import dataclass
from math import lcm
from typing import Any

import numpy as np

from ingest.order_tracking import AngleTrace, WorkTrace, angle_trace, retraced
from ingest.reading import SpeedCandidate
from ingest.speed_evidence import Doubt, bars_differ, doubt
from ingest.speed_lines import Lines, band_limited, find_lines
from ingest.speed_posterior import Hypotheses, line_spectrum, speed_log_prior, weigh
from ingest.speed_refine import TurnPhase, refine

ANSWER_ABOVE = 0.95
SAME_SPEED = 0.015  # hypotheses closer than this are one speed
LONGEST_SEARCH_S = 1.5
FOLLOWED = 3  # lines at most
WORTH_FOLLOWING = 0.03  # of the strongest line's power
UNKNOWN_RIVAL = 2.0  # an unknown rival is as far from the last visit's speed as twice it
NEGLIGIBLE = 14.0  # log weight behind the best


@dataclass(frozen=True)
class Speed:
    """candidates: most probable first, summing to 1 (less where no turn fits).

    phase: the refined phase of the first candidate, over the run.
    segments: the bar count, told or most probable given the first speed; segments_probability likewise.
    bars_differ: lines show that the bars are not all alike, which is what tells one turn from another.
    """

    candidates: tuple[SpeedCandidate, ...]
    segments: int | None
    segments_probability: float
    phase: TurnPhase
    lines: Lines
    pattern_repeat_ms: float | None
    bars_differ: bool

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
    known: dict[str, Any] = {
        "sampled_hz": work.spark_rate_hz,
        "segments": segments,
        "previous_rpm": previous_rpm,
        "rpm_low": rpm_low,
        "rpm_high": rpm_high,
    }
    followed: list[tuple[Hypotheses, AngleTrace]] = []
    unexplained = np.ones(len(lines.hz), dtype=bool)
    for i in _by_promise(lines):
        if not unexplained[i]:
            continue
        trace = angle_trace(search, float(lines.hz[i]), lines.highest_hz)
        if trace.cycles < 4:
            continue
        hypotheses = weigh(trace, lines.highest_hz, **known)
        if not len(hypotheses.bars):
            continue
        # All orders together give a sharper angle than the followed line: weigh again by it.
        best = int(np.argmax(hypotheses.log_weight))
        line_order = int(hypotheses.line_order[best])
        phase = _refined(search, lines, trace, line_order)
        trace = retraced(search, lines.highest_hz, phase.time_s, phase.turns * line_order)
        hypotheses = weigh(trace, lines.highest_hz, **known)
        followed.append((hypotheses, trace))
        best_hz = hypotheses.turn_hz[np.argmax(hypotheses.log_weight)]
        orders = lines.hz / best_hz
        unexplained &= np.abs(orders - np.round(orders)) > 0.02 + 0.002 * orders
        if len(followed) == FOLLOWED:
            break
    return _answer(work, lines, followed, segments, (rpm_low, rpm_high), previous_rpm) if followed else None


def _by_promise(lines: Lines) -> np.ndarray:
    """Strong lines worth following, the strongest first; among equals the one of higher frequency."""
    strong = np.flatnonzero(lines.power >= WORTH_FOLLOWING * lines.power.max())
    return strong[np.argsort(-lines.power[strong] * lines.hz[strong] ** 0.25)]


def _answer(
    work: WorkTrace,
    lines: Lines,
    followed: list[tuple[Hypotheses, AngleTrace]],
    segments: int | None,
    band_rpm: tuple[float, float],
    previous_rpm: float | None,
) -> Speed:
    """Merge the hypotheses of all followed lines into speeds with probabilities, and refine the first."""
    weights = np.concatenate([h.log_weight for h, _ in followed])
    hz = np.concatenate([h.turn_hz for h, _ in followed])
    bars = np.concatenate([h.bars for h, _ in followed])
    order_of_line = np.concatenate([h.line_order for h, _ in followed])
    source = np.repeat(np.arange(len(followed)), [len(h.bars) for h, _ in followed])
    near = np.flatnonzero(weights > weights.max() - NEGLIGIBLE)
    near = near[np.argsort(weights[near])[::-1]]
    groups: list[tuple[float, int, float]] = []  # log weight, best hypothesis, share of its bar count
    while len(near):
        same = np.abs(np.log(hz[near] / hz[near[0]])) < SAME_SPEED
        # Several followed lines may lead to one speed: per bar count, the best of them counts.
        _, first = np.unique(bars[near[same]], return_index=True)
        total = float(np.logaddexp.reduce(weights[near[same]][first]))
        groups.append((total, int(near[0]), float(np.exp(weights[near[0]] - total))))
        near = near[~same]
    groups.sort(key=lambda g: -g[0])
    p = np.exp(np.array([g[0] for g in groups]) - groups[0][0])
    p /= p.sum()
    candidates = [
        SpeedCandidate(60 * float(hz[g[1]]), float(share))
        for g, share in zip(groups, p, strict=True)
        if share >= 0.001
    ][:8]
    best = groups[0][1]
    trace = followed[source[best]][1]
    phase = _refined(work, lines, trace, int(order_of_line[best]))
    candidates[0] = SpeedCandidate(60 * phase.turn_hz, candidates[0].probability)
    by_turn = retraced(work, lines.highest_hz, phase.time_s, phase.turns)
    differ = False
    if by_turn.cycles >= 2:
        spectrum, count = line_spectrum(by_turn), int(lines.highest_hz / phase.turn_hz)
        doubted = doubt(
            spectrum,
            60 * phase.turn_hz,
            count,
            segments or int(bars[best]),
            told=segments is not None,
            band_rpm=band_rpm,
        )
        candidates = _shared(candidates, doubted, previous_rpm) if doubted else candidates
        differ = bars_differ(spectrum, count, lcm(2, int(bars[best])))
    repeat_ms = _pattern_repeat_ms(phase)
    return Speed(tuple(candidates), int(bars[best]), groups[0][2], phase, lines, repeat_ms, differ)


def _shared(
    candidates: list[SpeedCandidate], doubted: Doubt, previous_rpm: float | None
) -> list[SpeedCandidate]:
    """Share the first candidate's probability with its rival, or with none that is known.

    The lines leave them alike, so they share it evenly, unless the last visit's speed favours the first.
    """
    whole, rest = candidates[0].probability, candidates[1:]
    first = SpeedCandidate(
        candidates[0].rpm, whole * _kept(candidates[0].rpm, doubted.rival_rpm, previous_rpm)
    )
    if doubted.rival_rpm is not None:
        same = [c for c in rest if abs(c.rpm / doubted.rival_rpm - 1) < SAME_SPEED]
        rest = [c for c in rest if c not in same]
        rest.append(
            SpeedCandidate(doubted.rival_rpm, whole - first.probability + sum(c.probability for c in same))
        )
    # The first keeps its place: the phase is its own.
    return [first, *sorted(rest, key=lambda c: -c.probability)]


def _kept(rpm: float, rival_rpm: float | None, previous_rpm: float | None) -> float:
    """Share that the first candidate keeps."""
    if previous_rpm is None:
        return 0.5
    rpms = np.array([rpm, rival_rpm or UNKNOWN_RIVAL * previous_rpm])
    mine, other = np.exp(speed_log_prior(rpms, 1e-9, 1e9, previous_rpm))
    return float(max(mine / (mine + other), 0.5))


def _refined(work: WorkTrace, lines: Lines, trace: AngleTrace, line_order: int) -> TurnPhase:
    offset_s = len(work.y) / work.rate_hz - trace.phase_time_s[-1]
    time, turns = trace.phase_time_s + offset_s, trace.phase_cycles / line_order
    if offset_s > 0:
        speed = (turns[1] - turns[0]) / (time[1] - time[0])
        time, turns = np.append(0.0, time), np.append(turns[0] - speed * offset_s, turns)
    highest_order = max(int(lines.highest_hz / trace.line_hz * line_order), 4)
    oversampled = max(work.rate_hz * 0.42 / work.usable_hz, 1.0)
    return refine(work.y, work.rate_hz, time, turns, highest_order, oversampled)


def _pattern_repeat_ms(phase: TurnPhase) -> float | None:
    """Return the shortest time after which the averaged wave repeats, as far as noise lets it be told."""
    power = np.abs(np.fft.rfft(phase.wave)) ** 2
    if len(power) < 3 or power[1:].max() <= 0:
        return None
    present = np.flatnonzero(power[1:] > 1e-4 * power[1:].max()) + 1
    return float(1000 / phase.turn_hz / np.gcd.reduce(present))
