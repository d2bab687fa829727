"""Is the pump fed by a switched drive, and may the line that tells the speed be the drive's own?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.capture import Note
from ingest.known_pump import KnownPump
from ingest.measuring import quality
from ingest.measuring.feed import Clocks
from ingest.measuring.foreign_lines import ForeignLines
from ingest.measuring.speed import Speed, at_odds
from ingest.measuring.switching import may_be_ripple
from ingest.wording import measuring_notes

CLOCKS_WANDER_PCT = 0.1  # no oscillator in use wanders so far within a record, common practice, no source
SURE_OF_A_BAR = 0.998  # probability: with all its other orders a dead bar's turn is surer, a clock's is not
SAME_AS_BEFORE = 0.1  # log ratio to the last visit's speed


@dataclass(frozen=True)
class Drive:
    """pwm_hz: its clock, None where none was found. told: the speed still is, after what was found."""

    pwm_hz: float | None
    notes: tuple[Note, ...]
    told: bool


def find_drive(
    speed: Speed,
    foreign: ForeignLines,
    *,
    told: bool,
    rate_hz: float,
    known: KnownPump,
    clocks: Clocks,
    fast_hz: float | None,
) -> Drive:
    """Decide what lines that do not follow the shaft, and those on round figures, say of the feed.

    told: whether the speed is by all else. fast_hz: a line faster than ripple.
    """
    turn_hz, supply = speed.phase.turn_hz, known.supply
    strongest_hz = float(speed.lines.hz[np.argmax(speed.lines.power)])
    nearest_hz = round(strongest_hz / turn_hz) * turn_hz
    notes = []
    note, pwm_hz = quality.foreign_note(foreign, rate_hz, supply)
    if note is not None:
        if not (supply == "pwm" and clocks.fast is not None):
            notes.append(note)
        # A foreign line stronger than every shaft order may be what was taken for the ripple's rival.
        told = told and bool(foreign.share.max() < 1)
    elif fast_hz is not None and supply != "pwm":
        notes.append(measuring_notes.drive_fast(fast_hz))
        pwm_hz = fast_hz
    if foreign.mirrored and supply != "pwm":
        # Of two lines that multiply each other one is a drive's clock: which, only the last visit can tell,
        # and not where the strongest sits on a round figure, as clocks do.
        if pwm_hz is None:
            pwm_hz = float(foreign.hz[0]) if foreign.share[0] > 1 else strongest_hz
            notes.append(measuring_notes.drive_strongest(pwm_hz))
        told = told and known.expected_rpm is not None
        told = told and not at_odds(60 * turn_hz, known.expected_rpm, SAME_AS_BEFORE)
        told = told and not quality.is_clocked(nearest_hz, "pwm")
    if clocks.slow is not None and supply != "direct" and not _by_a_dead_bar(speed, clocks, supply):
        notes.append(measuring_notes.current_interrupted(clocks.slow))
        return Drive(clocks.slow if supply == "pwm" else pwm_hz, tuple(notes), False)
    if supply == "pwm" and clocks.fast is not None:
        pwm_hz = clocks.fast
        notes.append(measuring_notes.drive_taken_out(pwm_hz))
    elif supply == "pwm" and clocks.taken is not None:
        told = told and not clocks.open and not may_be_ripple(clocks.taken, turn_hz)
        if told or quality.is_clocked(clocks.taken, supply):
            pwm_hz = clocks.taken
            notes.append(measuring_notes.drive_taken_out(pwm_hz))
        elif note is None:
            notes.append(measuring_notes.drive_strongest(clocks.taken))
    if quality.is_clocked(nearest_hz, supply):
        if pwm_hz is None:
            notes.append(measuring_notes.drive_strongest(nearest_hz))
        told = False
    return Drive(pwm_hz, tuple(notes), told)


def _by_a_dead_bar(speed: Speed, clocks: Clocks, supply: str | None) -> bool:
    """Whether what interrupts the current comes twice a turn and wanders as a shaft does and no clock.

    A feed told as switched that shows no other clock has this one.
    """
    if supply == "pwm" and clocks.fast is None:
        return False
    if speed.probability < SURE_OF_A_BAR:
        return False
    strongest = 1 + int(np.argmax(np.abs(np.fft.rfft(speed.phase.wave)[1:])))
    return strongest == 2 and speed.phase.steadiness_pct > CLOCKS_WANDER_PCT
