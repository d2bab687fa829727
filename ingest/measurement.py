"""Measure a capture: thin orchestration of the parts that do the work."""

from __future__ import annotations

from dataclasses import replace
from math import lcm
from typing import Any

import numpy as np

from ingest import quality
from ingest.accuracy import ends_se_a, mean_accuracy_a, rounding_se_a
from ingest.capture import Capture, Note
from ingest.condition import condition
from ingest.drive import find_drive
from ingest.errors import CaptureRefused
from ingest.foreign_lines import NO_LINES, ForeignLines, fast_line_hz, foreign_lines
from ingest.order_tracking import WorkTrace, prepare
from ingest.reading import Reading
from ingest.ripple import AverageTurn, average_turn
from ingest.settle import Run, find_run
from ingest.sparks import count_events
from ingest.speed import ANSWER_ABOVE, Speed, at_odds, find_speed, too_far
from ingest.switching import without_clock, without_lines

METHOD_VERSION = 8  # raise with every change of a figure; a golden test watches it
MIN_SAMPLES = 64
HIGHEST_A = 100.0
LEAST_A = 0.1  # below this mean and swing there is no current
RPM_LOW, RPM_HIGH = 3400.0, 10_000.0  # usual band [P], used when the pump's type tells none
SEGMENTS_TOLD_ABOVE = 0.95
RIVAL_OUTSIDE_GATES = 0.002  # probability
RIVAL_OUTSIDE_BAND = 0.01  # probability: without the band's 100 : 1 it would be the likelier
BATCHES = 10
FOLLOWED_AT_LEAST = 0.3
UNSTEADY_PCT = 20.0  # a shaft in the settled run is steadier: beyond, the phase has slipped


def measure(
    capture: Capture,
    *,
    segments: int | None = None,
    previous_rpm: float | None = None,
    rpm_low: float | None = None,
    rpm_high: float | None = None,
    supply: str | None = "direct",
    motor: str | None = "brushed",
) -> Reading:
    """Measure one capture.

    Raises CaptureRefused where nothing can be measured: too few samples of a running pump, no current, or a
    mean that no pump draws. A speed that can't be told is no error: it is left out, and a note says why.

    segments: commutator bars, if known. previous_rpm: the last visit's speed, scaled to today's volts.
    rpm_low, rpm_high: the pump type's usual band; it weighs speeds and forbids none.
    supply: direct, two-speed or pwm; motor: brushed or brushless.
    """
    current, notes = _finite(capture)
    rate = capture.sample_rate_hz
    ac_coupled = any(n.code == "ac-coupled" for n in notes)
    run = _run(capture, current, ac_coupled)
    if run.stop - run.start < MIN_SAMPLES:
        raise CaptureRefused(
            "too-short",
            f"{_name(capture)}: only {max(run.stop - run.start, 0)} samples of the running pump; "
            f"at least {MIN_SAMPLES} are needed, record a longer stretch.",
        )
    if run.sign < 0 and not any(n.code == "reversed" for n in notes):
        notes.append(Note("reversed", "warning", "The clamp was on backwards: the trace was turned over."))
    running = run.sign * current[run.start : run.stop] - (run.zero_a or 0.0)
    if not ac_coupled and _no_mean(running):
        ac_coupled = True
        notes.append(
            Note(
                "ac-coupled",
                "warning",
                "The mean is nothing beside the swing: clamp or input are AC-coupled; set both to DC.",
            )
        )

    work, clock_hz = prepare(running, rate), None
    if supply == "pwm":
        work, clock_hz = without_clock(work)
    known: dict[str, Any] = {
        "segments": segments,
        "previous_rpm": previous_rpm,
        "rpm_low": rpm_low or RPM_LOW,
        "rpm_high": rpm_high or RPM_HIGH,
    }
    speed, foreign, fast_hz = find_speed(work, **known), NO_LINES, None
    if speed is not None:
        foreign = foreign_lines(work, speed.phase)
        fast_hz = fast_line_hz(running, rate, speed.phase)
        if foreign.disturbing:
            work = without_lines(work, foreign.hz)
            speed = find_speed(work, **known)
    turn, last = None, len(running)
    if speed is not None and speed.turns >= 2:
        last = min(round(speed.whole_turns_s * rate), len(running))
        turn = average_turn(running[:last], rate, speed.phase, 0.0)
    window = running[:last]

    check = quality.check_range(run.sign * running)
    mean_a, mean_se = (None, None) if ac_coupled else _mean(window, turn, check.step_a, run)
    _refuse_implausible(capture, mean_a, window)
    if not ac_coupled:
        notes.append(quality.zero_note(run.zero_a))
    notes.extend(quality.range_notes(check, turn.ripple_a if turn else None))
    if mean_a is not None and (doubt := quality.probe_note(mean_a)):
        notes.append(doubt)
    reading = Reading(
        mean_a=mean_a,
        mean_a_se=mean_se,
        min_a=float(window.min()),
        max_a=float(window.max()),
        ripple_a=turn.ripple_a if turn else None,
        ripple_pct=100 * turn.ripple_a / mean_a if turn and mean_a else None,
        raw_ripple_pct=100 * float(np.ptp(window)) / mean_a if mean_a else None,
        revolution_ms=None,
        rpm=None,
        rpm_se=None,
        segments=segments,
        speed_confidence=None,
        sample_rate_hz=rate,
        duration_s=capture.duration_s,
        steady_from_s=capture.start_s + run.start / rate,
        steady_to_s=capture.start_s + (run.start + last) / rate,
        zero_a=run.zero_a,
        inrush_peak_a=run.inrush_peak_a,
        settling_ms=None if run.settling_s is None else 1000 * run.settling_s,
        sparks_per_s=_sparks_per_s(work, turn, last / rate),
        ripple_pct_se=100 * turn.ripple_se_a / mean_a if turn and mean_a else None,
        mean_a_accuracy_a=None if mean_a is None or mean_se is None else mean_accuracy_a(mean_a, mean_se),
        method_version=METHOD_VERSION,
    )
    if motor == "brushless":
        speed = None
        notes.append(
            Note(
                "brushless",
                "info",
                "A brushless pump has no commutator: its speed can't be told from ripple.",
            )
        )
    reading = _with_speed(
        reading,
        speed,
        foreign,
        turn,
        check,
        notes,
        segments=segments,
        previous_rpm=previous_rpm,
        band_rpm=(known["rpm_low"], known["rpm_high"]),
        supply=supply,
        clock_hz=clock_hz,
        fast_hz=fast_hz,
    )
    return replace(reading, notes=tuple(notes))


def _name(capture: Capture) -> str:
    return capture.source or "capture"


def _finite(capture: Capture) -> tuple[np.ndarray, list[Note]]:
    """Return the samples with lone gaps bridged, and a copy of the reader's notes."""
    current = np.asarray(capture.current_a, dtype=float)
    notes = list(capture.notes)
    missing = ~np.isfinite(current)
    if missing.any():
        known = np.flatnonzero(~missing)
        if len(known) < MIN_SAMPLES:
            raise CaptureRefused(
                "too-short", f"{_name(capture)}: hardly any sample has a value; export it again."
            )
        current = np.interp(np.arange(len(current)), known, current[known])[known[0] : known[-1] + 1]
    if len(current) < MIN_SAMPLES:
        raise CaptureRefused(
            "too-short",
            f"{_name(capture)}: {len(current)} samples; at least {MIN_SAMPLES} of a running pump are needed.",
        )
    return current, notes


def _run(capture: Capture, current: np.ndarray, ac_coupled: bool) -> Run:
    if ac_coupled:
        return Run(0, len(current), 1, None, None, None, None)
    if max(abs(float(np.mean(current))), float(np.std(current))) < LEAST_A:
        raise CaptureRefused(
            "no-current",
            f"{_name(capture)}: the record shows about {np.mean(current):.2f} A throughout, no running pump: "
            "check that the clamp is closed on the pump's own wire and that the pump runs.",
        )
    return find_run(current, capture.sample_rate_hz)


def _no_mean(running: np.ndarray) -> bool:
    return bool(abs(np.mean(running)) < 0.1 * np.std(running))


def _refuse_implausible(capture: Capture, mean_a: float | None, window: np.ndarray) -> None:
    if mean_a is not None and abs(mean_a) > HIGHEST_A:
        raise CaptureRefused(
            "above-100-a",
            f"{_name(capture)}: the mean is {mean_a:,.4g} A, more than any fuel pump draws: "
            "is the probe factor right, or the unit (mV for V)?",
        )


def _mean(window: np.ndarray, turn: AverageTurn | None, step_a: float, run: Run) -> tuple[float, float]:
    """Mean of the window and its standard error, the record's own."""
    if turn is not None:
        parts = (
            turn.mean_se_a,
            rounding_se_a(step_a, turn.residual_sd_a, turn.wave),
            ends_se_a(turn.wave, len(window)),
        )
        mean, own = turn.mean_a, float(np.linalg.norm(parts))
    else:
        # Batch means: without a turn the ripple can't be told from noise.
        means = np.array([part.mean() for part in np.array_split(window, BATCHES)])
        mean, own = float(np.mean(window)), float(np.std(means, ddof=1) / BATCHES**0.5)
    return mean, float(np.hypot(own, run.zero_se_a or 0.0))


def _sparks_per_s(work: WorkTrace, turn: AverageTurn | None, window_s: float) -> float:
    if turn is not None:
        return turn.sparks / window_s
    gap = max(int(150e-6 * work.spark_rate_hz), 1)
    return count_events(work.spark_mask, gap) * work.spark_rate_hz / len(work.spark_mask)


def _with_speed(
    reading: Reading,
    speed: Speed | None,
    foreign: ForeignLines,
    turn: AverageTurn | None,
    check: quality.RangeCheck,
    notes: list[Note],
    *,
    segments: int | None,
    previous_rpm: float | None,
    band_rpm: tuple[float, float],
    supply: str | None,
    clock_hz: float | None,
    fast_hz: float | None,
) -> Reading:
    """Add speed, candidates and what depends on the turn; a speed that can't be told leaves a note."""
    if speed is None or turn is None:
        if any(n.code == "brushless" for n in notes):
            return reading
        notes.append(
            Note(
                "speed-refused",
                "warning",
                "No ripple stands out of the noise, so the speed can't be told: clamp one pump's own wire, "
                "take a narrower range and 100 ms or more, and capture again.",
            )
        )
        return reading
    rate, turn_hz = reading.sample_rate_hz or 0.0, speed.phase.turn_hz
    settled_s = (reading.steady_to_s or 0.0) - (reading.steady_from_s or 0.0)
    hump_hz = turn_hz * lcm(2, speed.segments) if speed.segments else speed.lines.hz[0]
    # A rival outside the gates can't be weighed fairly, so it takes little of it to leave the speed open.
    rivals = [c.rpm for c in speed.candidates[1:] if c.probability >= RIVAL_OUTSIDE_GATES]
    odd = at_odds(60 * turn_hz, previous_rpm)
    if previous_rpm is not None and odd:
        rivals.append(previous_rpm)
    gates = [
        gate
        for faster in (1.0, *np.array(rivals) / (60 * turn_hz))
        for gate in quality.speed_gates(
            turns=speed.turns * faster,
            samples_a_ripple=rate / (hump_hz * faster),
            ripple_steps=turn.ripple_a / check.step_a if check.step_a > 0 else np.inf,
            segments_told=segments is not None,
            at_odds=odd,
            unusual=previous_rpm is None and not band_rpm[0] <= 60 * turn_hz <= band_rpm[1],
        )
    ]
    gates = list({gate.code: gate for gate in reversed(gates)}.values())
    notes.extend(n for n in gates if n.code not in {m.code for m in notes})
    told = not gates and speed.probability >= ANSWER_ABOVE
    # Bars all alike leave nothing that tells one turn from another, whatever the load's pulsation suggests.
    told = told and (segments is not None or speed.bars_differ)
    # That pumps mostly run in the usual band is no evidence: it must not alone decide against another speed.
    low, high = band_rpm
    odd_rivals = [c for c in speed.candidates[1:] if not low <= c.rpm <= high]
    if previous_rpm is None and any(c.probability >= RIVAL_OUTSIDE_BAND for c in odd_rivals):
        told = False
    followed = speed.phase.followed >= FOLLOWED_AT_LEAST and speed.phase.steadiness_pct <= UNSTEADY_PCT
    if not followed:
        notes.append(quality.NOT_FOLLOWED)
        told = False
    strongest_hz = float(speed.lines.hz[np.argmax(speed.lines.power)])
    if quality.is_mains(strongest_hz):
        notes.append(quality.mains_supply_note(strongest_hz))
        told = False
    if hum := quality.mains_note(foreign, settled_s):
        notes.append(hum)
    drive = find_drive(
        speed,
        foreign,
        told=told,
        rate_hz=rate,
        supply=supply,
        previous_rpm=previous_rpm,
        clock_hz=clock_hz,
        fast_hz=fast_hz,
    )
    notes.extend(drive.notes)
    reading = replace(reading, pwm_hz=drive.pwm_hz)
    if not drive.told:
        if not gates and followed:
            notes.append(_undecided_note(speed, segments, previous_rpm))
        return replace(
            reading,
            speed_confidence=speed.probability,
            speed_candidates=speed.candidates,
            pattern_repeat_ms=speed.pattern_repeat_ms,
        )
    rpm = 60 * int(speed.turns) / speed.whole_turns_s
    if previous_rpm is not None and abs(np.log(rpm / previous_rpm)) > np.log(1.3):
        notes.append(
            Note(
                "speed-differs",
                "ask",
                f"The last visit's speed leads to expect about {previous_rpm:.0f} rpm, the trace shows "
                f"{rpm:.0f}: is it the same pump, in the same state?",
            )
        )
    bars = segments or (speed.segments if speed.segments_probability >= SEGMENTS_TOLD_ABOVE else None)
    about = condition(turn, reading.mean_a, bars)
    known_mean = reading.mean_a is not None
    return replace(
        reading,
        rpm=rpm,
        rpm_se=float(60 * speed.phase.turn_hz_se),
        revolution_ms=60_000 / rpm,
        segments=bars,
        turns=float(int(speed.turns)),
        speed_confidence=speed.probability,
        speed_candidates=speed.candidates,
        pattern_repeat_ms=speed.pattern_repeat_ms,
        speed_steadiness_pct=speed.phase.steadiness_pct,
        segment_profile_pct=about.profile_pct if known_mean else (),
        weakest_segment=about.weakest,
        weakest_segment_z=about.weakest_z,
        strongest_segment=about.strongest,
        strongest_segment_z=about.strongest_z,
        once_per_turn_pct=about.once_per_turn_pct if known_mean else None,
        twice_per_turn_pct=about.twice_per_turn_pct if known_mean else None,
    )


def _undecided_note(speed: Speed, segments: int | None, previous_rpm: float | None) -> Note:
    advice = (
        "tell the number of segments if it is known"
        if segments is None
        else "capture again with a narrower range and 200 ms or more"
    )
    rpm = speed.candidates[0].rpm
    if too_far(rpm, previous_rpm):
        why = f"{rpm:.0f} rpm fits, but is too far from the {previous_rpm:.0f} rpm of the last visit"
        advice = "make sure that it is the same pump and that its last speed is right, and capture again"
    elif len(speed.candidates) == 1:
        why = f"{rpm:.0f} rpm fits, but the trace does not rule out another speed"
    else:
        shown = " or ".join(f"{c.rpm:.0f}" for c in speed.candidates[:3])
        why = f"The trace allows {shown} rpm and nothing in it decides between them"
    return Note("speed-undecided", "warning", f"{why}: {advice}.")
