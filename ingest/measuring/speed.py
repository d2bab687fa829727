"""Shaft speed from commutation: lines, order tracking, posterior over turns, refinement."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import lcm

import numpy as np

from ingest.known_pump import UNKNOWN_PUMP, KnownPump
from ingest.measuring.line_spectrum import line_spectrum
from ingest.measuring.order_tracking import AngleTrace, WorkTrace, follow_line, retraced
from ingest.measuring.speed_evidence import Doubt, bars_differ, comb, doubt
from ingest.measuring.speed_lines import Lines, band_limited, find_lines
from ingest.measuring.speed_poles import (
    each_brush_by_itself,
    four_pole_odds,
    of_a_pair,
    pairs_of,
    poles_looked_for,
    slowed,
    whole_turn,
)
from ingest.measuring.speed_posterior import FASTEST_RPM, Hypotheses, speed_log_prior, weigh
from ingest.measuring.speed_refine import TurnPhase, refine
from ingest.measuring.told_bars import BORNE_OUT, OtherBars, other_bars
from ingest.reading import SpeedCandidate

ANSWER_ABOVE = 0.95
SAME_SPEED = 0.015  # hypotheses closer than this are one speed
LONGEST_SEARCH_S = 1.5
LEAST_SWING_A = 1e-6  # less is arithmetic, not current
FOLLOWED = 3  # lines at most
FINER = 2  # times the working rate: samples to interpolate between
WORTH_FOLLOWING = 0.03  # of the strongest line's power
UNKNOWN_RIVAL = 2.0  # an unknown rival is as far from the last visit's speed as twice it
NEGLIGIBLE = 14.0  # log weight behind the best
COMB = 4.0  # log odds against a turn by which the ripple is another turn's
EXPECTED_WITHIN = 1.3  # times the last visit's speed: its ripple is in sight
BEYOND_A_DRIVE = 1.1  # of the band's highest speed
AT_ODDS = 0.15  # log ratio to the last visit's speed: a healthy pump's changes less from visit to visit
# Nothing makes a pump that ran run so much slower (a seizing one), or faster (a dry one gains some 20 %):
# it is rather half or twice the speed, misread now or at the last visit.
MOST_SLOWER, MOST_FASTER = 1.7, 1.6
SMEARED = 60.0  # log density behind the sharpest spectrum: that line is not the shaft's


@dataclass(frozen=True)
class Speed:
    """candidates: most probable first, summing to 1 (less where no turn fits).

    phase: the refined phase of the first candidate, over the run.
    segments: the bar count, told or most probable given the first speed; segments_probability likewise.
    bars_differ: lines show that the bars are not all alike, which is what tells one turn from another.
    other: bars and speed that the trace leads to by itself, other than told; None where none were weighed.
    ripple_alone: found by the ripple of the bars told alone; its phase is too rough to read more off.
    """

    candidates: tuple[SpeedCandidate, ...]
    segments: int | None
    segments_probability: float
    phase: TurnPhase
    lines: Lines
    pattern_repeat_ms: float | None
    bars_differ: bool
    other: OtherBars | None = None
    ripple_alone: bool = False

    @property
    def probability(self) -> float:
        """Posterior of the first candidate."""
        return self.candidates[0].probability

    @property
    def contradicted(self) -> OtherBars | None:
        """What the trace by itself speaks for rather than for the bars told; None if for nothing."""
        return self.other if self.other is not None and self.other.odds > BORNE_OUT else None

    @property
    def turns(self) -> float:
        """Turns in the run."""
        return float(self.phase.turns[-1] - self.phase.turns[0])

    @cached_property
    def whole_turns_s(self) -> float:
        """Time from the run's start after which a whole number of turns is complete."""
        fine = np.linspace(self.phase.time_s[0], self.phase.time_s[-1], 8 * len(self.phase.time_s))
        return float(np.interp(self.phase.turns[0] + int(self.turns), self.phase.at(fine), fine))


def find_speed(work: WorkTrace, known: KnownPump = UNKNOWN_PUMP) -> Speed | None:
    """Weigh all shaft speeds the trace allows; None when it holds no line that can be followed."""
    pairs = pairs_of(known)
    if pairs == 1 or each_brush_by_itself(known):
        return _perhaps_of_four(_of_two_poles(work, known), known)
    speed = _of_two_poles(slowed(work, pairs), of_a_pair(known))
    if speed is None:
        return None
    phase, lines = whole_turn(work, speed.phase, speed.lines, pairs)
    repeat_ms = _pattern_repeat_ms(phase)
    return replace(speed, segments=known.segments, phase=phase, lines=lines, pattern_repeat_ms=repeat_ms)


def _perhaps_of_four(speed: Speed | None, known: KnownPump) -> Speed | None:
    """Share the first candidate's probability with half the speed where four poles may look the same."""
    if speed is None:
        return None
    rpm, first = 60 * speed.phase.turn_hz, speed.probability
    odds = four_pole_odds(rpm, speed.segments, known)
    if not odds:
        return speed
    shared = _shared(list(speed.candidates), rpm, rpm / 2, first / (1 + odds), first)
    return replace(speed, candidates=tuple(shared))


def _of_two_poles(work: WorkTrace, known: KnownPump) -> Speed | None:
    speed = _found(work, known)
    if speed is None or not at_odds(60 * speed.phase.turn_hz, known.expected_rpm):
        return speed
    if too_far(60 * speed.phase.turn_hz, known.expected_rpm):
        return replace(speed, candidates=_evenly(speed, None))
    # A speed at odds with the last visit's is believed where the trace by itself leads to it.
    alone = _found(work, replace(known, previous_rpm=None))
    if alone is None or not _is(60 * alone.phase.turn_hz, 60 * speed.phase.turn_hz):
        return replace(speed, candidates=_evenly(speed, alone))
    return alone if alone.probability < speed.probability else speed


def at_odds(rpm: float, expected_rpm: float | None, beyond: float = AT_ODDS) -> bool:
    """Tell whether a speed is far from what the last visit leads to expect; beyond: log ratio."""
    return expected_rpm is not None and abs(float(np.log(rpm / expected_rpm))) > beyond


def too_far(rpm: float, expected_rpm: float | None) -> bool:
    """Tell whether a speed is too far from the last visit's to be answered."""
    return expected_rpm is not None and not 1 / MOST_SLOWER < rpm / expected_rpm < MOST_FASTER


def _evenly(speed: Speed, other: Speed | None) -> tuple[SpeedCandidate, ...]:
    first = [s.candidates[0].rpm for s in (speed, other) if s is not None]
    return tuple(SpeedCandidate(rpm, 0.5) for rpm in first)


def _found(work: WorkTrace, known: KnownPump) -> Speed | None:
    if np.std(work.y) < LEAST_SWING_A:
        return None
    poles, longest = poles_looked_for(known), int(LONGEST_SEARCH_S * work.rate_hz)
    part = work.y[-longest:] if len(work.y) > longest else work.y
    search = WorkTrace(part, work.rate_hz, work.usable_hz, work.spark_mask, work.spark_rate_hz)
    lines = find_lines(search)
    if not len(lines.hz):
        return None
    if known.segments:  # their ripple may be too weak to be among the lines, as beside a bad bar's
        fastest_rpm = max(known.band_rpm[1], EXPECTED_WITHIN * (known.expected_rpm or 0.0))
        ripple_hz = lcm(poles, known.segments) * fastest_rpm / 60
        highest_hz = min(max(lines.highest_hz, 1.05 * ripple_hz), work.usable_hz)
        lines = replace(lines, highest_hz=highest_hz)
    fine = band_limited(search, lines.highest_hz, FINER)
    search = band_limited(search, lines.highest_hz)
    followed: list[tuple[Hypotheses, AngleTrace]] = []
    unexplained = np.ones(len(lines.hz), dtype=bool)
    for i in _by_promise(lines):
        if not unexplained[i] and not _may_be_ripple(float(lines.hz[i]), known, followed):
            continue
        by_line = follow_line(search.y, search.rate_hz, float(lines.hz[i]))
        trace = retraced(fine, lines.highest_hz, *by_line)
        if trace.cycles < 4:
            continue
        hypotheses = weigh(trace, lines.highest_hz, sampled_hz=work.spark_rate_hz, known=known, poles=poles)
        if not len(hypotheses.bars):
            continue
        # All orders together give a sharper angle than the followed line: weigh again by it.
        best = int(np.argmax(hypotheses.log_weight))
        line_order = int(hypotheses.line_order[best])
        phase = _refined(search, lines, trace, line_order, banded=True)
        sharper = retraced(fine, lines.highest_hz, phase.time_s, phase.turns * line_order)
        again = weigh(sharper, lines.highest_hz, sampled_hz=work.spark_rate_hz, known=known, poles=poles)
        if len(again.bars):  # not so where the phase fell apart: that line was no shaft's
            trace, hypotheses = sharper, again
        followed.append((hypotheses, trace))
        best_hz = hypotheses.turn_hz[np.argmax(hypotheses.log_weight)]
        orders = lines.hz / best_hz
        unexplained &= np.abs(orders - np.round(orders)) > 0.02 + 0.002 * orders
        if len(followed) == FOLLOWED:
            break
    if not followed:
        return None
    sharpest = max(h.log_sharpness for h, _ in followed)
    followed = [f for f in followed if f[0].log_sharpness > sharpest - SMEARED]
    return _answer(work, lines, followed, known)


def _may_be_ripple(line_hz: float, known: KnownPump, followed: list[tuple[Hypotheses, AngleTrace]]) -> bool:
    """Tell whether a line would, as the ripple of bars told, give a usual speed that nothing led to so far.

    Another turn, an alternator's say, may have an order there by chance.
    """
    if not known.segments:
        return False
    turn_hz = line_hz / lcm(poles_looked_for(known), known.segments)
    tried = np.concatenate([h.turn_hz for h, _ in followed])
    usual = known.band_rpm[0] <= 60 * turn_hz <= known.band_rpm[1]
    return usual and bool(np.abs(np.log(tried / turn_hz)).min() > SAME_SPEED)


def _by_promise(lines: Lines) -> np.ndarray:
    """Strong lines worth following, the strongest first; among equals the one of higher frequency."""
    strong = np.flatnonzero(lines.power >= WORTH_FOLLOWING * lines.power.max())
    return strong[np.argsort(-lines.power[strong] * lines.hz[strong] ** 0.25)]


def _answer(
    work: WorkTrace, lines: Lines, followed: list[tuple[Hypotheses, AngleTrace]], known: KnownPump
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
        share = float(np.exp(weights[near[0]] - total))
        by, trace = followed[source[near[0]]]
        told = None if each_brush_by_itself(known) else known.segments
        if told and _is_comb(by, trace, lines, int(order_of_line[near[0]]), told):
            total -= COMB
        groups.append((total, int(near[0]), share))
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
    trace, line_order = followed[source[best]][1], int(order_of_line[best])
    count, count_share = int(bars[best]), groups[0][2]
    phase = _refined(work, lines, trace, line_order)
    doubted, differ = _second_look(work, lines, phase, known, count)
    whole = candidates[0].probability
    if doubted is not None:
        decided_by = known.expected_rpm if doubted.last_visit_decides else None
        kept = _kept(60 * phase.turn_hz, doubted.rival_rpm, decided_by)
        if doubted.rival_rpm is not None and kept < 0.5:
            # The last visit's speed favours the rival: it is answered, if the lines bear it out as well.
            rival = _refined(work, lines, trace, line_order, doubted.rival_rpm / (60 * phase.turn_hz))
            again, rival_differs = _second_look(work, lines, rival, known, count)
            if again is None or again.rival_rpm is None or _is(again.rival_rpm, 60 * phase.turn_hz):
                kept = 1 - kept
                if again is not None and again.rival_rpm is None:
                    kept = min(kept, _kept(60 * rival.turn_hz, None, known.expected_rpm))
                doubted = Doubt(60 * phase.turn_hz)
                phase, differ, count_share = rival, rival_differs, 0.0
        kept = max(kept, 0.5)  # the lines leave them alike: without more to go by, they share evenly
        candidates = _shared(candidates, 60 * phase.turn_hz, doubted.rival_rpm, kept * whole, whole)
    candidates[0] = SpeedCandidate(60 * phase.turn_hz, candidates[0].probability)
    other = _other(work, lines, trace, phase, known, believed=doubted is None)
    if other is not None and other.odds > BORNE_OUT and not _is(other.rpm, 60 * phase.turn_hz):
        mine = candidates[0].probability
        candidates = _shared(candidates, 60 * phase.turn_hz, other.rpm, mine / (1 + other.odds), mine)
    repeat_ms = _pattern_repeat_ms(phase)
    return Speed(
        tuple(candidates), known.segments or count, count_share, phase, lines, repeat_ms, differ, other
    )


def _other(
    work: WorkTrace, lines: Lines, trace: AngleTrace, phase: TurnPhase, known: KnownPump, *, believed: bool
) -> OtherBars | None:
    """Weigh other bars against those told, where no last visit's speed speaks for them."""
    if known.segments is None or known.expected_rpm is not None:
        return None
    return other_bars(
        trace,
        lines.highest_hz,
        phase.turn_hz,
        sampled_hz=work.spark_rate_hz,
        known=known,
        believed=believed,
    )


def outweighed(speed: Speed | None) -> bool:
    """Whether the trace speaks for other bars more than for those told, rare as wrong ones are."""
    return speed is not None and speed.other is not None and speed.other.odds > 1


def _second_look(
    work: WorkTrace, lines: Lines, phase: TurnPhase, known: KnownPump, likeliest_bars: int
) -> tuple[Doubt | None, bool]:
    """Look at the trace by this turn: what speaks against it, and whether bars differ."""
    fine = band_limited(work, lines.highest_hz, FINER)
    by_turn = retraced(fine, lines.highest_hz, phase.time_s, phase.turns)
    if by_turn.cycles < 2:
        return None, False
    orders = int(lines.highest_hz / phase.turn_hz)
    spectrum = line_spectrum(by_turn, work.spark_rate_hz, lines.highest_hz)
    bars, told = known.segments or likeliest_bars, known.segments is not None
    doubted = doubt(
        spectrum,
        60 * phase.turn_hz,
        orders,
        bars,
        told=told,
        band_rpm=known.band_rpm,
        pairs=work.pairs,
        each_brush=each_brush_by_itself(known),
        # A drive slows its pump: a turn far beyond the band is no rival then.
        fastest_rpm=BEYOND_A_DRIVE * known.band_rpm[1] if known.supply == "pwm" else FASTEST_RPM,
    )
    return doubted, bars_differ(spectrum)


def _is_comb(hypotheses: Hypotheses, trace: AngleTrace, lines: Lines, line_order: int, segments: int) -> bool:
    """Tell whether the ripple of another turn towers, when the followed line is order `line_order`."""
    count = int(lines.highest_hz / trace.line_hz * line_order)
    x, floor = hypotheses.spectrum.at(np.arange(1.0, count + 1) / line_order)
    return comb(x * floor, lcm(2, segments)) != 1


def _shared(
    candidates: list[SpeedCandidate], rpm: float, rival_rpm: float | None, first: float, whole: float
) -> list[SpeedCandidate]:
    """Give `first` of the probability `whole` to a speed, and the rest to its rival, or to none known.

    The speed comes first, whatever its share: the phase is its own.
    """
    rest = [c for c in candidates[1:] if not _is(c.rpm, rpm)]
    taken = sum(c.probability for c in candidates[1:] if _is(c.rpm, rpm))
    if rival_rpm is not None:
        same = sum(c.probability for c in rest if _is(c.rpm, rival_rpm))
        rest = [c for c in rest if not _is(c.rpm, rival_rpm)]
        rest.append(SpeedCandidate(rival_rpm, whole - first + same))
    return [SpeedCandidate(rpm, first + taken), *sorted(rest, key=lambda c: -c.probability)]


def _is(rpm: float | None, other_rpm: float) -> bool:
    return rpm is not None and abs(rpm / other_rpm - 1) < SAME_SPEED


def _kept(rpm: float, rival_rpm: float | None, expected_rpm: float | None) -> float:
    """Share that a speed keeps beside a rival which the lines bear out as well."""
    if expected_rpm is None:
        return 0.5
    rpms = np.array([rpm, rival_rpm or UNKNOWN_RIVAL * expected_rpm])
    mine, other = np.exp(speed_log_prior(rpms, (1e-9, 1e9), expected_rpm))
    return float(mine / (mine + other))


def _refined(
    work: WorkTrace,
    lines: Lines,
    trace: AngleTrace,
    line_order: int,
    times: float = 1.0,
    *,
    banded: bool = False,
) -> TurnPhase:
    """Refine the phase of a turn of which the followed line is an order, or of one `times` as fast."""
    time, cycles = trace.phase_time_s, trace.phase_cycles
    if len(work.y) / work.rate_hz > time[-1] + 1 / work.rate_hz:  # the search saw only the end of the trace
        time, cycles = follow_line(work.y, work.rate_hz, trace.line_hz)
    turns = cycles * times / line_order
    highest_order = max(int(lines.highest_hz / trace.line_hz * line_order / times), 4)
    oversampled = max(work.rate_hz * 0.42 / work.usable_hz, 1.0)
    return refine(work.y, work.rate_hz, time, turns, highest_order, oversampled, banded=banded)


def _pattern_repeat_ms(phase: TurnPhase) -> float | None:
    """Return the shortest time after which the averaged wave repeats, as far as noise lets it be told."""
    power = np.abs(np.fft.rfft(phase.wave)) ** 2
    if len(power) < 3 or power[1:].max() <= 0:
        return None
    present = np.flatnonzero(power[1:] > 1e-4 * power[1:].max()) + 1
    return float(1000 / phase.turn_hz / np.gcd.reduce(present))
