"""Whether a speed is told, and what of the reading hangs on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ingest.capture import Note
from ingest.known_pump import KnownPump
from ingest.measuring import quality
from ingest.measuring.condition import condition
from ingest.measuring.drive import find_drive
from ingest.measuring.feed import UNSTEADY_PCT, Clocks, was_followed
from ingest.measuring.foreign_lines import ForeignLines
from ingest.measuring.other_turns import anothers_ripple, no_commutators, unlike_pairs, usual
from ingest.measuring.ripple import AverageTurn
from ingest.measuring.speed import ANSWER_ABOVE, Speed, at_odds, outweighed, too_far
from ingest.measuring.speed_poles import (
    commutations,
    each_brush_by_itself,
    four_pole_odds,
    pairs_of,
    ripples_a_turn,
)
from ingest.measuring.told_bars import OtherBars
from ingest.reading import Reading
from ingest.wording import measuring_notes

SEGMENTS_TOLD_ABOVE = 0.95
RIVAL_OUTSIDE_GATES = 0.002  # probability
RIVAL_OUTSIDE_BAND = 0.01  # probability: without the band's 100 : 1 it would be the likelier
LIKELY, SAME_WAVE = 0.05, 0.03  # probability of a candidate; octaves
PERHAPS_OF_FOUR = 0.6  # probability, four poles apart: little else is open
FLAT_PCT = 3.0  # of the mean: a commutator that turns shows more, common practice, no source
LEAST_RIPPLE_PCT = 2.0  # of the mean: simulated pumps of three kinds have 2.6 and more
FAINT_PCT = 4.0  # of the mean: less is rather the supply's ripple than a commutator's
MOST_BARS_SLOW = 12  # fuel pumps have 6 to 12 [P]: more at a slow speed are rather a fan's or blower's
FULL_V = 12.0  # from here on volts alone make no pump slow
LEAST_DRAWN_A = 4.0  # of usual pumps' mean (web pages: 4 to 8 A)
COPPER_SHARE = 0.27  # of the volts, of a typical in-tank pump
ENGINE_BELOW_HZ = 4200.0  # firing, injectors and alternators ripple below
# How often engines fire, from idle to what a workshop holds one at (common practice, no source).
FIRING_HZ = (20.0, 122.0)
ENGINE_SHARE = 0.01  # of the power of the strongest shaft order: a line so weak passes for no turn
DIPS_SHARE = 0.04  # likewise, of what is strongest at the rates of firing: a load that wanders leaves less
# Probability: what is answered of bars untold, or beside a clock, is rarely less sure where it is right.
SURE_UNTOLD = 0.98
CALM_STEADY_PCT = 1.5  # a shaft varies no more as a rule: beyond, parts of the phase have often slipped


def with_speed(
    reading: Reading,
    speed: Speed | None,
    turn: AverageTurn | None,
    known: KnownPump,
    foreign: ForeignLines,
    check: quality.RangeCheck,
    *,
    swing_a: float,
    clocks: Clocks,
    fast_hz: float | None,
) -> tuple[Reading, list[Note]]:
    """Add speed, candidates and what depends on the turn, and return the notes; one says why where the speed
    can't be told.

    swing_a: of a sine as strong as all that varies in the band of ripples, peak to peak. clocks: of a
    switched supply; fast_hz: a line too fast for the speed's band.
    """
    flat = reading.mean_a is not None and 100 * swing_a < FLAT_PCT * abs(reading.mean_a)
    if flat and (speed is None or turn is None):
        return _without_ripple(reading), [measuring_notes.current_flat(FLAT_PCT)]
    if speed is None or turn is None:
        return _without_ripple(reading), [measuring_notes.speed_refused()]
    gates = _gates(speed, turn, known, check, reading)
    followed = was_followed(speed)
    strongest_hz = float(speed.lines.hz[np.argmax(speed.lines.power)])
    by_mains = quality.is_mains(strongest_hz)
    hum = quality.mains_note(foreign, (reading.steady_to_s or 0.0) - (reading.steady_from_s or 0.0))
    inside = not gates and _rivals_inside(speed, known, reading)
    alone = inside and followed and not by_mains and _stands_alone(speed, known)
    if clocks.fast is not None and known.expected_rpm is None:  # what it leaves may look like a turn
        alone = alone and speed.probability >= SURE_UNTOLD
    drive = find_drive(
        speed,
        foreign,
        told=alone,
        rate_hz=reading.sample_rate_hz or 0.0,
        known=known,
        clocks=clocks,
        fast_hz=fast_hz,
    )
    another = _another_load(speed, reading, known, foreign, clocks=clocks, fast_hz=fast_hz, wave=turn.wave)
    engine_hz = _engine_hz(foreign, known)
    firing_hz = _firing_hz(speed, known) if alone and engine_hz is None else None
    second_hz = quality.second_motor_hz(foreign) if known.supply != "pwm" else None
    by_engine = engine_hz is not None or firing_hz is not None
    # Next to nothing varies, with a shaft or not: an engine's supply on a load that stands.
    aside = bool(np.any(foreign.share >= quality.FOREIGN_SHARE))
    faint = reading.ripple_pct is not None and reading.ripple_pct < LEAST_RIPPLE_PCT
    still = flat and known.expected_rpm is None and (aside or faint)
    slow = _slow_as_a_fan(speed, reading, known) if alone and not speed.ripple_alone else None
    told = drive.told and another is None and slow is None
    told = told and not by_engine and second_hz is None and not still
    if flat and not told:
        return _without_ripple(reading), [measuring_notes.current_flat(FLAT_PCT)]
    notes = [
        *gates,
        *([] if followed else [measuring_notes.speed_not_followed()]),
        *([measuring_notes.mains_strongest(strongest_hz)] if by_mains else []),
        *([hum] if hum else []),
        *drive.notes,
    ]
    reading = replace(
        reading,
        pwm_hz=drive.pwm_hz,
        speed_confidence=speed.probability,
        speed_candidates=speed.candidates,
        pattern_repeat_ms=speed.pattern_repeat_ms,
    )
    if told:
        reading = _answered(reading, speed, turn, known)
        rpm = reading.rpm or 0.0
        if speed.ripple_alone:
            notes.append(measuring_notes.ripple_irregular())
        return reading, [*notes, *_unlike_the_last(rpm, known.expected_rpm), *_slow_notes(rpm, known)]
    if second_hz is not None:
        notes = [note for note in notes if note.code != "alternator-suspected"]
        notes.append(measuring_notes.second_motor(second_hz))
    elif another is not None:
        notes = [note for note in notes if note.code != another.code]
        notes.append(another)
    elif engine_hz is not None and not any(note.code == "alternator-suspected" for note in notes):
        notes.append(measuring_notes.engine_suspected(engine_hz))
    elif firing_hz is not None:
        notes.append(measuring_notes.firing_suspected(firing_hz))
    elif slow is not None:
        notes.append(slow)
    if speed.other is not None and outweighed(speed) and followed:
        notes.append(_unlike_told(speed.other, known))
    elif not gates and followed and another is None and slow is None:
        notes.append(_undecided(speed, known))
    why = _turn_rejected(
        speed,
        followed,
        gates,
        clocked=(alone or clocks.slow is not None) and not drive.told,
        another=another is not None or second_hz is not None or slow is not None,
    )
    if why is not None:
        reading = _without_ripple(reading)
        notes.append(why)
    return reading, notes


def _without_ripple(reading: Reading) -> Reading:
    return replace(reading, ripple_a=None, ripple_pct=None, ripple_pct_se=None)


def _turn_rejected(
    speed: Speed, followed: bool, gates: list[Note], *, clocked: bool, another: bool
) -> Note | None:
    """Say why no ripple is read off a turn not answered; None where any likely turn gives the same."""
    if not followed or speed.phase.steadiness_pct > CALM_STEADY_PCT:
        return measuring_notes.ripple_irregular()
    if any(gate.code == "sampled-too-slowly" for gate in gates):
        return measuring_notes.ripple_too_slow()
    if clocked or another:
        return measuring_notes.ripple_foreign()
    first = speed.candidates[0].rpm
    likely = [c.rpm / first for c in speed.candidates if c.probability >= LIKELY]
    if len(likely) > 1 and any(gate.code == "too-few-turns" for gate in gates):
        return measuring_notes.ripple_open()  # halves of so few turns need not be alike
    # Half or twice the speed averages the same wave; any other one smears it.
    same = all(abs(np.log2(ratio) - round(np.log2(ratio))) < SAME_WAVE for ratio in likely)
    return None if same else measuring_notes.ripple_open()


def _another_load(
    speed: Speed,
    reading: Reading,
    known: KnownPump,
    foreign: ForeignLines,
    *,
    clocks: Clocks,
    fast_hz: float | None,
    wave: np.ndarray,
) -> Note | None:
    """Say what else this looks like; None where it may be the pump, or the last visit's speed was told.

    wave: of the average turn (bins,).
    """
    if known.expected_rpm is not None:
        return None
    if known.supply is None and fast_hz is not None:
        return measuring_notes.switched_or_brushless(fast_hz)
    # What a clock leaves about its harmonics lies at orders far above the ripple's.
    wave = speed.phase.wave if clocks.fast is not None else wave
    if settled_on(speed) and not speed.ripple_alone and no_commutators(wave, known):
        if known.supply == "pwm" or clocks.fast is not None:
            return measuring_notes.no_commutators_beside_a_drive()
        return measuring_notes.no_commutators_pattern()
    rpm = 60 * speed.phase.turn_hz
    faint = reading.ripple_pct is not None and reading.ripple_pct < FAINT_PCT
    if clocks.fast is not None and (faint or rpm > known.band_rpm[1]):
        return measuring_notes.beside_a_clock(rpm, clocks.fast)
    if not usual(speed, known) and faint:  # rather the supply's ripple, or a fan's
        return measuring_notes.another_load(rpm, reading.ripple_pct or 0.0)
    if not usual(speed, known) and np.any(foreign.share >= quality.FOREIGN_SHARE):
        return measuring_notes.unusual_beside_lines(rpm, float(foreign.hz[0]))
    return None


def _slow_as_a_fan(speed: Speed, reading: Reading, known: KnownPump) -> Note | None:
    """Say that a speed below the usual band is rather a fan's: on less current than drag takes to slow a pump
    so far.

    A pump of the usual band's middle on its full volts, that draws the least of usual pumps, draws
    I / a * (1 - (1 - a) * speed / usual speed) when it is slowed: from V = R I + k * speed with a = R I / V.
    Fewer volts, as told, slow it without.
    """
    low, high = known.band_rpm
    rpm, volts = 60 * speed.phase.turn_hz, min((known.supply_v or FULL_V) / FULL_V, 1.0)
    if known.expected_rpm is not None or not 0 < rpm / volts < low:
        return None
    middle = (low * high) ** 0.5
    drags_from_a = volts * LEAST_DRAWN_A / COPPER_SHARE * (1 - (1 - COPPER_SHARE) * rpm / volts / middle)
    if reading.mean_a is None or reading.mean_a >= drags_from_a:
        return None
    return measuring_notes.a_fans_current(rpm, low, reading.mean_a)


def _slow_notes(rpm: float, known: KnownPump) -> list[Note]:
    """Say that a slow motor may be a fan's, or a pump's that drags: a fan's commutator is one, so no trace
    tells them apart."""
    if known.expected_rpm is not None or rpm >= known.band_rpm[0]:
        return []
    if (known.segments or 0) > MOST_BARS_SLOW:
        return [measuring_notes.a_fans_speed(rpm, known.segments or 0)]
    return [measuring_notes.slow_for_a_pump(rpm, known.band_rpm[0])]


def _engine_hz(foreign: ForeignLines, known: KnownPump) -> float | None:
    """A line off the shaft's orders where a running engine and its alternator have theirs.

    Its dips and ripple may pass for a turn as long as neither segments nor the last visit's speed are told.
    """
    if known.segments is not None or known.expected_rpm is not None:
        return None
    slow = foreign.hz[(foreign.hz < ENGINE_BELOW_HZ) & (foreign.share > ENGINE_SHARE)]
    if len(slow):
        return float(slow[0])
    return foreign.slow_hz if foreign.slow_share > DIPS_SHARE else None


def _firing_hz(speed: Speed, known: KnownPump) -> float | None:
    """Twice the turn, where engines fire, with nothing told that bears the turn out.

    What tells bars apart comes twice a turn: so does the firing of an engine that the ripple happens to be a
    whole multiple of, and in a short record one is not seen to wander beside the other.
    """
    if known.segments is not None or known.expected_rpm is not None or known.state == "prime":
        return None
    twice_hz = 2 * speed.phase.turn_hz
    return twice_hz if FIRING_HZ[0] <= twice_hz <= FIRING_HZ[1] else None


def settled_on(
    speed: Speed | None, above: float = ANSWER_ABOVE, steadiness_pct: float = UNSTEADY_PCT
) -> bool:
    """Whether the trace leads to one speed with a probability `above`, and was followed."""
    if speed is None or speed.probability < above or not was_followed(speed):
        return False
    return speed.phase.steadiness_pct <= steadiness_pct


def _gates(
    speed: Speed, turn: AverageTurn, known: KnownPump, check: quality.RangeCheck, reading: Reading
) -> list[Note]:
    """Return what keeps a capture from telling this speed: too few turns, samples, steps."""
    rpm = 60 * speed.phase.turn_hz
    odd = at_odds(rpm, known.expected_rpm)
    expected = known.expected_rpm is not None and not odd
    low, high = known.band_rpm
    span_s = (reading.steady_to_s or 0.0) - (reading.steady_from_s or 0.0)
    # A turn that is not sure may be far too slow: then what a usual pump's slowest would be counts.
    sure = speed.probability >= ANSWER_ABOVE and was_followed(speed)
    turns = speed.turns if sure else max(speed.turns, low / 60 * span_s)
    return quality.speed_gates(
        turns=turns,
        samples_a_ripple=(reading.sample_rate_hz or 0.0) / _hump_hz(speed, known),
        ripple_steps=turn.ripple_a / check.step_a if check.step_a > 0 else np.inf,
        # The last visit's speed keeps coarse codes from passing for half or twice the speed.
        noise_steps=turn.residual_sd_a / check.step_a if check.step_a > 0 and not expected else np.inf,
        segments_told=known.segments is not None,
        at_odds=odd,
        unusual=known.expected_rpm is None and not low <= rpm <= high,
    )


def _rivals_inside(speed: Speed, known: KnownPump, reading: Reading) -> bool:
    """Whether the record could tell each rival too; one that it could not weigh leaves the speed open."""
    rpm = 60 * speed.phase.turn_hz
    # A rival outside the gates can't be weighed fairly, so it takes little of it to leave the speed open.
    rivals = [c.rpm for c in speed.candidates[1:] if c.probability >= RIVAL_OUTSIDE_GATES]
    odd = at_odds(rpm, known.expected_rpm)
    if known.expected_rpm is not None and odd:
        rivals.append(known.expected_rpm)
    low, high = known.band_rpm
    return not any(
        quality.speed_gates(
            turns=speed.turns * rival / rpm,
            samples_a_ripple=(reading.sample_rate_hz or 0.0) / (_hump_hz(speed, known) * rival / rpm),
            ripple_steps=np.inf,
            noise_steps=np.inf,
            segments_told=known.segments is not None,
            at_odds=odd,
            unusual=known.expected_rpm is None and not low <= rpm <= high,
        )
        for rival in rivals
    )


def _hump_hz(speed: Speed, known: KnownPump) -> float:
    if speed.segments:
        return speed.phase.turn_hz * ripples_a_turn(speed.segments, known)
    return float(speed.lines.hz[0])


def _stands_alone(speed: Speed, known: KnownPump) -> bool:
    """Whether the evidence decides for the speed, by itself and not by habit."""
    if speed.probability < ANSWER_ABOVE or speed.contradicted is not None:
        return False
    if known.segments is not None and anothers_ripple(speed, known, commutations(known)):
        return False
    if unlike_pairs(speed, known):
        return False
    # Bars all alike leave nothing that tells one turn from another, whatever the load's pulsation suggests.
    if known.segments is None and not speed.bars_differ:
        return False
    if known.segments is None and known.expected_rpm is None and speed.probability < SURE_UNTOLD:
        return False
    # That pumps mostly run in the usual band is no evidence: it must not alone decide against another speed.
    low, high = known.band_rpm
    odd = [c for c in speed.candidates[1:] if not low <= c.rpm <= high]
    return known.expected_rpm is not None or all(c.probability < RIVAL_OUTSIDE_BAND for c in odd)


def _answered(reading: Reading, speed: Speed, turn: AverageTurn, known: KnownPump) -> Reading:
    """Add the speed and what it tells of the segments."""
    rpm = 60 * int(speed.turns) / speed.whole_turns_s
    reading = replace(
        reading,
        rpm=rpm,
        rpm_se=float(60 * speed.phase.turn_hz_se),
        revolution_ms=60_000 / rpm,
        turns=float(int(speed.turns)),
    )
    if speed.ripple_alone:
        return replace(_without_ripple(reading), segments=known.segments)
    bars = known.segments or (speed.segments if speed.segments_probability >= SEGMENTS_TOLD_ABOVE else None)
    about = condition(turn, reading.mean_a, bars, 2 * pairs_of(known))
    known_mean = reading.mean_a is not None
    return replace(
        reading,
        segments=bars,
        speed_steadiness_pct=speed.phase.steadiness_pct,
        segment_profile_pct=about.profile_pct if known_mean else (),
        weakest_segment=about.weakest,
        weakest_segment_z=about.weakest_z,
        strongest_segment=about.strongest,
        strongest_segment_z=about.strongest_z,
        once_per_turn_pct=about.once_per_turn_pct if known_mean else None,
        twice_per_turn_pct=about.twice_per_turn_pct if known_mean else None,
    )


def _unlike_told(other: OtherBars, known: KnownPump) -> Note:
    pairs = 1 if each_brush_by_itself(known) else pairs_of(known)
    return measuring_notes.segments_contradicted(other.segments * pairs, known.segments or 0, other.rpm)


def _unlike_the_last(rpm: float, expected_rpm: float | None) -> list[Note]:
    if expected_rpm is None or abs(np.log(rpm / expected_rpm)) <= np.log(1.3):
        return []
    return [measuring_notes.speed_differs(expected_rpm, rpm)]


def _undecided(speed: Speed, known: KnownPump) -> Note:
    likeliest, expected = speed.candidates[0].rpm, known.expected_rpm
    if expected is not None and too_far(likeliest, expected):
        return measuring_notes.speed_far(likeliest, expected)
    if four_pole_odds(likeliest, speed.segments, known) and speed.probability >= PERHAPS_OF_FOUR:
        return measuring_notes.poles_open(likeliest)
    return measuring_notes.speed_open([c.rpm for c in speed.candidates[:3]], known.segments is not None)
