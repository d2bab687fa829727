"""Motors of more than two poles: each pair of poles sees a two-pole motor of fewer bars.

While the shaft makes one turn, the magnets' pattern passes a bar once for each pair of poles. So the trace,
played that many times slower, is that of a two-pole motor at the shaft's own speed, with lcm(poles, bars) /
pairs ripples a turn. What is found of it holds, save that its turn is a part of the shaft's.
"""

from __future__ import annotations

from dataclasses import replace
from math import lcm

import numpy as np

from ingest.known_pump import KnownPump
from ingest.measuring.order_tracking import WorkTrace
from ingest.measuring.speed_lines import Lines
from ingest.measuring.speed_refine import TurnPhase, refine

# Odds that what looks like two poles and so many bars has four poles and turns half as fast, with twice the
# bars found, or of as many if they are 9 and more: one pump in twenty has four poles, of 9 to 14 bars
# mostly (common practice, no source).
FOUR_POLE_ODDS = {5: 0.5, 6: 0.15, 7: 0.15, 9: 0.1, 11: 0.15, 13: 0.15}
# Few pumps run at the lower end of the usual band (most at 4,500 to 7,500 rpm, web pages): from so many times
# its lowest speed on half the speed is as likely a pump's, below the first so much less.
LIKELY_FROM, SELDOM = (1.05, 1.2), 0.1


def pairs_of(known: KnownPump) -> int:
    """Pairs of poles; motors whose poles are not told have two poles, as most do."""
    return max((known.poles or 2) // 2, 1)


def four_pole_odds(rpm: float, segments: int | None, known: KnownPump) -> float:
    """Odds that the speed is half as high, of a motor of four poles.

    All that tells bars apart comes as often a turn of either, so that the trace decides nothing. 0 where
    poles, bars or the last visit's speed are told, or half the speed is unusual.
    """
    told = known.poles is not None or known.segments is not None or known.expected_rpm is not None
    if told or rpm / 2 < known.band_rpm[0]:
        return 0.0
    seldom, likely = LIKELY_FROM
    above = (rpm / 2 / known.band_rpm[0] - seldom) / (likely - seldom)
    return FOUR_POLE_ODDS.get(segments or 0, 0.0) * SELDOM ** (1 - min(max(above, 0.0), 1.0))


def each_brush_by_itself(known: KnownPump) -> bool:
    """Whether no two brushes commutate together: odd bars under more than two brushes.

    Then one pair of poles sees no motor of whole bars, and the trace is read as it is.
    """
    return pairs_of(known) > 1 and known.segments is not None and known.segments % 2 == 1


def poles_looked_for(known: KnownPump) -> int:
    """Poles of the motor whose turn is looked for in the trace as it is, or slowed."""
    return 2 * pairs_of(known) if each_brush_by_itself(known) else 2


def commutations(known: KnownPump) -> int:
    """The order of a turn's wave of which commutation leaves multiples: that of all brushes, or of one."""
    assert known.segments is not None
    return known.segments if each_brush_by_itself(known) else ripples_a_turn(known.segments, known)


def ripples_a_turn(segments: int, known: KnownPump) -> int:
    """lcm(poles, segments)."""
    return lcm(2 * pairs_of(known), segments)


def of_a_pair(known: KnownPump) -> KnownPump:
    """The two-pole motor that one pair of poles sees; bars even or not told."""
    pairs, segments = pairs_of(known), known.segments
    if segments:
        segments = segments // pairs if segments % pairs == 0 else lcm(2 * pairs, segments) // pairs
    return replace(known, segments=segments, poles=2)


def slowed(work: WorkTrace, pairs: int) -> WorkTrace:
    """The trace played `pairs` times slower."""
    return replace(
        work,
        rate_hz=work.rate_hz / pairs,
        usable_hz=work.usable_hz / pairs,
        spark_rate_hz=work.spark_rate_hz / pairs,
        pairs=pairs,
    )


def whole_turn(work: WorkTrace, phase: TurnPhase, lines: Lines, pairs: int) -> tuple[TurnPhase, Lines]:
    """Phase and wave of the shaft's turn, and lines, from those found in the slowed trace."""
    lines = replace(lines, hz=lines.hz * pairs, highest_hz=lines.highest_hz * pairs)
    highest_order = max(int(lines.highest_hz / phase.turn_hz), 4)
    oversampled = max(work.rate_hz * 0.42 / work.usable_hz, 1.0)
    turns = np.asarray(phase.turns) / pairs
    return refine(work.y, work.rate_hz, phase.time_s / pairs, turns, highest_order, oversampled), lines
