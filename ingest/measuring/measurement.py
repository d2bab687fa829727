"""Measure a capture: thin orchestration of the parts that do the work."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ingest.accuracy import ends_se_a, mean_accuracy_a, rounding_se_a
from ingest.capture import Capture, Note
from ingest.errors import CaptureRefused
from ingest.known_pump import UNKNOWN_PUMP, KnownPump
from ingest.limits import MIN_RUNNING_SAMPLES
from ingest.measuring import quality
from ingest.measuring.drop_outs import drop_outs
from ingest.measuring.feed import (
    Clocks,
    by_drowned_ripple,
    calmer_traces,
    find_fed_speed,
    without_clocks,
)
from ingest.measuring.foreign_lines import NO_LINES, fast_line_hz, foreign_lines
from ingest.measuring.order_tracking import WorkTrace
from ingest.measuring.other_turns import contradicted_before, usual
from ingest.measuring.ripple import AverageTurn, average_turn
from ingest.measuring.sampling import LONGEST_S, average_only, last_part, refuse_too_short
from ingest.measuring.settle import Run, find_run
from ingest.measuring.sparks import count_events
from ingest.measuring.speed import find_speed
from ingest.measuring.speed_answer import CALM_STEADY_PCT, settled_on, with_speed
from ingest.measuring.speed_poles import ripples_a_turn
from ingest.measuring.switching import without_lines
from ingest.only_noise import is_only_noise
from ingest.reading import Reading
from ingest.trade_numbers import CLAMP_DRIFT_A, HIGHEST_A, LEAST_A
from ingest.wording import measuring_notes
from ingest.wording.file_notes import turned_over

METHOD_VERSION = 31  # raise with every change of a figure; a golden test watches it
BATCHES = 10
SURE = 0.99  # probability from which a second look at a trace counts


def measure(capture: Capture, known: KnownPump = UNKNOWN_PUMP) -> Reading:
    """Measure one capture; known: what was told of its pump.

    Raises CaptureRefused where nothing can be measured: too few samples of a running pump, no current, or a
    mean that no pump draws. A speed that can't be told is no error: it is left out, and a note says why.
    """
    current, notes = _finite(capture)
    rate = capture.sample_rate_hz
    refuse_too_short(_name(capture), len(current), rate)
    only = average_only(rate)
    ac_coupled = any(n.code == "ac-coupled" for n in notes)
    run = _run(capture, current, ac_coupled)
    if run.stop - run.start < MIN_RUNNING_SAMPLES:
        raise CaptureRefused(
            "too-short",
            f"{_name(capture)}: only {max(run.stop - run.start, 0)} samples of the running pump; "
            f"at least {MIN_RUNNING_SAMPLES} are needed, record a longer stretch.",
        )
    if only is None and run.stop - run.start > LONGEST_S * rate:
        notes.append(last_part(run.stop - run.start, rate))
        run = replace(run, start=run.stop - int(LONGEST_S * rate))
    if run.sign < 0 and not any(n.code == "reversed" for n in notes):
        notes.append(turned_over())
    running = run.sign * current[run.start : run.stop] - (run.zero_a or 0.0)
    if not ac_coupled and _no_mean(running):
        ac_coupled = True
        notes.append(measuring_notes.ac_coupled())

    work, clocks, speed, foreign, fast_hz = None, Clocks(), None, NO_LINES, None
    swing_a, silent = None, False
    if only is None:
        work, clocks = without_clocks(running, rate, known.supply)
        swing_a = float(8**0.5 * np.std(work.y))
        silent = is_only_noise(running)
        if not silent:
            work, clocks, speed = find_fed_speed(work, clocks, known)
        if not silent and not settled_on(speed, steadiness_pct=CALM_STEADY_PCT):
            first = speed
            for calmer in calmer_traces(running, rate, work, known):
                calmed = find_fed_speed(calmer, clocks, known)
                sure = settled_on(calmed[2], SURE, CALM_STEADY_PCT) and usual(calmed[2], known)
                if calmed[2] is not None and sure and not contradicted_before(first, calmed[2]):
                    work, clocks, speed = calmed
                    break
            if not settled_on(speed):
                speed = by_drowned_ripple(running, rate, work, known, speed) or speed
        if speed is not None and speed.ripple_alone:
            fast_hz = fast_line_hz(running, rate, speed.phase)
        elif speed is not None:
            foreign = foreign_lines(work, speed.phase)
            fast_hz = fast_line_hz(running, rate, speed.phase)
            if foreign.disturbing:
                work = without_lines(work, foreign.hz)
                speed = find_speed(work, known)
    check = quality.check_range(run.sign * running)
    turn, last = None, len(running)
    if speed is not None and speed.turns >= 2:
        last = min(round(speed.whole_turns_s * rate), len(running))
        ripples = ripples_a_turn(speed.segments, known) if speed.segments else None
        turn = average_turn(running[:last], rate, speed.phase, 0.0, check.step_a, ripples)
    window = running[:last]

    mean_a, mean_se = (None, None) if ac_coupled else _mean(window, rate, turn, check.step_a, run)
    _refuse_implausible(capture, mean_a)
    if not ac_coupled:
        notes.append(quality.zero_note(run.zero_a))
    notes.extend(quality.range_notes(check, turn.ripple_a if turn else None))
    if mean_a is not None and (doubt := quality.probe_note(mean_a, swing_a)):
        notes.append(doubt)
    if mean_a is not None and clocks.slow is None and (drops := drop_outs(running, rate)):
        notes.append(measuring_notes.current_drops_out(drops.count, drops.mean_ms, 100 * drops.left_share))
    reading = Reading(
        mean_a=mean_a,
        mean_a_se=mean_se,
        min_a=float(window.min()),
        max_a=float(window.max()),
        ripple_a=turn.ripple_a if turn else None,
        ripple_pct=100 * turn.ripple_a / mean_a if turn and mean_a else None,
        raw_ripple_pct=100 * float(np.ptp(window)) / mean_a if mean_a and work and not silent else None,
        revolution_ms=None,
        rpm=None,
        rpm_se=None,
        segments=known.segments,
        speed_confidence=None,
        sample_rate_hz=rate,
        duration_s=capture.duration_s,
        steady_from_s=capture.start_s + run.start / rate,
        steady_to_s=capture.start_s + (run.start + last) / rate,
        zero_a=run.zero_a,
        inrush_peak_a=run.inrush_peak_a if work else None,
        settling_ms=None if run.settling_s is None or work is None else 1000 * run.settling_s,
        sparks_per_s=_sparks_per_s(work, turn, last / rate) if work else None,
        ripple_pct_se=100 * turn.ripple_se_a / mean_a if turn and mean_a else None,
        mean_a_accuracy_a=None if mean_a is None or mean_se is None else mean_accuracy_a(mean_a, mean_se),
        method_version=METHOD_VERSION,
    )
    if only is not None:
        return replace(reading, notes=(only, *notes))
    if known.motor == "brushless":
        notes.append(measuring_notes.brushless())
        return replace(reading, notes=tuple(notes))
    reading, more = with_speed(
        reading, speed, turn, known, foreign, check, swing_a=swing_a or 0.0, clocks=clocks, fast_hz=fast_hz
    )
    said = {note.code for note in notes}
    if any(note.code == "current-flat" for note in more):
        notes = [note for note in notes if note.code != "range-too-coarse"]  # no range shows what isn't there
    return replace(reading, notes=(*notes, *(n for n in more if n.code not in said)))


def _name(capture: Capture) -> str:
    return capture.source or "capture"


def _finite(capture: Capture) -> tuple[np.ndarray, list[Note]]:
    """Return the samples with lone gaps bridged, and a copy of the reader's notes."""
    current = np.asarray(capture.current_a, dtype=float)
    notes = list(capture.notes)
    missing = ~np.isfinite(current)
    if missing.any():
        known = np.flatnonzero(~missing)
        if len(known) < MIN_RUNNING_SAMPLES:
            raise CaptureRefused(
                "too-short", f"{_name(capture)}: hardly any sample has a value; export it again."
            )
        current = np.interp(np.arange(len(current)), known, current[known])[known[0] : known[-1] + 1]
    if len(current) < MIN_RUNNING_SAMPLES:
        raise CaptureRefused(
            "too-short",
            f"{_name(capture)}: {len(current)} samples; "
            f"at least {MIN_RUNNING_SAMPLES} of a running pump are needed.",
        )
    return current, notes


def _run(capture: Capture, current: np.ndarray, ac_coupled: bool) -> Run:
    if ac_coupled:
        return Run(0, len(current), 1, None, None, None, None)
    if max(abs(float(np.mean(current))), float(np.std(current))) < LEAST_A:
        raise CaptureRefused(
            "no-current",
            f"{_name(capture)}: the record shows about {np.round(current.mean(), 2) + 0.0:.2f} A throughout, "
            "no running pump: "
            "check that the clamp is closed on the pump's own wire and that the pump runs. If commanded "
            f"on it draws nothing, log that as a reading: --meter-a {max(np.mean(current), 0):.2f}.",
        )
    return find_run(current, capture.sample_rate_hz)


def _no_mean(running: np.ndarray) -> bool:
    return bool(abs(np.mean(running)) < 0.1 * np.std(running))


def _refuse_implausible(capture: Capture, mean_a: float | None) -> None:
    if mean_a is not None and abs(mean_a) > HIGHEST_A:
        raise CaptureRefused(
            "above-100-a",
            f"{_name(capture)}: the mean is {mean_a:,.4g} A, more than any fuel pump draws: "
            "is the probe factor right, or the unit (mV for V)?",
        )


def _mean(
    window: np.ndarray, rate_hz: float, turn: AverageTurn | None, step_a: float, run: Run
) -> tuple[float, float]:
    """Mean of the window's samples and its standard error: the record's own, and what its clamp drifts.

    Slow noise of the clamp looks like a slow change of the current, so no record tells its size; the longer
    the window, the further it strays, as a random walk does.
    """
    mean = float(np.mean(window))
    if turn is not None:
        parts = (
            turn.mean_se_a,
            rounding_se_a(step_a, turn.residual_sd_a, turn.wave),
            ends_se_a(turn.wave, len(window)),
        )
        own = float(np.linalg.norm(parts))
    else:
        # Batch means: without a turn the ripple can't be told from noise.
        means = np.array([part.mean() for part in np.array_split(window, BATCHES)])
        own = float(np.std(means, ddof=1) / BATCHES**0.5)
    drift_a = CLAMP_DRIFT_A * (len(window) / rate_hz) ** 0.5
    return mean, float(np.linalg.norm([own, run.zero_se_a or 0.0, drift_a]))


def _sparks_per_s(work: WorkTrace, turn: AverageTurn | None, window_s: float) -> float:
    if turn is not None:
        return turn.sparks / window_s
    gap = max(int(150e-6 * work.spark_rate_hz), 1)
    return count_events(work.spark_mask, gap) * work.spark_rate_hz / len(work.spark_mask)
