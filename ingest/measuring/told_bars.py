"""Whether the trace bears out the number of bars told.

Bars told leave only turns at which their ripple stands; a wrong number has such a turn too, and among these
it has every confidence. So the answer's own trace is weighed once more with the bars left open: what it says
for another number, at another speed, is set against what it says for the one told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import lcm

import numpy as np
from scipy.special import logsumexp

from ingest.known_pump import KnownPump
from ingest.measuring.order_tracking import AngleTrace
from ingest.measuring.speed_poles import poles_looked_for
from ingest.measuring.speed_posterior import BAR_ODDS, weigh

WRONGLY_TOLD = 0.02  # how often a number of bars is told wrong (common practice, no source)
# Odds from which the number told is not borne out: the trace by itself speaks four times as much for others.
# Bars all alike speak for none, and are told.
BORNE_OUT = 4 * WRONGLY_TOLD / (1 - WRONGLY_TOLD)
SAME_SPEED = 0.015  # log ratio
USUAL_BARS = range(5, 17)  # of motors that may be meant instead
FEWEST_TURNS_SWITCHED = 5.0  # what a drive leaves between the orders passes for orders of a slow turn
MOST_LOG_ODDS = 30.0
SURROUNDED = 1.05  # by so much the speeds looked at surround the one told


@dataclass(frozen=True)
class OtherBars:
    """Bars and speed that the trace by itself leads to, and their odds against the bars told."""

    segments: int
    rpm: float
    odds: float


def other_bars(
    trace: AngleTrace,
    highest_hz: float,
    turn_hz: float,
    *,
    sampled_hz: float,
    known: KnownPump,
    believed: bool,
) -> OtherBars | None:
    """Weigh other bars, at usual speeds and at turn_hz, against those told; None where none can be weighed.

    believed: nothing else speaks against turn_hz.
    """
    told_bars, poles = known.segments, poles_looked_for(known)
    assert told_bars is not None
    # Odd bars make the ripple of twice as many even ones, so that these do not differ in speed.
    others = {n: BAR_ODDS[n] for n in USUAL_BARS if lcm(poles, n) != lcm(poles, told_bars)}
    bar_odds = {n: WRONGLY_TOLD * odds / sum(others.values()) for n, odds in others.items()}
    bar_odds[told_bars] = 1 - WRONGLY_TOLD
    (low, high), rpm = known.band_rpm, 60 * turn_hz  # other bars count at usual speeds
    found = weigh(
        trace,
        highest_hz,
        sampled_hz=sampled_hz,
        known=replace(known, segments=None),
        poles=poles,
        bar_odds=bar_odds,
        between_rpm=(min(low, rpm / SURROUNDED), max(high, rpm * SURROUNDED)),
    )
    told = found.bars == told_bars
    unlike = ~told
    if known.supply == "pwm":
        unlike &= found.turn_hz >= FEWEST_TURNS_SWITCHED * trace.line_hz / trace.cycles
    if believed:  # other bars at this very speed would leave it as it is
        unlike &= np.abs(np.log(found.turn_hz / turn_hz)) > SAME_SPEED
    if not told.any() or not unlike.any():
        return None
    best = np.flatnonzero(unlike)[np.argmax(found.log_weight[unlike])]
    log_odds = logsumexp(found.log_weight[unlike]) - found.log_weight[told].max()
    return OtherBars(
        int(found.bars[best]), 60 * float(found.turn_hz[best]), float(np.exp(min(log_odds, MOST_LOG_ODDS)))
    )
