"""Whether a speed is told, and what of the reading hangs on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ingest.capture import Note
from ingest.known_pump import KnownPump
from ingest.measuring import quality
from ingest.measuring.condition import condition
from ingest.measuring.drive import find_drive
from ingest.measuring.feed import Clocks
from ingest.measuring.foreign_lines import ForeignLines
from ingest.measuring.ripple import AverageTurn
from ingest.measuring.speed import ANSWER_ABOVE, Speed, at_odds, too_far
from ingest.measuring.speed_poles import pairs_of, ripples_a_turn
from ingest.reading import Reading
from ingest.wording import measuring_notes

SEGMENTS_TOLD_ABOVE = 0.95
RIVAL_OUTSIDE_GATES = 0.002  # probability
RIVAL_OUTSIDE_BAND = 0.01  # probability: without the band's 100 : 1 it would be the likelier
FOLLOWED_AT_LEAST = 0.3
UNSTEADY_PCT = 20.0  # a shaft in the settled run is steadier: beyond, the phase has slipped


def with_speed(
    reading: Reading,
    speed: Speed | None,
    turn: AverageTurn | None,
    known: KnownPump,
    foreign: ForeignLines,
    check: quality.RangeCheck,
    *,
    clocks: Clocks,
    fast_hz: float | None,
) -> tuple[Reading, list[Note]]:
    """Add speed, candidates and what depends on the turn, and return the notes; one says why where the speed
    can't be told.

    clocks: of a switched supply; fast_hz: a line too fast for the speed's band.
    """
    if speed is None or turn is None:
        return reading, [measuring_notes.speed_refused()]
    gates = _gates(speed, turn, known, check, reading.sample_rate_hz or 0.0)
    followed = speed.phase.followed >= FOLLOWED_AT_LEAST and speed.phase.steadiness_pct <= UNSTEADY_PCT
    strongest_hz = float(speed.lines.hz[np.argmax(speed.lines.power)])
    by_mains = quality.is_mains(strongest_hz)
    hum = quality.mains_note(foreign, (reading.steady_to_s or 0.0) - (reading.steady_from_s or 0.0))
    notes = [
        *gates,
        *([] if followed else [measuring_notes.speed_not_followed()]),
        *([measuring_notes.mains_strongest(strongest_hz)] if by_mains else []),
        *([hum] if hum else []),
    ]
    drive = find_drive(
        speed,
        foreign,
        told=not gates and followed and not by_mains and _stands_alone(speed, known),
        rate_hz=reading.sample_rate_hz or 0.0,
        known=known,
        clocks=clocks,
        fast_hz=fast_hz,
    )
    notes.extend(drive.notes)
    reading = replace(
        reading,
        pwm_hz=drive.pwm_hz,
        speed_confidence=speed.probability,
        speed_candidates=speed.candidates,
        pattern_repeat_ms=speed.pattern_repeat_ms,
    )
    if drive.told:
        reading = _answered(reading, speed, turn, known)
        notes.extend(_unlike_the_last(reading.rpm or 0.0, known.expected_rpm))
    elif not gates and followed:
        notes.append(_undecided(speed, known))
    return reading, notes


def _gates(
    speed: Speed, turn: AverageTurn, known: KnownPump, check: quality.RangeCheck, rate_hz: float
) -> list[Note]:
    """Return what keeps a capture from telling this speed or a rival: too few turns, samples, steps."""
    rpm = 60 * speed.phase.turn_hz
    hump_hz = (
        speed.phase.turn_hz * ripples_a_turn(speed.segments, known) if speed.segments else speed.lines.hz[0]
    )
    # A rival outside the gates can't be weighed fairly, so it takes little of it to leave the speed open.
    rivals = [c.rpm for c in speed.candidates[1:] if c.probability >= RIVAL_OUTSIDE_GATES]
    odd = at_odds(rpm, known.expected_rpm)
    if known.expected_rpm is not None and odd:
        rivals.append(known.expected_rpm)
    low, high = known.band_rpm
    gates = [
        gate
        for faster in (1.0, *np.array(rivals) / rpm)
        for gate in quality.speed_gates(
            turns=speed.turns * faster,
            samples_a_ripple=rate_hz / (hump_hz * faster),
            ripple_steps=turn.ripple_a / check.step_a if check.step_a > 0 else np.inf,
            segments_told=known.segments is not None,
            at_odds=odd,
            unusual=known.expected_rpm is None and not low <= rpm <= high,
        )
    ]
    return list({gate.code: gate for gate in reversed(gates)}.values())


def _stands_alone(speed: Speed, known: KnownPump) -> bool:
    """Whether the evidence decides for the speed, by itself and not by habit."""
    if speed.probability < ANSWER_ABOVE:
        return False
    # Bars all alike leave nothing that tells one turn from another, whatever the load's pulsation suggests.
    if known.segments is None and not speed.bars_differ:
        return False
    # That pumps mostly run in the usual band is no evidence: it must not alone decide against another speed.
    low, high = known.band_rpm
    odd = [c for c in speed.candidates[1:] if not low <= c.rpm <= high]
    return known.expected_rpm is not None or all(c.probability < RIVAL_OUTSIDE_BAND for c in odd)


def _answered(reading: Reading, speed: Speed, turn: AverageTurn, known: KnownPump) -> Reading:
    """Add the speed and what it tells of the segments."""
    rpm = 60 * int(speed.turns) / speed.whole_turns_s
    bars = known.segments or (speed.segments if speed.segments_probability >= SEGMENTS_TOLD_ABOVE else None)
    about = condition(turn, reading.mean_a, bars, 2 * pairs_of(known))
    known_mean = reading.mean_a is not None
    return replace(
        reading,
        rpm=rpm,
        rpm_se=float(60 * speed.phase.turn_hz_se),
        revolution_ms=60_000 / rpm,
        segments=bars,
        turns=float(int(speed.turns)),
        speed_steadiness_pct=speed.phase.steadiness_pct,
        segment_profile_pct=about.profile_pct if known_mean else (),
        weakest_segment=about.weakest,
        weakest_segment_z=about.weakest_z,
        strongest_segment=about.strongest,
        strongest_segment_z=about.strongest_z,
        once_per_turn_pct=about.once_per_turn_pct if known_mean else None,
        twice_per_turn_pct=about.twice_per_turn_pct if known_mean else None,
    )


def _unlike_the_last(rpm: float, expected_rpm: float | None) -> list[Note]:
    if expected_rpm is None or abs(np.log(rpm / expected_rpm)) <= np.log(1.3):
        return []
    return [measuring_notes.speed_differs(expected_rpm, rpm)]


def _undecided(speed: Speed, known: KnownPump) -> Note:
    likeliest, expected = speed.candidates[0].rpm, known.expected_rpm
    if expected is not None and too_far(likeliest, expected):
        return measuring_notes.speed_far(likeliest, expected)
    return measuring_notes.speed_open([c.rpm for c in speed.candidates[:3]], known.segments is not None)
